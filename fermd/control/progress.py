"""Where a profile stands, and how it moves on.

The step's clock is a sum of time under control, kept in the state: a restart goes on from it, a
clock step does not touch it, and time in which nobody was in charge counts only as far as the beer
was at its temperature (`credit`). So no step is ever repeated, skipped or silently shortened.

A step that ends by the calendar keeps its date whatever happens. If that has passed while nobody
was in charge, it is over at once, and so is every later one whose date has passed: late steps are
taken up in order, and each is told to be overdue.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import inf

from fermd.control.calendar import WallTime
from fermd.control.events import Event, StepChange, StepChanged
from fermd.control.replacing import replacer
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
    Target,
    WaitForPerson,
)
from fermd.control.steps import leaves_c as leaves_c
from fermd.control.steps import planned_s as planned_s


@dataclass(frozen=True, slots=True)
class Progress:
    """A profile under way. `index == len(profile.steps)` means that it has come to its end."""

    profile: Profile
    index: int
    elapsed_s: float
    """The present step's own clock, s: it stands still in a pause, in an outage, and while a soak
    is away from its temperature."""
    entry_c: float
    """The target that the step was entered with, °C: a ramp starts from it."""
    extra_s: float = 0.0
    """By how much the step was extended (negative: shortened), s."""
    reached: bool = False
    """Whether a soak has been at its temperature yet."""
    due_utc_s: float | None = None
    """When the present step is over by the calendar; None if it is not of that kind, or the clock
    has not been set yet."""
    from_utc_s: float | None = None
    """From when on the step's time of the calendar is looked for: when the step before was due."""
    scheduled_c: float | None = None
    """What a schedule asks for at present ..."""
    scheduled_from_utc_s: float = 0.0
    scheduled_until_utc_s: float = 0.0
    """... and from when until when that holds."""
    plan: Profile | None = None
    """The profile as it was started, if it has been changed since."""

    @property
    def step(self) -> Step | None:
        """The present step; None when the profile has come to its end."""
        return self.profile.steps[self.index] if self.index < len(self.profile.steps) else None


_CLOCKED = replacer(Progress, "elapsed_s")


@dataclass(frozen=True, slots=True)
class Outlook:
    """Where a profile stands, for people."""

    profile: str
    index: int
    steps: int
    kind: str
    name: str
    elapsed_s: float
    remaining_s: float | None
    """Of this step, if it is known: not for a wait, a jump or a final hold."""
    planned_s: float | None
    """Of this step in all, if it is known."""
    rest_s: float
    """Of the steps after this one, as far as they are known."""
    prompt: str = ""
    next_kind: str | None = None
    """The kind and name of the step after this one, if there is one."""
    next_name: str = ""


def begin(profile: Profile, start_c: float) -> tuple[Progress, tuple[Event, ...]]:
    """A profile at its first step; a ramp that comes first starts from `start_c` (°C)."""
    progress = Progress(profile, 0, 0.0, start_c)
    return progress, (told(progress, StepChange.ENTERED),)


def target(progress: Progress) -> Target:
    """What the beer should be at this point of the profile."""
    step = progress.step
    if step is None:
        return Target.at(progress.entry_c)
    match step:
        case Ramp():
            return Target.at(_along_ramp_c(step, progress))
        case Jump():
            return Target.at(step.to_c)
        case FreeRise():
            return Target(step.floor_c, step.ceiling_c)
        case Schedule():
            at_c = progress.scheduled_c
            return Target.at(step.changes[0].target_c if at_c is None else at_c)
        case _:
            return Target.at(step.target_c)


def advance(
    progress: Progress, beer_c: float | None, passed_s: float, wall: WallTime | None = None
) -> tuple[Progress, tuple[Event, ...]]:
    """Let `passed_s` seconds of control pass, with the beer at `beer_c` (None: not known).

    `wall` is the wall clock if it is known to be set; steps of the calendar wait for it.
    What is left of the time when a step ends is the next one's, so that a long profile does not
    slip by a sample period at every step.
    """
    events: list[Event] = []
    while (step := progress.step) is not None:
        if isinstance(step, HoldUntil | Schedule):
            progress = _with_calendar(progress, step, wall)
        progress, over, passed_s = _advance_step(progress, step, beer_c, passed_s, wall, events)
        if not over:
            break
        events.append(told(progress, StepChange.ENDED))
        progress = _next(progress, step, beer_c)
        if progress.step is not None:
            events.append(told(progress, StepChange.ENTERED))
    return progress, tuple(events)


def skip(progress: Progress, beer_c: float | None) -> tuple[Progress, tuple[Event, ...]]:
    """Go to the next step now. A ramp that is skipped leaves the target where it had come to."""
    step = progress.step
    if step is None:
        return progress, ()
    skipped = told(progress, StepChange.SKIPPED)
    at_c = _along_ramp_c(step, progress) if isinstance(step, Ramp) else None
    moved = _next(progress, step, beer_c)
    if at_c is not None:
        moved = replace(moved, entry_c=at_c)
    entered = (told(moved, StepChange.ENTERED),) if moved.step is not None else ()
    return moved, (skipped, *entered)


def confirm(progress: Progress) -> tuple[Progress, tuple[Event, ...]] | None:
    """The word that a waiting step waits for; None if the present step waits for nobody."""
    step = progress.step
    if not isinstance(step, WaitForPerson):
        return None
    confirmed = told(progress, StepChange.CONFIRMED)
    moved = _next(progress, step, None)
    entered = (told(moved, StepChange.ENTERED),) if moved.step is not None else ()
    return moved, (confirmed, *entered)


def extend(progress: Progress, by_s: float) -> tuple[Progress, tuple[Event, ...]] | None:
    """Make the present step longer or shorter; None if it does not end by time."""
    step = progress.step
    if not isinstance(step, Hold | HoldUntil | Soak | FreeRise):
        return None
    longer = replace(progress, extra_s=progress.extra_s + by_s)
    return longer, (told(longer, StepChange.EXTENDED),)


def outlook(progress: Progress, wall: WallTime | None = None) -> Outlook:
    """Where the profile stands, for people."""
    step = progress.step
    profile = progress.profile
    if step is None:
        return Outlook(
            profile.name, progress.index, len(profile.steps), "end", "", 0.0, 0.0, 0.0, 0.0
        )
    later = progress.index + 1
    following = profile.steps[later] if later < len(profile.steps) else None
    plan_s = planned_s(step, progress.entry_c)
    if plan_s is not None:
        plan_s = max(0.0, plan_s + progress.extra_s)
    remaining_s = None if plan_s is None else max(0.0, plan_s - progress.elapsed_s)
    due_s = due_utc_s(progress)
    if due_s is not None and wall is not None:
        remaining_s = max(0.0, due_s - wall.utc_s)
        plan_s = progress.elapsed_s + remaining_s
    return Outlook(
        profile.name,
        progress.index,
        len(profile.steps),
        step.kind,
        step.name,
        progress.elapsed_s,
        remaining_s,
        plan_s,
        remaining_after_s(progress),
        step.prompt if isinstance(step, WaitForPerson) else "",
        following.kind if following is not None else None,
        following.name if following is not None else "",
    )


def remaining_after_s(progress: Progress) -> float:
    """How long the steps after the present one take by plan, as far as that is known (s)."""
    after_s = progress.profile.planned_after_s
    return after_s[progress.index] if progress.index < len(after_s) else 0.0


def told(progress: Progress, change: StepChange) -> StepChanged:
    """The event that tells of the present step."""
    step = progress.step
    if step is None:
        raise IndexError("the profile has come to its end: there is no step to tell of")
    return StepChanged(
        progress.profile.name, progress.index, step.kind, step.name, change, progress.elapsed_s
    )


def due_utc_s(progress: Progress) -> float | None:
    """When the present step is over by the calendar, if that is known."""
    return None if progress.due_utc_s is None else progress.due_utc_s + progress.extra_s


OVERDUE_S = 600.0
"""A step that ends this much after its time of the calendar is told to be overdue, s; so is the
first one of a profile whose planned start was so late."""

SET_BACK_S = 60.0
"""A wall clock this far before the time from which a step was looked for was wrong then, s."""


def _with_calendar(
    progress: Progress, step: HoldUntil | Schedule, wall: WallTime | None
) -> Progress:
    """Work out what the calendar says of the present step, if that is not known yet."""
    if wall is None:
        return progress
    if isinstance(step, HoldUntil):
        from_s = progress.from_utc_s
        if from_s is None or wall.utc_s < from_s - SET_BACK_S:
            from_s, progress = wall.utc_s, replace(progress, due_utc_s=None)
        if progress.due_utc_s is not None:
            return progress
        due_s = wall.calendar.next_utc_s(step.until, from_s)
        if due_s is None:
            # A date that has passed has no next time: the step is over at once, and told how late.
            due_s = wall.calendar.last_utc_s(step.until, from_s)
        return replace(progress, from_utc_s=from_s, due_utc_s=from_s if due_s is None else due_s)
    if progress.scheduled_c is not None and (
        progress.scheduled_from_utc_s <= wall.utc_s < progress.scheduled_until_utc_s
    ):
        return progress
    return _with_schedule(progress, step, wall)


def _with_schedule(progress: Progress, step: Schedule, wall: WallTime) -> Progress:
    at_s, at_c = -inf, step.changes[0].target_c
    until_s = inf
    for change in step.changes:
        last_s = wall.calendar.last_utc_s(change.at, wall.utc_s)
        if last_s is not None and last_s >= at_s:
            at_s, at_c = last_s, change.target_c
        next_s = wall.calendar.next_utc_s(change.at, wall.utc_s)
        if next_s is not None:
            until_s = min(until_s, next_s)
    return replace(
        progress, scheduled_c=at_c, scheduled_from_utc_s=at_s, scheduled_until_utc_s=until_s
    )


def _until_due(
    progress: Progress, passed_s: float, wall: WallTime | None, events: list[Event]
) -> tuple[Progress, bool, float]:
    progress = _CLOCKED(progress, progress.elapsed_s + passed_s)
    due_s = due_utc_s(progress)
    if wall is None or due_s is None or wall.utc_s < due_s:
        return progress, False, 0.0
    late_s = wall.utc_s - due_s
    if late_s > OVERDUE_S:
        events.append(replace(told(progress, StepChange.OVERDUE), elapsed_s=late_s))
    return progress, True, min(passed_s, late_s)


def _advance_step(
    progress: Progress,
    step: Step,
    beer_c: float | None,
    passed_s: float,
    wall: WallTime | None,
    events: list[Event],
) -> tuple[Progress, bool, float]:
    """One step's clock: the new progress, whether the step is over, and the time left over."""
    match step:
        case Soak():
            there = beer_c is not None and abs(beer_c - step.target_c) <= step.within_c
            if not there:
                # An extension may have shortened the step below what it has run already.
                over = progress.elapsed_s >= step.for_s + progress.extra_s
                return progress, over, 0.0
            if not progress.reached:
                progress = replace(progress, reached=True)
                events.append(told(progress, StepChange.REACHED))
            return _run_clock(progress, step.for_s, passed_s)
        case Jump():
            progress = _CLOCKED(progress, progress.elapsed_s + passed_s)
            there = beer_c is not None and abs(beer_c - step.to_c) <= step.within_c
            return progress, there, 0.0
        case FreeRise():
            progress, over, left_s = _run_clock(progress, step.for_s, passed_s)
            if not over and beer_c is not None and beer_c >= step.ceiling_c:
                return progress, True, 0.0
            return progress, over, left_s
        case HoldUntil():
            return _until_due(progress, passed_s, wall, events)
        case WaitForPerson() | Schedule() | FinalHold():
            return _CLOCKED(progress, progress.elapsed_s + passed_s), False, 0.0
        case Ramp():
            return _run_clock(progress, planned_s(step, progress.entry_c) or 0.0, passed_s)
    return _run_clock(progress, step.for_s, passed_s)


def _run_clock(progress: Progress, for_s: float, passed_s: float) -> tuple[Progress, bool, float]:
    end_s = max(0.0, for_s + progress.extra_s)
    elapsed_s = progress.elapsed_s + passed_s
    if elapsed_s < end_s:
        return _CLOCKED(progress, elapsed_s), False, 0.0
    # A step that was shortened below what it has run already leaves nothing over: the surplus
    # passed in an earlier tick.
    left_s = min(passed_s, elapsed_s - end_s)
    return replace(progress, elapsed_s=max(end_s, progress.elapsed_s)), True, left_s


def _next(progress: Progress, step: Step, beer_c: float | None) -> Progress:
    entry_c = leaves_c(step)
    due_s, from_s = due_utc_s(progress), progress.from_utc_s
    if isinstance(step, FreeRise) and beer_c is not None:
        # A free rise leaves the beer where it has come to, not at a number of the plan.
        entry_c = min(max(beer_c, step.floor_c), step.ceiling_c)
    return Progress(
        progress.profile,
        progress.index + 1,
        0.0,
        entry_c,
        # Two times of the calendar in a row: the second is looked for from the first, not from now.
        # A date that had passed before its step began is no time to look from.
        from_utc_s=due_s if due_s is None or from_s is None else max(due_s, from_s),
        plan=progress.plan,
    )


def _along_ramp_c(step: Ramp, progress: Progress) -> float:
    moved_c = step.rate_c_per_day * progress.elapsed_s / 86400.0
    if step.to_c >= progress.entry_c:
        return min(step.to_c, progress.entry_c + moved_c)
    return max(step.to_c, progress.entry_c - moved_c)
