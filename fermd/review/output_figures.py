"""What each output did over a span and day by day; and what that cost, if its watts are told."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta, tzinfo
from itertools import pairwise

from fermd.review.course import Course, OnTime
from fermd.review.record import Run

HOUR_S = 3600.0


@dataclass(frozen=True, slots=True)
class DayFigures:
    """One output on one day of the brewer's calendar."""

    day: str
    """As `2026-03-06`."""
    starts: int
    on_h: float
    duty_cycle: float
    """Share of the day's part in the span that it was on, 0 to 1."""


@dataclass(frozen=True, slots=True)
class OutputFigures:
    """One output over a span."""

    output: str
    duty: str
    starts: int
    """Within the span; a run that came in from before it is not counted."""
    on_h: float
    duty_cycle: float
    """Share of the span, 0 to 1."""
    shortest_off_s: float | None
    """Between two runs; None with fewer than two."""
    shortest_run_s: float | None
    """Of the runs that are over and whose end is known."""
    longest_run_s: float | None
    most_starts_in_an_hour: int
    days: tuple[DayFigures, ...]
    watts: float | None
    """As it was told; None: not told."""
    kwh: float | None
    cost: float | None


def output_figures(
    course: Course,
    zone: tzinfo,
    watts: Mapping[str, float] | None = None,
    price_per_kwh: float | None = None,
) -> tuple[OutputFigures, ...]:
    """Sum up each output that ran.

    `watts` are by the output's name; without them there is no energy, and without a price no cost.
    """
    names = dict.fromkeys(run.output for run in sorted(course.runs, key=lambda run: run.duty))
    return tuple(
        _figures(course, name, zone, (watts or {}).get(name), price_per_kwh) for name in names
    )


def _figures(
    course: Course, name: str, zone: tzinfo, watts: float | None, price: float | None
) -> OutputFigures:
    runs = [run for run in course.runs if run.output == name]
    on = OnTime(runs)
    on_h = on.within_s(course.start_s, course.end_s) / HOUR_S
    whole_s = [run.end_s - run.start_s for run in runs if run.end_s is not None and run.is_over]
    pauses_s = [
        later.start_s - before.end_s
        for before, later in pairwise(runs)
        if before.end_s is not None and before.is_over
    ]
    starts = [run.start_s for run in runs if course.start_s <= run.start_s <= course.end_s]
    kwh = None if watts is None else on_h * watts / 1000.0
    return OutputFigures(
        output=name,
        duty=runs[0].duty,
        starts=len(starts),
        on_h=on_h,
        duty_cycle=on_h * HOUR_S / max(1.0, course.lasted_s),
        shortest_off_s=min(pauses_s, default=None),
        shortest_run_s=min(whole_s, default=None),
        longest_run_s=max(whole_s, default=None),
        most_starts_in_an_hour=most_in_an_hour(starts),
        days=tuple(_days(course, runs, on, zone)),
        watts=watts,
        kwh=kwh,
        cost=None if kwh is None or price is None else kwh * price,
    )


def most_in_an_hour(starts: Sequence[float]) -> int:
    """Count the most starts (moments in order, s) within any hour."""
    return max(
        (bisect_left(starts, start + HOUR_S) - first for first, start in enumerate(starts)),
        default=0,
    )


def _days(course: Course, runs: Sequence[Run], on: OnTime, zone: tzinfo) -> list[DayFigures]:
    found = []
    for day, from_s, to_s in days_of(course.start_s, course.end_s, zone):
        on_s = on.within_s(from_s, to_s)
        starts = sum(from_s <= run.start_s < to_s for run in runs)
        found.append(DayFigures(day, starts, on_s / HOUR_S, on_s / max(1.0, to_s - from_s)))
    return found


def days_of(start_s: float, end_s: float, zone: tzinfo) -> list[tuple[str, float, float]]:
    """Cut a span at the midnights of a time zone: each day with its part of the span."""
    found = []
    from_s = start_s
    while from_s < end_s:
        here = datetime.fromtimestamp(from_s, zone)
        midnight = here.replace(hour=0, minute=0, second=0, microsecond=0) + timedelta(days=1)
        to_s = min(end_s, midnight.timestamp())
        if to_s <= from_s:
            # A zone whose midnight did not happen that day.
            to_s = min(end_s, from_s + 3600.0)
        found.append((here.strftime("%Y-%m-%d"), from_s, to_s))
        from_s = to_s
    return found
