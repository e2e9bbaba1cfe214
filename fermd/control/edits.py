"""A running profile changed by hand: another target, another rest, and back to the plan.

What is past is never changed. The profile as it was started is kept beside the changed one, so that
every change can be undone.
"""

from __future__ import annotations

from dataclasses import replace

from fermd.control.events import Event, StepChange
from fermd.control.progress import Progress, target, told
from fermd.control.settings import DAY_S
from fermd.control.steps import (
    FinalHold,
    Hold,
    HoldUntil,
    Jump,
    Ramp,
    Soak,
    Step,
    WaitForPerson,
)


def go_to(
    progress: Progress, index: int, beer_c: float | None
) -> tuple[Progress, tuple[Event, ...]] | None:
    """Go to a step (counted from 0) now, forward or back; None if there is no such step."""
    if not 0 <= index < len(progress.profile.steps):
        return None
    left = told(progress, StepChange.SKIPPED)
    entry_c = beer_c if beer_c is not None else target(progress).cool_c
    moved = Progress(progress.profile, index, 0.0, entry_c, plan=progress.plan)
    return moved, (left, told(moved, StepChange.ENTERED))


def change_target(progress: Progress, target_c: float) -> tuple[Progress, tuple[Event, ...]] | None:
    """Give the present step another target; None if it has no one target to change."""
    step = progress.step
    changed: Step
    match step:
        case Ramp():
            # From where the target has come to: a ramp that turns round does not jump.
            turned = replace(step, to_c=target_c)
            here_c = target(progress).cool_c
            entry_c = _entry_for(turned, here_c, progress.elapsed_s)
            progress, changed = replace(progress, entry_c=entry_c), turned
        case Jump():
            changed = replace(step, to_c=target_c)
        case Hold() | HoldUntil() | Soak() | WaitForPerson() | FinalHold():
            changed = replace(step, target_c=target_c)
        case _:
            return None
    return change_steps(progress, (changed, *progress.profile.steps[progress.index + 1 :]))


def change_rest(progress: Progress, steps: tuple[Step, ...]) -> tuple[Progress, tuple[Event, ...]]:
    """Let these steps follow the present one, in place of those that were planned."""
    present = progress.profile.steps[progress.index]
    return change_steps(progress, (present, *steps))


def change_steps(progress: Progress, steps: tuple[Step, ...]) -> tuple[Progress, tuple[Event, ...]]:
    """Replace the present step and all after it; what is past stays as it was."""
    past = progress.profile.steps[: progress.index]
    changed = replace(
        progress,
        profile=replace(progress.profile, steps=(*past, *steps)),
        plan=progress.plan or progress.profile,
    )
    return changed, (told(changed, StepChange.CHANGED),)


def return_to_plan(progress: Progress) -> tuple[Progress, tuple[Event, ...]] | None:
    """Undo every change: the profile as it was started, at the step that it has come to."""
    if progress.plan is None and not progress.extra_s:
        return None
    plan = progress.plan or progress.profile
    index = min(progress.index, len(plan.steps) - 1)
    same = index == progress.index
    planned, here_c = plan.steps[index], target(progress).cool_c
    entry_c = progress.entry_c
    if same and isinstance(planned, Ramp):
        entry_c = _entry_for(planned, here_c, progress.elapsed_s)
    undone = replace(
        progress,
        profile=plan,
        index=index,
        entry_c=entry_c,
        elapsed_s=progress.elapsed_s if same else 0.0,
        extra_s=0.0,
        due_utc_s=None,
        scheduled_c=None,
        plan=None,
    )
    return undone, (told(undone, StepChange.CHANGED),)


def _entry_for(ramp: Ramp, here_c: float, elapsed_s: float) -> float:
    """Return the entry from which a ramp would have come to `here_c` in this time, °C."""
    moved_c = ramp.rate_c_per_day * elapsed_s / DAY_S
    return here_c - moved_c if ramp.to_c >= here_c else here_c + moved_c
