"""An endpoint as a value: what it takes, whom it is for and what it answers.

The same value checks the requests and is written down in the interface's description
(`description.py`), so that the two cannot differ.
"""

from __future__ import annotations

import json
from collections.abc import Awaitable, Callable, Mapping
from dataclasses import dataclass, field
from typing import Annotated, Any, Final

from pydantic import BaseModel, BeforeValidator, ConfigDict, TypeAdapter, ValidationError
from pydantic_core import PydanticCustomError
from starlette.requests import ClientDisconnect, Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from fermd.web.doors import Caller, Right, caller_of
from fermd.web.refusals import RefusedError, misfit

LARGEST_BODY_BYTES = 256 * 1024


class Shape(BaseModel):
    """A body or a query: no unknown field, no number without end."""

    model_config = ConfigDict(extra="forbid", allow_inf_nan=False, frozen=True, defer_build=True)


def _digits(value: object) -> object:
    """Take a whole number as it stands in an address: ASCII digits, nothing else."""
    text = value if isinstance(value, str) else ""
    if isinstance(value, int) and not isinstance(value, bool):
        return value
    if not 0 < len(text) <= 9 or not (text.isascii() and text.isdigit()):
        raise PydanticCustomError("whole_number", "must be a whole number")
    return int(text)


Whole = Annotated[int, BeforeValidator(_digits)]
"""A whole number in an address."""


@dataclass(frozen=True, slots=True)
class Call:
    """One request, checked."""

    request: Request
    caller: Caller
    body: Any = None
    """An instance of the endpoint's body."""
    query: Any = None
    """An instance of the endpoint's query."""

    @property
    def chamber(self) -> str:
        """The chamber in the path."""
        return str(self.request.path_params["chamber"])

    def who(self, said: str = "unknown") -> str:
        """Whose doing this is: the session's name, or what the local user says."""
        return self.caller.who if self.caller.who is not None else said


Handler = Callable[[Call], Awaitable[Any]]


@dataclass(frozen=True, slots=True)
class Endpoint:
    """One method on one path."""

    method: str
    path: str
    handler: Handler
    right: Right
    tag: str
    summary: str
    answer: Any
    """The type of a good answer's body (what pydantic can describe), or a media type."""
    query: type[Shape] | None = None
    body: Any = None
    """The type of the body; None: it has none."""
    reads: Callable[[Mapping[str, Any]], Any] | None = None
    """What makes the body of the JSON object, if not its type by itself."""
    refusals: tuple[int, ...] = ()
    """The HTTP statuses of refusals beside those that all endpoints have."""
    meaning: Mapping[str, str] = field(default_factory=dict)
    """What the parameters in the path mean."""

    def route(self) -> Route:
        """Return it as the server takes it."""
        return Route(self.path, self._answer, methods=[self.method], name=self.name)

    @property
    def name(self) -> str:
        """Its name, as the description has it."""
        return self.handler.__name__.strip("_")

    async def _answer(self, request: Request) -> Response:
        try:
            caller = caller_of(request.scope)
            if caller.right < self.right:
                raise _not_allowed(caller)
            call = Call(
                request,
                caller,
                None if self.body is None else await self._body(request),
                None if self.query is None else self._query(self.query, request),
            )
            answer = await self.handler(call)
        except RefusedError as refused:
            return refused.response()
        return answer if isinstance(answer, Response) else JSONResponse(answer)

    async def _body(self, request: Request) -> Any:
        raw = await json_object(request)
        if self.reads is not None:
            return self.reads(raw)
        try:
            return TypeAdapter(self.body).validate_python(raw)
        except ValidationError as error:
            raise misfit(error) from error

    def _query(self, shape: type[Shape], request: Request) -> Shape:
        try:
            return shape.model_validate(dict(request.query_params))
        except ValidationError as error:
            raise misfit(error, shape) from error


def _not_allowed(caller: Caller) -> RefusedError:
    if caller.role is None:
        return RefusedError(401, "log in first")
    return RefusedError(403, "a guest may look, and change nothing: log in to act")


async def json_object(request: Request) -> dict[str, Any]:
    """Read a JSON object, no larger than anybody needs."""
    raw = bytearray()
    try:
        async for chunk in request.stream():
            raw += chunk
            if len(raw) > LARGEST_BODY_BYTES:
                raise RefusedError(413, f"the body is larger than {LARGEST_BODY_BYTES} bytes")
    except ClientDisconnect as error:
        raise RefusedError(400, "the body ended before it was whole") from error
    try:
        body = json.loads(raw.decode("utf-8"))
        # Half a character (\ud800) is JSON, but no text that could be stored or sent on.
        json.dumps(body, ensure_ascii=False).encode("utf-8")
    except (ValueError, RecursionError) as error:
        raise RefusedError(422, f"the body is not JSON: {error}") from error
    if not isinstance(body, dict):
        raise RefusedError(422, "the body must be a JSON object")
    return body


NO_CONTENT: Final = 204
