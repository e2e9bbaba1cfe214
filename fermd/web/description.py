"""The interface described (OpenAPI 3.1), from the very endpoints that answer.

Bodies, queries and answers are the pydantic models that check the requests; apispec puts the parts
together. Made when it is first asked for, and kept as text.
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping, Sequence
from typing import Any, Final

from apispec import APISpec
from pydantic import BaseModel, TypeAdapter
from pydantic.json_schema import models_json_schema

from fermd import __version__
from fermd.config.attribute_docs import docs_of_module
from fermd.web import orders
from fermd.web.doors import Right
from fermd.web.endpoint import NO_CONTENT, Endpoint
from fermd.web.shapes import Refusal

Plain = dict[str, Any]

_REF: Final = "#/components/schemas/{model}"

_PATH_PARAMETERS: Final[Mapping[str, str]] = {
    "chamber": "The name of a chamber, as in the site file.",
    "profile": "The name of a profile, as in the list of profiles.",
    "probe": "The name of a probe, as in the site file.",
}

_WHY: Final[Mapping[int, str]] = {
    400: "The request ended before it was whole.",
    401: "Nobody is logged in, or the password is wrong.",
    403: "A guest may not; the token is missing; or the request comes from another site.",
    404: "There is no such chamber, probe or profile.",
    409: "It was understood and refused; `why` says what is allowed and what to do.",
    413: "The body is larger than anybody needs.",
    422: "It cannot be understood; `why` and `faults` name the fields.",
    429: "Too many tries to log in; Retry-After says how long to wait.",
    503: "The control loop or the journal does not answer at present; try again.",
}


def describe(endpoints: Sequence[Endpoint]) -> bytes:
    """Return the description as JSON."""
    spec = APISpec(
        title="fermd",
        version=__version__,
        openapi_version="3.1.0",
        info={
            "description": "The thermostat in charge of fermentation chambers. Temperatures are "
            "°C, spans seconds (`_s`), instants seconds since 1970 (`_utc_s`); only words may be "
            "had in °F.",
            "license": {"name": "MIT", "identifier": "MIT"},
        },
        tags=[{"name": tag} for tag in dict.fromkeys(one.tag for one in endpoints)],
    )
    spec.components.security_scheme(
        "session", {"type": "apiKey", "in": "cookie", "name": "fermd_session"}
    )
    for name, schema in _schemas(endpoints).items():
        spec.components.schema(name, schema)
    for one in endpoints:
        spec.path(one.path, operations={one.method.lower(): _operation(one)})
    return json.dumps(spec.to_dict(), ensure_ascii=False).encode()


def _schemas(endpoints: Sequence[Endpoint]) -> Plain:
    models: list[tuple[type[BaseModel], Any]] = [(Refusal, "serialization")]
    for one in endpoints:
        models += [(model, "validation") for model in _models(one.body)]
        models += [(model, "serialization") for model in _models(one.answer)]
    models += [(orders.model(name), "validation") for name in orders.NAMES]
    _, found = models_json_schema(list(dict.fromkeys(models)), ref_template=_REF)
    schemas: Plain = found["$defs"]
    for model in {each for one, _ in models for each in _with_inner(one)}:
        for name, text in _docs(model).items():
            shape = schemas.get(model.__name__, {}).get("properties", {}).get(name)
            if shape is not None:
                shape["description"] = text
    return schemas


def _models(kind: Any) -> list[type[BaseModel]]:
    if isinstance(kind, type) and issubclass(kind, BaseModel):
        return [kind]
    inner = getattr(kind, "__args__", ())
    return [model for one in inner for model in _models(one)]


def _with_inner(model: type[BaseModel]) -> list[type[BaseModel]]:
    """A model, and those that its fields are of."""
    fields = model.model_fields.values()
    inner = [one for field in fields for one in _models(field.annotation)]
    return [model, *(each for one in inner for each in _with_inner(one))]


def _docs(model: type[BaseModel]) -> Plain:
    """What the docstrings below its attributes say, with those of its bases."""
    found: Plain = {}
    for kind in reversed(model.__mro__):
        if kind is not BaseModel and issubclass(kind, BaseModel):
            found |= docs_of_module(kind.__module__).get(kind.__name__, {})
    return found


def _operation(one: Endpoint) -> Plain:
    operation: Plain = {
        "operationId": one.name,
        "summary": one.summary,
        "tags": [one.tag],
        "parameters": [*_in_path(one), *_in_query(one), *_token(one)],
        "responses": {str(_good(one)): _answer(one)}
        | {str(status): _refusal(status) for status in sorted(_refusals(one))},
    }
    if one.right is not Right.NOTHING:
        operation["security"] = [{"session": []}, {}]
    if one.body is not None:
        operation["requestBody"] = {
            "required": True,
            "content": {"application/json": {"schema": _body(one)}},
        }
    return operation


def _body(one: Endpoint) -> Plain:
    if one.reads is None:
        return {"$ref": _REF.format(model=one.body.__name__)}
    refs = {name: _REF.format(model=orders.model(name).__name__) for name in orders.NAMES}
    return {
        "oneOf": [{"$ref": ref} for ref in refs.values()],
        "discriminator": {"propertyName": "command", "mapping": refs},
    }


def _answer(one: Endpoint) -> Plain:
    if one.answer is None:
        return {"description": "It was done."}
    if isinstance(one.answer, str):
        return {
            "description": one.summary,
            "content": {one.answer: {"schema": {"type": "string"}}},
        }
    if isinstance(one.answer, type) and issubclass(one.answer, BaseModel):
        schema: Plain = {"$ref": _REF.format(model=one.answer.__name__)}
    else:
        schema = TypeAdapter(one.answer).json_schema(ref_template=_REF, mode="serialization")
        schema.pop("$defs", None)
    return {
        "description": _sentence(one.answer) or one.summary,
        "content": {"application/json": {"schema": schema}},
    }


def _refusal(status: int) -> Plain:
    return {
        "description": _WHY[status],
        "content": {"application/json": {"schema": {"$ref": _REF.format(model="Refusal")}}},
    }


def _refusals(one: Endpoint) -> set[int]:
    found = {*one.refusals, 403}
    if one.right is not Right.NOTHING:
        found.add(401)
    if one.query is not None or one.body is not None:
        found.add(422)
    if one.body is not None:
        found |= {400, 413}
    return found


def _good(one: Endpoint) -> int:
    return NO_CONTENT if one.answer is None else 200


def _in_path(one: Endpoint) -> list[Plain]:
    return [
        {
            "name": name,
            "in": "path",
            "required": True,
            "description": _PATH_PARAMETERS[name],
            "schema": {"type": "string"},
        }
        for name in re.findall(r"{(\w+)}", one.path)
    ]


def _in_query(one: Endpoint) -> list[Plain]:
    if one.query is None:
        return []
    whole = one.query.model_json_schema(ref_template=_REF)
    docs = _docs(one.query)
    found = []
    for name, schema in whole["properties"].items():
        schema.pop("title", None)
        if (text := one.query.model_fields[name].description or docs.get(name)) is not None:
            schema["description"] = text
        parts = [part for part in schema.get("anyOf", ()) if part != {"type": "null"}]
        if len(parts) == 1:
            # What may be left out is not `null` in an address.
            schema = {
                key: value for key, value in schema.items() if key not in ("anyOf", "default")
            }
            schema |= parts[0]
        required = name in whole.get("required", ())
        found.append({"name": name, "in": "query", "required": required, "schema": schema})
    return found


def _token(one: Endpoint) -> list[Plain]:
    if one.method == "GET" or one.right is Right.NOTHING:
        return []
    return [
        {
            "name": "X-CSRF-Token",
            "in": "header",
            "required": False,
            "description": "The csrf of GET /api/session; needed over the network.",
            "schema": {"type": "string"},
        }
    ]


def _sentence(kind: Any) -> str:
    doc = getattr(kind, "__doc__", "") if isinstance(kind, type) else ""
    return " ".join((doc or "").split())
