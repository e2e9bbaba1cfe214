"""A profile as a fermentation in BeerJSON 1.0.

What BeerJSON has no field for is listed, and stands in the step's description for people.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Final

from fermd.control.steps import (
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
from fermd.exchange.beerjson_fields import UNIT_S
from fermd.exchange.carried import LeftOut

VERSION: Final = 2.06
"""What a document declares. The schema of BeerJSON 1.0 takes any number here; the examples
published with it say 2.01 and 2.06, and later schemas take these and not 1.0."""

_EXACT_S: Final = 1e-3
"""A time this near to whole seconds is whole: what is missing is the rounding of a rate."""


@dataclass(slots=True)
class _Writing:
    """The steps as they are written."""

    left_out: list[LeftOut] = field(default_factory=list)
    steps: list[dict[str, Any]] = field(default_factory=list)
    at_c: float | None = None
    """Where the target has come to; None before the first step."""


def to_beerjson(profile: Profile) -> tuple[dict[str, Any], tuple[LeftOut, ...]]:
    """The document, and what it could not say."""
    writing = _Writing()
    for number, step in enumerate(profile.steps, 1):
        _write(step, number, writing)
    procedure: dict[str, Any] = {"name": profile.name}
    if profile.description:
        procedure["description"] = profile.description
    procedure["fermentation_steps"] = writing.steps
    document = {"beerjson": {"version": VERSION, "fermentations": [procedure]}}
    return document, tuple(writing.left_out)


def _write(step: Step, number: int, writing: _Writing) -> None:
    start_c, end_c = _temperatures(step, writing.at_c)
    written: dict[str, Any] = {"name": step.name or f"{step.kind.replace('-', ' ')} {number}"}
    lost = _lost(step, writing.at_c, after_free_rise=_is_free(writing))
    for_s = _length_s(step, writing.at_c)
    whole_s = None if for_s is None else max(1, round(for_s))
    if for_s is not None and whole_s is not None and abs(for_s - whole_s) > _EXACT_S:
        lost.append((f"{for_s:g} s", f"written as {whole_s} s: BeerJSON has whole numbers only"))
    where = f"step[{number}]"
    writing.left_out += [LeftOut(where, what, why) for what, why in lost]
    if lost:
        written["description"] = "; ".join(f"{what} ({why})" for what, why in lost)
    if start_c is not None:
        written["start_temperature"] = _celsius(start_c)
    written["end_temperature"] = _celsius(end_c)
    if whole_s is not None:
        written["step_time"] = _time(whole_s)
    if isinstance(step, FreeRise):
        written["free_rise"] = True
    writing.steps.append(written)
    writing.at_c = end_c


def _temperatures(step: Step, at_c: float | None) -> tuple[float | None, float]:
    """Where a step starts and ends, °C; a ramp or a jump that comes first starts anywhere."""
    match step:
        case Ramp() | Jump():
            return at_c, step.to_c
        case FreeRise():
            return step.floor_c, step.ceiling_c
        case Schedule():
            return step.changes[0].target_c, step.changes[0].target_c
        case _:
            return step.target_c, step.target_c


def _length_s(step: Step, at_c: float | None) -> float | None:
    """How long a step lasts, s; None if BeerJSON cannot be told."""
    match step:
        case Hold() | Soak() | FreeRise():
            return step.for_s
        case Ramp() if at_c is not None:
            return abs(step.to_c - at_c) / step.rate_c_per_day * UNIT_S["day"]
        case _:
            return None


def _lost(step: Step, at_c: float | None, *, after_free_rise: bool) -> list[tuple[str, str]]:
    """What BeerJSON has no field for: the thing, and what becomes of it."""
    match step:
        case Soak():
            within = f"the clock runs only within {step.within_c:g} °C of the target"
            return [(within, "written as a plain time")]
        case Ramp() if at_c is None:
            rate = f"{step.rate_c_per_day:g} °C a day from where the beer is"
            return [(rate, "BeerJSON has no rate, and the start is not known")]
        case Ramp() if after_free_rise:
            start = "starts from where the free rise has left the beer"
            return [(start, "written from the top of the free rise, with the time that takes")]
        case Jump():
            within = f"at once, over within {step.within_c:g} °C of it"
            return [(within, "written without a time, which depends on beer and chamber")]
        case FreeRise():
            over = f"over as soon as the beer has reached {step.ceiling_c:g} °C"
            return [(over, f"written with its longest time, {span(step.for_s)}")]
        case WaitForPerson():
            return [(f"waits for a person: {step.prompt}", "written without a time")]
        case HoldUntil():
            return [
                (f"held until {step.until}", "written without a time: BeerJSON has no calendar")
            ]
        case Schedule():
            changes = ", ".join(f"{one.target_c:g} °C from {one.at}" for one in step.changes)
            why = "written as its first temperature without a time: BeerJSON has no calendar"
            return [(f"{changes}, again and again", why)]
        case FinalHold():
            return [("held without end", "written without a time")]
        case _:
            return []


def _is_free(writing: _Writing) -> bool:
    return bool(writing.steps) and "free_rise" in writing.steps[-1]


def _celsius(temp_c: float) -> dict[str, Any]:
    return {"unit": "C", "value": temp_c}


def _time(seconds: int) -> dict[str, Any]:
    """In the largest unit that keeps the number whole; weeks are left to people."""
    for unit in ("day", "hr", "min"):
        if seconds % UNIT_S[unit] == 0:
            return {"unit": unit, "value": round(seconds / UNIT_S[unit])}
    return {"unit": "sec", "value": seconds}
