"""The commands as they come in over HTTP: checked, every fault named, turned into the core's own.

    {"command": "set-target", "target_c": 10.0, "who": "anna"}

The names of the fields are those of `fermd.control.commands`; unknown fields are refused.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, fields
from functools import cache
from typing import Annotated, Any, Literal, get_args, get_type_hints

from pydantic import BaseModel, StringConstraints, ValidationError, create_model

from fermd.control.commands import ChangeRest, Command, PlanStart, StartProfile
from fermd.control.steps import Profile
from fermd.web.endpoint import Shape
from fermd.web.refusals import RefusedError, misfit, shown

LONGEST_TEXT_CHARS = 200
"""Names of people and alarms are no longer: they are stored with every command."""


def no_time(text: str) -> float:
    """Refuse every local time: whoever reads none has no calendar."""
    raise ValueError(f"{text!r}: local times are not read here")


@dataclass(frozen=True, slots=True)
class Readers:
    """What texts in commands are read by; each raises ValueError with every fault of a text."""

    profile: Callable[[str], Profile]
    """Reads the text of a profile file."""
    instant: Callable[[str], float]
    """Turns a local time ("fri 18:00") into its next instant (POSIX, s)."""
    past: Callable[[str], float] = no_time
    """The same into its last instant."""


Text = Annotated[str, StringConstraints(max_length=LONGEST_TEXT_CHARS)]


class _Order(Shape):
    who: Text = "unknown"
    """Who asks; over the network the session's name counts instead."""


class _WithProfile(_Order):
    profile_toml: str
    """The text of a profile file."""


class _WithTime(_WithProfile):
    at: Text
    """A local time: "18:00", "fri 18:00" or "2026-12-04 18:00"."""


_WITH_TEXTS: Mapping[type[Command], type[_WithProfile]] = {
    StartProfile: _WithProfile,
    PlanStart: _WithTime,
    ChangeRest: _WithProfile,
}
"""Commands that carry the text of a profile."""


def name_of(command: type[Command]) -> str:
    """The name that a command goes by: `SetTarget` is `set-target`."""
    return re.sub(r"(?<!^)(?=[A-Z])", "-", command.__name__).lower()


_COMMANDS: Mapping[str, type[Command]] = {
    name_of(command): command for command in get_args(Command)
}

NAMES = tuple(_COMMANDS)
"""Every command there is."""


@cache
def model(name: str) -> type[BaseModel]:
    """Return what the body of a command is checked by, given the command's name."""
    command = _COMMANDS[name]
    shape: dict[str, Any] = {"command": (Literal[name], name)}
    base = _WITH_TEXTS.get(command, _Order)
    if command not in _WITH_TEXTS:
        hints = get_type_hints(command, include_extras=True)
        shape |= {
            field.name: (
                Text if hints[field.name] is str else hints[field.name],
                "" if field.default == "" else ...,
            )
            for field in fields(command)
            if field.name != "who"
        }
    return create_model(
        command.__name__, __base__=base, __doc__=(command.__doc__ or "").strip(), **shape
    )


def read(body: Any, readers: Readers, who: str | None = None) -> Command:
    """Turn a request's JSON into a command; RefusedError says all that is wrong with it.

    `who` is whose doing it is, if that is known better than by the body's own word.
    """
    if not isinstance(body, Mapping):
        raise RefusedError(422, "the body must be a JSON object with the key command")
    name = body.get("command")
    command = _COMMANDS.get(name) if isinstance(name, str) else None
    if command is None or not isinstance(name, str):
        raise RefusedError(422, f"command = {shown(name)}: must be one of {', '.join(NAMES)}")
    try:
        checked: Any = model(name).model_validate(dict(body))
    except ValidationError as error:
        raise misfit(error) from error
    by = checked.who if who is None else who
    try:
        if isinstance(checked, _WithTime):
            return PlanStart(readers.profile(checked.profile_toml), readers.instant(checked.at), by)
        if isinstance(checked, _WithProfile):
            profile = readers.profile(checked.profile_toml)
            return (StartProfile if command is StartProfile else ChangeRest)(profile, by)
    except ValueError as error:
        raise RefusedError(422, str(error)) from error
    values = {field.name: getattr(checked, field.name) for field in fields(command)}
    return command(**values | {"who": by})
