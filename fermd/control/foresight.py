"""What can be seen of a profile before it starts: when its steps come, and which never will.

Rules, the same wherever a profile is looked at or started:

- A step that nothing ends, before another one, makes that one unreachable: refused.
- A date that has passed by the time its step can begin, or is over before the step ahead of it,
  would end its step at once: refused. What counts is the earliest that the step can begin: steps
  that the beer or a person ends take no time in it.
- Of two changes of a schedule at the very same time the first never holds: refused.
- A start in the past is refused, but for one that is only as late as a slow hand.
- A weekday or a time of day is never unreachable: it comes again.

How the two days of the year with a change of clocks are dealt with is the calendar's rule (see
`Calendar`), and holds everywhere too.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import inf

from fermd.control.calendar import Calendar
from fermd.control.progress import leaves_c
from fermd.control.settings import DAY_S, Objection
from fermd.control.steps import FinalHold, Hold, HoldUntil, Ramp, Schedule, Soak, Step

PAST_S = 60.0
"""A start this far in the past, s, is a mistake and not a late wish."""


@dataclass(frozen=True, slots=True)
class Stretch:
    """One step in its place on the calendar."""

    begins_utc_s: float
    begin_is_sure: bool
    """Whether it follows from the plan alone; else it is the earliest, or an estimate."""
    ends_utc_s: float
    """`inf` for a step without end."""
    end_is_sure: bool


def stretches(
    steps: Sequence[Step],
    start_utc_s: float,
    start_c: float | None,
    calendar: Calendar | None,
    taken_s: Mapping[int, float] | None = None,
) -> Iterator[Stretch]:
    """Lay steps out from a start, as far as they can be reached.

    `start_c` is the beer's temperature at the start, °C (None: a ramp that comes first takes no
    time). `taken_s` has, by the step's index, what the beer or a person is expected to take: the
    whole of a jump, a wait or a free rise, and what a soak takes on top of its own time. Without
    it these take no time.
    """
    at_s, entry_c, sure = start_utc_s, start_c, True
    for index, step in enumerate(steps):
        ends_s, takes_as_planned = _end_s(step, at_s, entry_c, calendar)
        ends_s += (taken_s or {}).get(index, 0.0)
        # A date is kept however late its step begins; a weekday depends on when that is.
        dated = isinstance(step, HoldUntil) and step.until.date is not None
        end_sure = takes_as_planned and (sure or dated or ends_s == inf)
        yield Stretch(at_s, sure, ends_s, end_sure)
        at_s, entry_c, sure = ends_s, leaves_c(step), end_sure
        if ends_s == inf:
            return


def unreachable(
    steps: Sequence[Step], start_utc_s: float, calendar: Calendar | None
) -> tuple[Objection, ...]:
    """What of these steps could never come to its turn, started then; keys as in a profile file."""
    return (*_after_no_end(steps), *_dates_gone(steps, start_utc_s, calendar), *_hidden(steps))


def start_objection(at_utc_s: float, now_utc_s: float) -> str | None:
    """Why a profile cannot be started at this time; None if it can."""
    if not now_utc_s - PAST_S <= at_utc_s < inf:
        return "the start is in the past: name a time to come, or start the profile now"
    return None


def _end_s(
    step: Step, at_s: float, entry_c: float | None, calendar: Calendar | None
) -> tuple[float, bool]:
    """When a step ends at the earliest, and whether it takes just so long."""
    match step:
        case FinalHold() | Schedule():
            return inf, True
        case HoldUntil() if calendar is not None:
            due_s = calendar.next_utc_s(step.until, at_s)
            return (at_s if due_s is None else due_s), True
        case Ramp() if entry_c is not None:
            return at_s + abs(step.to_c - entry_c) / step.rate_c_per_day * DAY_S, True
        case Hold():
            return at_s + step.for_s, True
        case Soak():
            return at_s + step.for_s, False
        case _:
            return at_s, False


def _after_no_end(steps: Sequence[Step]) -> Iterator[Objection]:
    for index, step in enumerate(steps[:-1]):
        if isinstance(step, FinalHold | Schedule):
            why = (
                f"step {index + 2} and all after it are never reached, because a {step.kind} has "
                "no end: let it be the last one"
            )
            yield Objection(f"step[{index + 1}].kind", step.kind, why)


def _dates_gone(
    steps: Sequence[Step], start_utc_s: float, calendar: Calendar | None
) -> Iterator[Objection]:
    if calendar is None:
        return
    laid = stretches(steps, start_utc_s, None, calendar)
    for index, (step, stretch) in enumerate(zip(steps, laid, strict=False)):
        if not isinstance(step, HoldUntil) or step.until.date is None:
            continue
        if calendar.next_utc_s(step.until, stretch.begins_utc_s) is not None:
            continue
        yield Objection(
            f"step[{index + 1}].until",
            str(step.until),
            f"{_why_gone(steps, index, stretch.begins_utc_s - start_utc_s)}, so the step would be "
            "over at once: name a later time, or make what comes before it shorter",
        )


def _why_gone(steps: Sequence[Step], index: int, after_s: float) -> str:
    if index == 0 or after_s <= 0.0:
        return "has passed by the start"
    before = steps[index - 1]
    if isinstance(before, HoldUntil):
        return f"has passed when step {index} ends (at {before.until})"
    days = f"{after_s / DAY_S:.1f} d"
    return f"has passed when the steps before it are over (after {days} at the earliest)"


def _hidden(steps: Sequence[Step]) -> Iterator[Objection]:
    for index, step in enumerate(steps):
        if not isinstance(step, Schedule):
            continue
        times = [change.at for change in step.changes]
        for number, at in enumerate(times):
            if at in times[number + 1 :]:
                later = times.index(at, number + 1) + 1
                why = f"never holds, because change {later} is at the same time: leave one out"
                yield Objection(f"step[{index + 1}].changes[{number + 1}].at", str(at), why)
