"""What is answered to a request that is not carried out, in one form everywhere.

    {"taken": false, "why": "...", "faults": [{"key": ..., "line": ..., "value": ..., "why": ...}]}

`faults` is there where single fields are at fault: of a body, a query, or a profile's text.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from pydantic import BaseModel, ValidationError
from starlette.responses import JSONResponse, Response

from fermd.config.allowed import allowed

LONGEST_SHOWN_CHARS = 80
MOST_FAULTS = 50

Plain = dict[str, Any]


class RefusedError(Exception):
    """A request that is not carried out: its HTTP status, why, and the fields at fault."""

    def __init__(
        self,
        status: int,
        why: str,
        faults: Sequence[Plain] = (),
        headers: Mapping[str, str] | None = None,
    ) -> None:
        super().__init__(why)
        self.status, self.why, self.faults, self.headers = status, why, tuple(faults), headers

    def response(self) -> Response:
        """Return it as the answer."""
        return refusal(self.status, self.why, self.faults, self.headers)


def refusal(
    status: int, why: str, faults: Sequence[Plain] = (), headers: Mapping[str, str] | None = None
) -> Response:
    """Return the answer to what is not carried out."""
    body: Plain = {"taken": False, "why": why}
    if faults:
        body["faults"] = list(faults[:MOST_FAULTS])
    return JSONResponse(body, status_code=status, headers=dict(headers or {}))


def fault(key: str, value: object, why: str, line: int | None = None) -> Plain:
    """One field at fault; the value as text, None if there is none."""
    return {"key": key, "line": line, "value": None if value is None else shown(value), "why": why}


def shown(value: object) -> str:
    """A value as it came in, cut where it gets too long to read."""
    text = repr(value)
    return text if len(text) <= LONGEST_SHOWN_CHARS else text[:LONGEST_SHOWN_CHARS] + "…"


def misfit(error: ValidationError, query: type[BaseModel] | None = None) -> RefusedError:
    """Return what pydantic finds wrong with a request, every field of it.

    What stands in an address (`query`) is told by what is allowed there: pydantic's own words speak
    of Python's types.
    """
    told, faults = [], []
    for one in error.errors(include_url=False)[:MOST_FAULTS]:
        key = ".".join(str(part) for part in one["loc"])[:LONGEST_SHOWN_CHARS] or "body"
        given = None if one["type"] == "missing" else one.get("input")
        why = one["msg"]
        if one["type"] == "string_too_long":
            why = f"must be 1 to {one['ctx']['max_length']} characters"
        if query is not None:
            field = query.model_fields.get(key)
            known = ", ".join(query.model_fields)
            why = allowed(field, key) if field is not None else f"unknown; known here: {known}"
        told.append(f"{key}{'' if given is None else f' = {shown(given)}'}: {why}")
        faults.append(fault(key, given, why))
    return RefusedError(422, "; ".join(told), faults)
