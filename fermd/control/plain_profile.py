"""A profile as plain values that JSON can hold, and back."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields
from math import isfinite
from typing import Any, get_args

from fermd.control.calendar import CalendarTime, parse_calendar_time
from fermd.control.steps import Change, Profile, Ramp, Step

_KINDS: dict[str, type[Step]] = {kind.kind: kind for kind in get_args(Step)}

_TEXTS = frozenset({"name", "prompt"})
"""The fields of steps that are not numbers."""


def profile_to_plain(profile: Profile) -> dict[str, Any]:
    """Return a profile as plain values."""
    return {
        "name": profile.name,
        "description": profile.description,
        "steps": [
            {"kind": step.kind} | {f.name: _to_plain(getattr(step, f.name)) for f in fields(step)}
            for step in profile.steps
        ],
    }


def profile_from_plain(plain: Mapping[str, Any]) -> Profile:
    """Return the profile that `profile_to_plain` was given.

    Raises AttributeError, KeyError, TypeError or ValueError if it is not one.
    """
    steps = []
    for step in plain["steps"]:
        values: dict[str, Any] = {
            key: _from_plain(key, value) for key, value in step.items() if key != "kind"
        }
        made = _KINDS[step["kind"]](**values)
        if isinstance(made, Ramp) and made.rate_c_per_day <= 0:
            raise ValueError(f"a ramp at {made.rate_c_per_day} °C a day never ends")
        steps.append(made)
    if not steps:
        raise ValueError("a profile without steps")
    return Profile(text(plain["name"]), tuple(steps), text(plain.get("description", "")))


def _to_plain(value: object) -> object:
    if isinstance(value, CalendarTime):
        return str(value)
    if isinstance(value, tuple):
        return [[str(change.at), change.target_c] for change in value]
    return value


def _from_plain(key: str, value: Any) -> object:
    if key in _TEXTS:
        return text(value)
    if key == "until":
        return parse_calendar_time(text(value))
    if key == "changes":
        changes = tuple(Change(parse_calendar_time(text(at)), number(to_c)) for at, to_c in value)
        if not changes:
            raise ValueError("a schedule without changes")
        return changes
    return number(value)


def number(value: object) -> float:
    """Return a finite number, or raise ValueError."""
    # Of the wrong type, or not a number, it would end every tick from now on, or call for nothing.
    if not isinstance(value, int | float) or isinstance(value, bool) or not isfinite(value):
        raise ValueError(f"{value!r} is not a number")
    return value


def text(value: object) -> str:
    """Return a text, or raise TypeError."""
    if not isinstance(value, str):
        raise TypeError(f"{value!r} is not a text")
    return value
