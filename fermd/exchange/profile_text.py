"""A profile as the TOML that `fermd.config` reads, for people to read and change."""

from __future__ import annotations

import json
import re
import textwrap
from collections.abc import Sequence
from dataclasses import fields
from typing import Final

from fermd.config.durations import DAY_S
from fermd.control.progress import planned_s
from fermd.control.steps import (
    Change,
    FinalHold,
    FreeRise,
    Hold,
    HoldUntil,
    Jump,
    Profile,
    Ramp,
    Schedule,
    Soak,
    Step,
    WaitForPerson,
)
from fermd.control.wording import span

_WIDTH: Final = 98


def profile_text(profile: Profile, remarks: Sequence[str] = ()) -> str:
    """The file's text; `remarks` stand at its top as comments, each on its own lines.

    `fermd.config.profile_file.parse_profile` makes the same profile of it (times to the
    microsecond). What cannot stand in a file, such as half a character, becomes U+FFFD.
    """
    parts = ["\n".join(_comment(remark) for remark in remarks)] if remarks else []
    head = [f"name = {_quoted(profile.name)}"]
    if profile.description:
        head.append(f"description = {_quoted(profile.description)}")
    parts.append("\n".join(head))
    at_c: float | None = None
    for step in profile.steps:
        parts.append("\n".join([_comment(_told(step, at_c)), "[[step]]", *_keys(step)]))
        at_c = _leaves_c(step)
    return "\n\n".join(parts) + "\n"


def exact_duration(seconds: float) -> str:
    """Seconds as a duration without rounding to the minute: 90 is "1.5 min"."""
    days, rest_s = divmod(seconds, DAY_S)
    hours, rest_s = divmod(rest_s, 3600.0)
    minutes = f"{rest_s / 60:.9f}".rstrip("0").rstrip(".")
    parts = [f"{int(days)} d"] * bool(days) + [f"{int(hours)} h"] * bool(hours)
    if minutes != "0" or not parts:
        parts.append(f"{minutes} min")
    return " ".join(parts)


def _keys(step: Step) -> list[str]:
    lines = [f'kind = "{step.kind}"']
    if step.name:
        lines.append(f"name = {_quoted(step.name)}")
    for key in fields(step):
        value = getattr(step, key.name)
        if key.name == "for_s":
            lines.append(f'for = "{exact_duration(value)}"')
        elif key.name != "name":
            lines.append(f"{key.name} = {_value(value)}")
    return lines


def _value(value: object) -> str:
    match value:
        case float() | int():
            return repr(float(value))
        case tuple():
            return "[\n" + "".join(f"  {_value(one)},\n" for one in value) + "]"
        case Change():
            keys = [f"{key.name} = {_value(getattr(value, key.name))}" for key in fields(value)]
            return "{ " + ", ".join(keys) + " }"
        case _:
            return _quoted(str(value))


def _told(step: Step, at_c: float | None) -> str:
    """What a step does, in a sentence."""
    match step:
        case Hold():
            return f"{step.target_c:g} °C for {span(step.for_s)}."
        case Soak():
            within = f"{step.within_c:g} °C"
            return f"{step.target_c:g} °C for {span(step.for_s)}, counted while within {within}."
        case Ramp():
            if at_c is None:
                return f"From where the beer is to {step.to_c:g} °C."
            takes_s = planned_s(step, at_c) or 0.0
            return f"From {at_c:g} to {step.to_c:g} °C in {span(takes_s)}."
        case Jump():
            return f"To {step.to_c:g} °C as fast as the chamber can."
        case FreeRise():
            rise = f"from {step.floor_c:g} to at most {step.ceiling_c:g} °C"
            return f"The beer warms itself, {rise}, for at most {span(step.for_s)}."
        case WaitForPerson():
            return f"{step.target_c:g} °C until somebody confirms."
        case HoldUntil():
            return f"{step.target_c:g} °C until {step.until}."
        case Schedule():
            return "Changes by the calendar, without end."
        case FinalHold():
            return f"{step.target_c:g} °C without end."


def _leaves_c(step: Step) -> float:
    match step:
        case Ramp() | Jump():
            return step.to_c
        case FreeRise():
            return step.ceiling_c
        case Schedule():
            return step.changes[-1].target_c
        case _:
            return step.target_c


def _comment(text: str) -> str:
    """Lines of a comment; control characters are not allowed in one."""
    shown = "".join(c if c.isprintable() else " " if c.isspace() else "\ufffd" for c in text)
    indent = "  " if shown.startswith("- ") else ""
    lines = textwrap.wrap(shown, _WIDTH, subsequent_indent=indent) or [""]
    return "\n".join(f"# {line}".rstrip() for line in lines)


def _quoted(text: str) -> str:
    """A basic string of TOML: as JSON has it, but for DEL and halves of characters."""
    sound = re.sub("[\ud800-\udfff]", "\ufffd", text)
    return json.dumps(sound, ensure_ascii=False).replace("\x7f", "\\u007f")
