"""A profile's steps, a row each: what the target is, what ends it, and how long it takes."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from fermd.cli.screen import clean
from fermd.control.progress import Progress, planned_s, target
from fermd.control.steps import (
    FinalHold,
    FreeRise,
    HoldUntil,
    Jump,
    Profile,
    Ramp,
    Schedule,
    Soak,
    Step,
    WaitForPerson,
)
from fermd.control.wording import Unit, difference, span, temperature


def takes_s(profile: Profile) -> list[float | None]:
    """How long each step takes by plan, s; None where the beer or a person decides.

    A ramp at the very beginning starts from where the beer is, which is not known here. A final
    hold takes no time: the profile is done when it begins.
    """
    found: list[float | None] = []
    before_c: float | None = None
    for index, step in enumerate(profile.steps):
        if isinstance(step, FinalHold):
            found.append(0.0)
        elif isinstance(step, Ramp) and before_c is None:
            found.append(None)
        else:
            found.append(planned_s(step, before_c if before_c is not None else 0.0))
        # At its end, however long it takes: a ramp has then come to where it goes.
        before_c = target(Progress(profile, index, float("inf"), before_c or 0.0)).cool_c
    return found


def rows(profile: Profile, unit: Unit) -> list[tuple[str, str, str, str, str]]:
    """Step, kind, target, time, and what it does, in words."""
    return [
        (
            str(number),
            step.kind.replace("-", " "),
            _target(step, unit),
            _takes(step, known_s),
            ": ".join(filter(None, (clean(step.name), _what(step, unit)))),
        )
        for number, (step, known_s) in enumerate(
            zip(profile.steps, takes_s(profile), strict=True), 1
        )
    ]


def plain_steps(profile: Profile) -> list[dict[str, Any]]:
    """The same for machines: the step's own numbers, and `takes_s`."""
    return [
        {"kind": step.kind, **asdict(step), "takes_s": known_s}
        for step, known_s in zip(profile.steps, takes_s(profile), strict=True)
    ]


def _target(step: Step, unit: Unit) -> str:
    match step:
        case Ramp() | Jump():
            return f"to {temperature(step.to_c, unit)}"
        case FreeRise():
            low = temperature(step.floor_c, unit).split()[0]
            return f"{low} to {temperature(step.ceiling_c, unit)}"
        case Schedule():
            return ", ".join(f"{temperature(c.target_c, unit)} from {c.at}" for c in step.changes)
        case _:
            return temperature(step.target_c, unit)


def _takes(step: Step, known_s: float | None) -> str:
    match step:
        case FinalHold() | Schedule():
            return "no end"
        case HoldUntil():
            return f"until {step.until}"
        case WaitForPerson():
            return "a person"
        case Jump():
            return "the beer"
        case FreeRise() if known_s is not None:
            return f"at most {span(known_s)}"
        case Soak() if known_s is not None:
            return f"{span(known_s)} +"
        case _:
            return "from the beer" if known_s is None else span(known_s)


def _what(step: Step, unit: Unit) -> str:
    match step:
        case Soak():
            return f"the clock runs within {difference(step.within_c, unit)} of the target"
        case Ramp():
            return f"{difference(step.rate_c_per_day, unit)} a day"
        case Jump():
            return f"at once; over within {difference(step.within_c, unit)} of it"
        case FreeRise():
            return "the beer warms itself; over when it reaches the ceiling"
        case WaitForPerson():
            return f"waits for a person: {clean(step.prompt)}"
        case FinalHold():
            return "held without end"
        case _:
            return ""
