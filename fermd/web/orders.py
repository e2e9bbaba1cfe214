"""The commands as they come in over HTTP: checked, every fault named, turned into the core's own.

    {"command": "set-target", "target_c": 10.0, "who": "anna"}

The names of the fields are those of `fermd.control.commands`; unknown fields are refused.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, fields
from typing import Annotated, Any, get_type_hints

from pydantic import ConfigDict, StringConstraints, TypeAdapter, ValidationError, create_model

from fermd.control.commands import (
    AcknowledgeAlarm,
    CancelPlan,
    ChangeRest,
    ChangeStepTarget,
    Command,
    ConfirmStep,
    EndOverride,
    ExtendStep,
    GoToStep,
    OverrideOutput,
    PauseProfile,
    PlanStart,
    ResumeProfile,
    ReturnToPlan,
    SetTarget,
    SkipStep,
    StartProfile,
    StopProfile,
    SwitchOff,
)
from fermd.control.steps import Profile


class OrderError(ValueError):
    """A command that cannot be understood; the text names field, value and what is allowed."""


LONGEST_TEXT_CHARS = 200
"""Names of people and alarms are no longer: they are stored with every command."""


@dataclass(frozen=True, slots=True)
class Readers:
    """What texts in commands are read by; each raises ValueError with every fault of a text."""

    profile: Callable[[str], Profile]
    """Reads the text of a profile file."""
    instant: Callable[[str], float]
    """Turns a local time ("fri 18:00") into its next instant (POSIX, s)."""


_PLAIN: tuple[type[Command], ...] = (
    SetTarget,
    SwitchOff,
    CancelPlan,
    PauseProfile,
    ResumeProfile,
    SkipStep,
    GoToStep,
    ChangeStepTarget,
    ReturnToPlan,
    ExtendStep,
    ConfirmStep,
    StopProfile,
    OverrideOutput,
    EndOverride,
    AcknowledgeAlarm,
)


def name_of(command: type[Command]) -> str:
    """The name that a command goes by: `SetTarget` is `set-target`."""
    return re.sub(r"(?<!^)(?=[A-Z])", "-", command.__name__).lower()


_COMMANDS: dict[str, type[Command]] = {name_of(command): command for command in _PLAIN}
_WITH_TEXTS: dict[str, type[StartProfile | PlanStart | ChangeRest]] = {
    name_of(command): command for command in (StartProfile, PlanStart, ChangeRest)
}
"""Commands that carry the text of a profile."""

NAMES = (*_COMMANDS, *_WITH_TEXTS)
"""Every command there is."""


def read(body: Any, readers: Readers) -> Command:
    """Turn a request's JSON into a command; OrderError says all that is wrong with it."""
    if not isinstance(body, Mapping):
        raise OrderError("the body must be a JSON object with the key command")
    name = body.get("command")
    given = {key: value for key, value in body.items() if key != "command"}
    if isinstance(name, str) and name in _WITH_TEXTS:
        return _with_texts(_WITH_TEXTS[name], given, readers)
    command = _COMMANDS.get(name) if isinstance(name, str) else None
    if command is None:
        raise OrderError(f"command = {shown(name)}: must be one of {', '.join(NAMES)}")
    try:
        checked = _model(command).validate_python(given)
    except ValidationError as error:
        raise OrderError(_told(error)) from error
    values = {field.name: getattr(checked, field.name) for field in fields(command)}
    return command(**values)


def _with_texts(
    command: type[StartProfile | PlanStart | ChangeRest], given: Mapping[str, Any], readers: Readers
) -> Command:
    needed = ("profile_toml", "at") if command is PlanStart else ("profile_toml",)
    unknown = set(given) - {*needed, "who"}
    if unknown:
        named = shown(sorted(unknown)[0])
        raise OrderError(f"unknown field {named}: allowed are {', '.join(needed)} and who")
    for field in needed:
        if not isinstance(given.get(field), str):
            what = "the text of a profile file" if field == "profile_toml" else "a local time"
            raise OrderError(f"{field}: must be {what}")
    who = given.get("who", "unknown")
    if not isinstance(who, str) or len(who) > LONGEST_TEXT_CHARS:
        raise OrderError(f"who: must be a name of at most {LONGEST_TEXT_CHARS} characters")
    try:
        profile = readers.profile(given["profile_toml"])
        if command is PlanStart:
            return PlanStart(profile, readers.instant(given["at"]), who)
    except ValueError as error:
        raise OrderError(str(error)) from error
    return StartProfile(profile, who) if command is StartProfile else ChangeRest(profile, who)


def _model(command: type[Command]) -> TypeAdapter[Any]:
    adapter = _ADAPTERS.get(command)
    if adapter is None:
        shape: dict[str, Any] = {
            field.name: (
                _type(command, field.name),
                field.default if field.name == "who" or field.default == "" else ...,
            )
            for field in fields(command)
        }
        config = ConfigDict(extra="forbid", allow_inf_nan=False)
        adapter = TypeAdapter(create_model(command.__name__, __config__=config, **shape))
        _ADAPTERS[command] = adapter
    return adapter


_ADAPTERS: dict[type[Command], TypeAdapter[Any]] = {}


def _type(command: type[Command], field: str) -> Any:
    kind = get_type_hints(command, include_extras=True)[field]
    if kind is str:
        return Annotated[str, StringConstraints(max_length=LONGEST_TEXT_CHARS)]
    return kind


def shown(value: object) -> str:
    """A value as it came in, cut where it gets too long to read."""
    text = repr(value)
    return text if len(text) <= _LONGEST_SHOWN_CHARS else text[:_LONGEST_SHOWN_CHARS] + "…"


_LONGEST_SHOWN_CHARS = 80


def _told(error: ValidationError) -> str:
    faults = []
    for fault in error.errors(include_url=False):
        where = ".".join(str(part) for part in fault["loc"]) or "body"
        given = "" if fault["type"] == "missing" else f" = {shown(fault.get('input'))}"
        faults.append(f"{where}{given}: {fault['msg']}")
    return "; ".join(faults)
