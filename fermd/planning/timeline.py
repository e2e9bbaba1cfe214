"""A profile on the calendar: when each step begins and ends, and what the target is in between.

Where a step takes as long as the beer or a person does, its length is an estimate (from a
rehearsal) or the least that it can be, and what comes after it is marked as not sure. Calendar
times are worked out by the zone's calendar; lengths are lengths, also over a change of clocks:
24 hours are not a day then.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import inf
from typing import Final
from zoneinfo import ZoneInfo

from fermd.config.profile_checks import clock_change_words, clock_changes
from fermd.config.zone_calendar import ZoneCalendar
from fermd.control.calendar import Calendar, WallTime
from fermd.control.foresight import stretches
from fermd.control.progress import Progress, advance, leaves_c, target
from fermd.control.settings import DAY_S, HOUR_S
from fermd.control.steps import FreeRise, HoldUntil, Profile, Ramp, Schedule, Step

SCHEDULE_SHOWN_S: Final = 14 * DAY_S
"""How much of a schedule, which has no end, is laid out, s: a fortnight has each weekday twice."""

END_SHOWN: Final = 0.06
"""How much of a final hold is laid out, as a share of what comes before it ..."""
LEAST_END_SHOWN_S: Final = 12 * HOUR_S
"""... and at least, s."""


@dataclass(frozen=True, slots=True)
class Corner:
    """A point of the target's line; between two of them it is straight."""

    utc_s: float
    heat_c: float
    cool_c: float


@dataclass(frozen=True, slots=True)
class Segment:
    """One step in its place."""

    index: int
    """From 0."""
    step: Step
    begins_utc_s: float
    begin_is_sure: bool
    ends_utc_s: float
    """`inf` for a step without end."""
    end_is_sure: bool
    entry_c: float
    """The target that it is entered with, °C."""
    corners: tuple[Corner, ...]
    note: str = ""
    """What a change of clocks does to its time of the calendar."""

    @property
    def lasts_s(self) -> float:
        """How long the step takes, s; `inf` without end."""
        return self.ends_utc_s - self.begins_utc_s


@dataclass(frozen=True, slots=True)
class Timeline:
    """A whole profile."""

    profile: Profile
    start_utc_s: float
    start_c: float
    """The beer's temperature at the start, °C."""
    segments: tuple[Segment, ...]
    clock_changes: tuple[tuple[float, str], ...]
    """When clocks are changed meanwhile, and what happens, in words."""

    @property
    def end_utc_s(self) -> float:
        """When the last step with an end is over: then the beer is where it stays."""
        last = self.segments[-1]
        return last.begins_utc_s if last.ends_utc_s == inf else last.ends_utc_s

    @property
    def lasts_s(self) -> float:
        """The profile's whole length up to its final hold, s."""
        return self.end_utc_s - self.start_utc_s

    @property
    def is_sure(self) -> bool:
        """Whether the length follows from the plan alone."""
        last = self.segments[-1]
        return last.begin_is_sure if last.ends_utc_s == inf else last.end_is_sure

    @property
    def corners(self) -> tuple[Corner, ...]:
        """The target's whole line, with a part of what has no end."""
        return tuple(corner for segment in self.segments for corner in segment.corners)


def timeline(
    profile: Profile,
    start_utc_s: float,
    start_c: float,
    zone: ZoneInfo,
    taken_s: Mapping[int, float] | None = None,
) -> Timeline:
    """Lay a profile out; `taken_s` is what the beer or a person takes (see `stretches`)."""
    calendar = ZoneCalendar(zone)
    laid = list(stretches(profile.steps, start_utc_s, start_c, calendar, taken_s))
    segments = []
    entry_c = start_c
    for index, (step, place) in enumerate(zip(profile.steps, laid, strict=False)):
        shown_until_s = place.ends_utc_s
        if shown_until_s == inf:
            before_s = place.begins_utc_s - start_utc_s
            shown_s = max(LEAST_END_SHOWN_S, END_SHOWN * before_s)
            if isinstance(step, Schedule):
                shown_s = SCHEDULE_SHOWN_S
            shown_until_s = place.begins_utc_s + shown_s
        corners = tuple(_corners(step, place.begins_utc_s, shown_until_s, entry_c, calendar))
        note = ""
        if isinstance(step, HoldUntil):
            note = clock_change_words(step.until, place.ends_utc_s, zone) or ""
        segments.append(
            Segment(
                index,
                step,
                place.begins_utc_s,
                place.begin_is_sure,
                place.ends_utc_s,
                place.end_is_sure,
                entry_c,
                corners,
                note,
            )
        )
        entry_c = leaves_c(step)
    end_s = segments[-1].corners[-1].utc_s
    return Timeline(
        profile,
        start_utc_s,
        start_c,
        tuple(segments),
        tuple(clock_changes(start_utc_s, end_s, zone)),
    )


def target_at(corners: Sequence[Corner], utc_s: float) -> tuple[float, float]:
    """The target at a time as (heat, cool), °C; before and after the line, that of its ends."""
    before = corners[0]
    for before, after in pairwise(corners):
        if before.utc_s <= utc_s < after.utc_s:
            share = (utc_s - before.utc_s) / (after.utc_s - before.utc_s)
            return (
                before.heat_c + share * (after.heat_c - before.heat_c),
                before.cool_c + share * (after.cool_c - before.cool_c),
            )
    end = corners[0] if utc_s < corners[0].utc_s else corners[-1]
    return end.heat_c, end.cool_c


def _corners(
    step: Step, begins_s: float, ends_s: float, entry_c: float, calendar: Calendar
) -> Iterator[Corner]:
    match step:
        case FreeRise():
            yield Corner(begins_s, step.floor_c, step.ceiling_c)
            yield Corner(ends_s, step.floor_c, step.ceiling_c)
        case Ramp():
            yield Corner(begins_s, entry_c, entry_c)
            yield Corner(ends_s, step.to_c, step.to_c)
        case Schedule():
            yield from _of_schedule(step, begins_s, ends_s, calendar)
        case _:
            held_c = leaves_c(step)
            yield Corner(begins_s, held_c, held_c)
            yield Corner(ends_s, held_c, held_c)


def _of_schedule(
    step: Schedule, begins_s: float, ends_s: float, calendar: Calendar
) -> Iterator[Corner]:
    """Ask the step engine itself what holds, from one change to the next."""
    progress = Progress(Profile("schedule", (step,)), 0, 0.0, step.changes[0].target_c)
    at_s = begins_s
    while at_s < ends_s:
        progress, _ = advance(progress, None, 0.0, WallTime(at_s, calendar))
        held_c = target(progress).cool_c
        yield Corner(at_s, held_c, held_c)
        at_s = min(ends_s, progress.scheduled_until_utc_s)
        yield Corner(at_s, held_c, held_c)
