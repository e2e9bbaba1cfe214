"""The steps that a profile is made of.

Each step says what the beer's target is while it lasts and what ends it: time, temperature, or
a person's word. None waits for a hydrometer.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Annotated, ClassVar

from annotated_types import Ge, Gt, Le, MinLen

from fermd.control.calendar import CalendarTime

TargetC = Annotated[float, Ge(-10), Le(45)]
"""A target for beer, °C: from below any beer's freezing point to above any yeast's liking."""

StepS = Annotated[float, Gt(0), Le(400 * 86400)]
"""A step's length in seconds, up to a little over a year."""

WithinC = Annotated[float, Gt(0), Le(5)]
"""How near to the target counts as there, °C."""


@dataclass(frozen=True, slots=True)
class Hold:
    """Hold `target_c` for `for_s`, counted from the start of the step."""

    kind: ClassVar[str] = "hold"
    target_c: TargetC
    for_s: StepS
    name: str = ""


@dataclass(frozen=True, slots=True)
class Soak:
    """Hold `target_c`; the clock of `for_s` runs only while the beer is within `within_c`."""

    kind: ClassVar[str] = "soak"
    target_c: TargetC
    for_s: StepS
    within_c: WithinC = 0.5
    name: str = ""


@dataclass(frozen=True, slots=True)
class Ramp:
    """Move the target from where it is to `to_c` at `rate_c_per_day` (a speed, always positive)."""

    kind: ClassVar[str] = "ramp"
    to_c: TargetC
    rate_c_per_day: Annotated[float, Gt(0), Le(480)]
    name: str = ""


@dataclass(frozen=True, slots=True)
class Jump:
    """Set the target to `to_c` at once; over when the beer has come within `within_c` of it."""

    kind: ClassVar[str] = "jump"
    to_c: TargetC
    within_c: WithinC = 0.5
    name: str = ""


@dataclass(frozen=True, slots=True)
class FreeRise:
    """Let the beer warm itself: heated only below `floor_c`, cooled only above `ceiling_c`.

    Over after `for_s`, or as soon as the beer has reached the ceiling.
    """

    kind: ClassVar[str] = "free-rise"
    floor_c: TargetC
    ceiling_c: TargetC
    for_s: StepS
    name: str = ""


@dataclass(frozen=True, slots=True)
class WaitForPerson:
    """Hold `target_c` until somebody confirms; `prompt` says what they are asked to do."""

    kind: ClassVar[str] = "wait"
    target_c: TargetC
    prompt: Annotated[str, MinLen(1)]
    name: str = ""


@dataclass(frozen=True, slots=True)
class HoldUntil:
    """Hold `target_c` until a time of the calendar: "fri 18:00", "2026-12-24 08:00", "18:00".

    The time meant is the first after the step before was due to end. If the board was off then,
    the step is over as soon as it is on again and its clock is set.
    """

    kind: ClassVar[str] = "hold-until"
    target_c: TargetC
    until: CalendarTime
    name: str = ""


@dataclass(frozen=True, slots=True)
class Change:
    """One change of a schedule: from this time of the calendar on, hold this target."""

    at: CalendarTime
    target_c: TargetC


@dataclass(frozen=True, slots=True)
class Schedule:
    """Change the target by the calendar, again and again, without end: a cellar's day and season.

    What holds is the change whose time was last; until the clock is known to be set it is the
    first one. Only the last step may be one.
    """

    kind: ClassVar[str] = "schedule"
    changes: Annotated[tuple[Change, ...], MinLen(1)]
    name: str = ""


@dataclass(frozen=True, slots=True)
class FinalHold:
    """Hold `target_c` without end. Only the last step may be one."""

    kind: ClassVar[str] = "final-hold"
    target_c: TargetC
    name: str = ""


Step = Hold | HoldUntil | Soak | Ramp | Jump | FreeRise | WaitForPerson | Schedule | FinalHold


@dataclass(frozen=True, slots=True)
class Profile:
    """A named sequence of steps."""

    name: Annotated[str, MinLen(1)]
    steps: Annotated[tuple[Step, ...], MinLen(1)]
    description: str = ""
    planned_after_s: tuple[float, ...] = field(init=False, compare=False, repr=False)
    """For each step, how long those after it take by plan, as far as that is known (s)."""

    def __post_init__(self) -> None:
        # Asked for at every tick; a profile never changes.
        totals = [0.0] * len(self.steps)
        for index in range(len(self.steps) - 2, -1, -1):
            later_s = planned_s(self.steps[index + 1], leaves_c(self.steps[index])) or 0.0
            totals[index] = totals[index + 1] + later_s
        object.__setattr__(self, "planned_after_s", tuple(totals))


@dataclass(frozen=True, slots=True)
class Target:
    """What the beer should be: heated up to `heat_c`, cooled down to `cool_c` (°C).

    The two are one number except in a free rise, where they are its floor and ceiling.
    """

    heat_c: float
    cool_c: float

    @staticmethod
    def at(temp_c: float) -> Target:
        """The ordinary target: one temperature."""
        return Target(temp_c, temp_c)


def coldest_target_c(step: Step) -> float:
    """The lowest temperature (°C) that a step asks for."""
    match step:
        case Ramp() | Jump():
            return step.to_c
        case FreeRise():
            return step.floor_c
        case Schedule():
            return min(change.target_c for change in step.changes)
        case _:
            return step.target_c


def planned_s(step: Step, entry_c: float) -> float | None:
    """How long a step takes by plan (s), if it is known beforehand."""
    match step:
        case Hold() | Soak() | FreeRise():
            return step.for_s
        case Ramp():
            return abs(step.to_c - entry_c) / step.rate_c_per_day * 86400.0
        case _:
            return None


def leaves_c(step: Step) -> float:
    """The target that a step leaves to the next one, by plan (°C)."""
    match step:
        case Ramp() | Jump():
            return step.to_c
        case FreeRise():
            return step.ceiling_c
        case Schedule():
            return step.changes[-1].target_c
        case _:
            return step.target_c
