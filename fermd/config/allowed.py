"""What may stand at a key of a file, in words: from the types and ranges of the settings."""

from __future__ import annotations

from collections.abc import Sequence
from enum import Enum
from pathlib import Path
from typing import Annotated, Any, Final, Literal, get_args, get_origin

from annotated_types import Ge, Gt, Le, Lt, MinLen
from pydantic import StringConstraints
from pydantic.fields import FieldInfo

from fermd.config.calendar_times import CALENDAR_WORDS
from fermd.config.durations import DAY_S, DURATION_WORDS, Duration
from fermd.config.errors import any_of, value_text
from fermd.control.calendar import CalendarTime

UNITS: Final = {
    # Longest endings first.
    "_c_per_day": "°C a day",
    "_c_per_min": "°C a minute",
    "_per_hour": "an hour",
    "_c": "°C",
    "_s": "s",
    "_a": "A",
    "_l": "l",
    "_p": "°P",
    "_w": "W",
}
"""Unit by the ending of a key."""


def allowed(field: FieldInfo, key: str) -> str:
    """What may stand at a key, and its default."""
    words = _allowed_values(field.annotation, field.metadata, key)
    if field.default is not None and not field.is_required() and field.default_factory is None:
        default = field.default
        shown = f"{default:g}" if isinstance(default, float) else value_text(_plain(default))
        words += f"; {_with_unit(shown, key)} is the default"
    return words


def _allowed_values(kind: Any, metadata: Sequence[Any], key: str) -> str:
    kind, extras = bare(kind)
    metadata = [*metadata, *extras]
    if any(isinstance(part, Duration) for part in metadata):
        return f"must be {DURATION_WORDS}{_range_words(metadata, 'duration')}"
    if words := choices(kind):
        return f"must be {any_of(words)}"
    if kind is CalendarTime:
        return f"must be {CALENDAR_WORDS}"
    if any(isinstance(part, StringConstraints) for part in metadata):
        return (
            'must be the id of a 1-Wire thermometer in lower case, like "28-000006b67845", as '
            "`ls /sys/bus/w1/devices` shows it"
        )
    if kind in (int, float):
        number = "a whole number" if kind is int else "a number"
        bounds = _range_words(metadata, key)
        return f"must be {number} {bounds}" if bounds else f"must be {number}"
    return _allowed_shape(kind, metadata, key)


def _allowed_shape(kind: Any, metadata: Sequence[Any], key: str) -> str:
    if kind is bool:
        return "must be true or false"
    if kind is str:
        return "must be text in quotes" + (", not empty" if _has(metadata, MinLen) else "")
    if kind is Path:
        return "must be a path in quotes"
    if get_origin(kind) is dict:
        return f"must be tables, each under its name: [{key}.NAME]"
    if key == "step":
        return "must be one or more tables, each with the header [[step]]"
    if get_origin(kind) is list:
        return 'must be a list of names in quotes, like ["a", "b"]'
    return "must be a table"


def _range_words(metadata: Sequence[Any], key: str) -> str:
    low = high = ""
    for part in metadata:
        match part:
            case Gt(gt=bound):
                low = f"above {_bound(bound, key)}"
            case Ge(ge=bound):
                low = f"from {_bound(bound, key)}"
            case Lt(lt=bound):
                high = f"below {_bound(bound, key)}"
            case Le(le=bound):
                high = f"at most {_bound(bound, key)}"
    if low.startswith("from") and high.startswith("at most"):
        words = f"{low} to {high.removeprefix('at most ')}"
    else:
        words = " and ".join(part for part in (low, high) if part)
    if key == "duration":
        return f", {words} d" if words else ""
    return _with_unit(words, key)


def _bound(bound: Any, key: str) -> str:
    return f"{bound / DAY_S:g}" if key == "duration" else f"{bound:g}"


def _with_unit(shown: str, key: str) -> str:
    unit = next((unit for ending, unit in UNITS.items() if f"_{key}".endswith(ending)), "")
    return f"{shown} {unit}".rstrip()


def _has(metadata: Sequence[Any], kind: type) -> bool:
    return any(isinstance(part, kind) for part in metadata)


def bare(kind: Any) -> tuple[Any, list[Any]]:
    """A type without its annotations, and those."""
    extras: list[Any] = []
    while get_origin(kind) is Annotated:
        kind, *more = get_args(kind)
        extras += more
    return kind, extras


def choices(kind: Any) -> list[str]:
    """The values that a type allows, if it names them one by one."""
    kind, _ = bare(kind)
    if get_origin(kind) is Literal:
        return [str(choice) for choice in get_args(kind)]
    if isinstance(kind, type) and issubclass(kind, Enum):
        return [str(member.value) for member in kind]
    return []


def _plain(value: object) -> object:
    return str(value) if isinstance(value, Path | Enum) else value
