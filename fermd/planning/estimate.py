"""How long the steps take that the beer or a person ends: estimated by a quick rehearsal."""

from __future__ import annotations

from dataclasses import dataclass

from fermd.control.steps import FreeRise, Jump, Profile, Soak, WaitForPerson
from fermd.planning.outcome import Rehearsal
from fermd.planning.rehearsal import QUICK_PERIOD_S, Plan, rehearse


@dataclass(frozen=True, slots=True)
class Estimate:
    """What a rehearsal says of the lengths that no plan knows."""

    taken_s: dict[int, float]
    """By the step's index: the whole of a jump, a wait or a free rise, and what a soak takes on
    top of its own time (see `foresight.stretches`)."""
    never_ends: int | None
    """The step that the rehearsal was given up in: the chamber does not get there."""


def needs_estimate(profile: Profile) -> bool:
    """Whether any step is ended by the beer or a person."""
    return any(isinstance(step, Soak | Jump | FreeRise | WaitForPerson) for step in profile.steps)


def estimate(plan: Plan) -> Estimate:
    """Rehearse a plan with ticks of five minutes, for its dates.

    Raises:
        PlanError: the core refuses the profile.

    """
    if not needs_estimate(plan.profile):
        return Estimate({}, None)
    return estimate_from(rehearse(plan, period_s=QUICK_PERIOD_S), plan.profile)


def estimate_from(seen: Rehearsal, profile: Profile) -> Estimate:
    """The same from a rehearsal that there is already."""
    taken_s: dict[int, float] = {}
    for book in seen.steps:
        step = profile.steps[book.index]
        if book.left_utc_s is None:
            continue
        lasted_s = book.left_utc_s - book.entered_utc_s
        if isinstance(step, Jump | FreeRise | WaitForPerson):
            taken_s[book.index] = lasted_s
        elif isinstance(step, Soak):
            # Steps begin and end at ticks; less than one is no waiting.
            more_s = lasted_s - step.for_s
            taken_s[book.index] = more_s if more_s > QUICK_PERIOD_S else 0.0
    return Estimate(taken_s, None if seen.finished else seen.steps[-1].index)
