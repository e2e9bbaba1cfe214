"""A span of the record as curves: what a chart of it needs, no more than fits on a screen.

Readings come from the journal's rollups in buckets of equal length, each with its lowest, mean and
highest, so that a spike never disappears; a bucket without a reading is a gap and stays one. A
bucket is at least twice as long as what the record has for it, so that none is empty by chance.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Final, TypeVar

from fermd.control.events import (
    AlarmChanged,
    AlarmPhase,
    GapSeen,
    OutageSeen,
    ProfileChanged,
    StepChange,
    StepChanged,
    TargetChanged,
)
from fermd.control.steps import Ramp, Target
from fermd.control.wording import Unit
from fermd.journal.curves import Resolution, TemperaturePoint
from fermd.journal.reader import EventRow, JournalReader, OutputRun
from fermd.journal.rows import BrewerNote, ClockStepped
from fermd.review.telling import words
from fermd.web.edges_told import Line, band_of_its_time

Plain = dict[str, Any]
T = TypeVar("T")

LONGEST_RUN_S: Final = 86400.0
"""Runs that began so long before the span are looked at, s: none is let run for longer."""

MOST_MARKS: Final = 2000
"""Of each kind: more cannot be told apart on a screen."""

MOST_BEFORE: Final = 50
"""So many changes of steps before the span tell which step it begins in."""

_ALWAYS_S: Final = -1e18


@dataclass(frozen=True, slots=True)
class Wanted:
    """Which curves are meant."""

    chamber: str
    probes: Sequence[str]
    """Vessel, air and watching probes."""
    from_utc_s: float
    to_utc_s: float
    points: int
    """About how many buckets; there may be half as many."""
    sample_period_s: float
    now_utc_s: float
    target_now: Target | None
    unit: Unit


def read_curves(record: JournalReader, wanted: Wanted) -> Plain:
    """Read the curves of a span; JournalUnreadable if the journal cannot be read."""
    readings, bucket_s = _readings(record, wanted)
    start_s = math.floor(wanted.from_utc_s / bucket_s) * bucket_s
    count = max(1, math.ceil((wanted.to_utc_s - start_s) / bucket_s))
    step_rows = _rows(record, "step_changes", wanted)
    line = _target_line(record, wanted, step_rows)
    middles = [start_s + (index + 0.5) * bucket_s for index in range(count)]
    runs = record.output_runs(
        wanted.from_utc_s - LONGEST_RUN_S, wanted.to_utc_s, chamber=wanted.chamber
    )
    aims = [line(at_s) if at_s <= wanted.now_utc_s else None for at_s in middles]
    return {
        "chamber": wanted.chamber,
        "from_utc_s": start_s,
        "bucket_s": bucket_s,
        "count": count,
        "probes": {
            probe: _buckets(readings, probe, start_s, bucket_s, count) for probe in wanted.probes
        },
        "target": {
            "heat_c": [None if aim is None else aim[0] for aim in aims],
            "cool_c": [None if aim is None else aim[1] for aim in aims],
        },
        "band": band_of_its_time(runs, line, middles, wanted.now_utc_s),
        "target_changes": [
            [round(row.moment.wall_utc_s, 1), told.heat_c, told.cool_c]
            for row, told in _told(_rows(record, "target_changes", wanted), TargetChanged)
        ],
        "runs": _runs(runs, wanted),
        "marks": _marks(record, wanted, step_rows),
    }


def _readings(record: JournalReader, wanted: Wanted) -> tuple[Sequence[TemperaturePoint], float]:
    """The readings of the span, and how long a bucket is, s."""
    span_s = wanted.to_utc_s - wanted.from_utc_s
    bucket_s = max(span_s / wanted.points, 2.0 * wanted.sample_period_s)
    resolution: Resolution | None = None
    most = 10**6
    if bucket_s >= 2 * Resolution.QUARTER_HOUR:
        resolution = Resolution.QUARTER_HOUR
    elif bucket_s >= 2 * Resolution.MINUTE:
        # Few enough that minutes fit and what was read every few seconds does not.
        most = int(1.5 * (len(wanted.probes) + 1) * (span_s / Resolution.MINUTE + 2))
    found = record.temperatures(
        wanted.from_utc_s,
        wanted.to_utc_s,
        chamber=wanted.chamber,
        most_points=most,
        resolution=resolution,
    )
    least_s = 2.0 * max(float(found.resolution), wanted.sample_period_s)
    return found.points, math.ceil(max(bucket_s, least_s))


def _buckets(
    points: Sequence[TemperaturePoint], probe: str, start_s: float, bucket_s: float, count: int
) -> Plain:
    lowest: list[float | None] = [None] * count
    highest: list[float | None] = [None] * count
    sums = [0.0] * count
    numbers = [0] * count
    for point in points:
        if point.probe != probe or point.mean_c is None:
            continue
        index = int((point.wall_utc_s - start_s) // bucket_s)
        if not 0 <= index < count or point.minimum_c is None or point.maximum_c is None:
            continue
        low, high = lowest[index], highest[index]
        lowest[index] = point.minimum_c if low is None else min(low, point.minimum_c)
        highest[index] = point.maximum_c if high is None else max(high, point.maximum_c)
        sums[index] += point.mean_c * point.good_readings
        numbers[index] += point.good_readings
    return {
        "mean_c": [
            round(total / number, 3) if number else None
            for total, number in zip(sums, numbers, strict=True)
        ],
        "min_c": [None if one is None else round(one, 3) for one in lowest],
        "max_c": [None if one is None else round(one, 3) for one in highest],
    }


@dataclass(frozen=True, slots=True)
class _Corner:
    """Where the target's line begins anew."""

    utc_s: float
    target: Target | None
    is_ramp: bool
    """Whether it goes straight to the next corner; else it stays."""


def _target_line(record: JournalReader, wanted: Wanted, step_rows: Sequence[EventRow]) -> Line:
    """What the target was at any time: the record has only where a ramp began and ended."""
    chamber, from_s = wanted.chamber, wanted.from_utc_s
    rows = [
        *record.rows_of("target_changes", _ALWAYS_S, from_s, chamber=chamber, most=1),
        *record.rows_of("target_changes", from_s, wanted.now_utc_s + 1.0, chamber=chamber),
        *record.rows_of("step_changes", _ALWAYS_S, from_s, chamber=chamber, most=MOST_BEFORE),
        *step_rows,
    ]
    corners = _corners(sorted(rows, key=lambda row: row.seq))
    times = [corner.utc_s for corner in corners]

    def at(utc_s: float) -> tuple[float, float] | None:
        place = bisect_right(times, utc_s) - 1
        corner = corners[place] if place >= 0 else None
        if corner is None or corner.target is None:
            return None
        start = corner.target
        if not corner.is_ramp:
            return start.heat_c, start.cool_c
        is_last = place + 1 == len(corners)
        end_s = wanted.now_utc_s if is_last else times[place + 1]
        end = wanted.target_now if is_last else corners[place + 1].target
        if end is None or end_s <= corner.utc_s:
            return start.heat_c, start.cool_c
        share = min(1.0, (utc_s - corner.utc_s) / (end_s - corner.utc_s))
        return (
            round(start.heat_c + share * (end.heat_c - start.heat_c), 3),
            round(start.cool_c + share * (end.cool_c - start.cool_c), 3),
        )

    return at


def _corners(rows: Sequence[EventRow]) -> list[_Corner]:
    """The target's corners, in order.

    A ramp that begins where the target was tells of its step only.
    """
    corners: list[_Corner] = []
    now: Target | None = None
    by_profile = in_ramp = False
    for row in rows:
        told, at_s = row.happening, row.moment.wall_utc_s
        if isinstance(told, StepChanged) and told.change is StepChange.ENTERED:
            in_ramp = told.kind == Ramp.kind
            if in_ramp and by_profile:
                corners.append(_Corner(at_s, now, True))
        elif isinstance(told, TargetChanged):
            known = told.heat_c is not None and told.cool_c is not None
            now = Target(told.heat_c or 0.0, told.cool_c or 0.0) if known else None
            by_profile = told.source == "profile"
            corners.append(_Corner(at_s, now, by_profile and in_ramp))
    return corners


def _runs(runs: Iterable[OutputRun], wanted: Wanted) -> Plain:
    """The runs of each output, cut to the span; one that is not over has no end."""
    found: Plain = {}
    for run in runs:
        end_s = run.end_wall_utc_s
        if end_s is not None and end_s < wanted.from_utc_s:
            continue
        spans = found.setdefault(run.output, {"duty": run.duty, "spans": []})["spans"]
        from_s = max(run.start_wall_utc_s, wanted.from_utc_s)
        to_s = None if end_s is None or end_s > wanted.to_utc_s else round(end_s, 1)
        spans.append([round(from_s, 1), to_s])
    return found


def _marks(record: JournalReader, wanted: Wanted, step_rows: Sequence[EventRow]) -> list[Plain]:
    rows: list[EventRow] = list(step_rows)
    for table in (
        "profile_changes", "alarm_changes", "notes", "outages", "gaps", "clock_steps",
    ):  # fmt: skip
        rows += _rows(record, table, wanted)
    gone = {
        row.happening.takes_back_seq for row in rows if isinstance(row.happening, BrewerNote)
    } - {None}
    marks = []
    for row in sorted(rows, key=lambda one: one.seq):
        told = row.happening
        if isinstance(told, BrewerNote) and (row.seq in gone or told.takes_back_seq is not None):
            continue
        kind = _kind(told)
        if kind is None:
            continue
        mark: Plain = {
            "utc_s": round(row.moment.wall_utc_s, 1),
            "kind": kind,
            "seq": row.seq,
            "words": words(told, row.moment.mono_s, wanted.unit),
        }
        if isinstance(told, BrewerNote):
            mark |= {"note": told.kind, "value": told.value, "text": told.text, "who": told.who}
            if told.about_utc_s is not None:
                mark["utc_s"] = told.about_utc_s
        if isinstance(told, StepChanged):
            mark |= {"step": told.index + 1, "name": told.name, "step_kind": told.kind}
        if isinstance(told, AlarmChanged):
            mark |= {"alarm": told.alarm, "severity": told.severity.value}
        marks.append(mark)
    return sorted(marks, key=lambda mark: float(mark["utc_s"]))


def _kind(told: object) -> str | None:
    match told:
        case StepChanged(change=StepChange.ENTERED):
            return "step"
        case StepChanged():
            return "step-change" if told.change is not StepChange.ENDED else None
        case ProfileChanged():
            return "profile"
        case AlarmChanged(phase=AlarmPhase.RAISED):
            return "alarm-raised"
        case AlarmChanged(phase=AlarmPhase.CLEARED):
            return "alarm-cleared"
        case BrewerNote():
            return "note"
        case OutageSeen() | GapSeen():
            return "outage"
        case ClockStepped():
            return "clock-step"
    return None


def _rows(record: JournalReader, table: str, wanted: Wanted) -> list[EventRow]:
    return record.rows_of(
        table, wanted.from_utc_s, wanted.to_utc_s, chamber=wanted.chamber, most=MOST_MARKS
    )


def _told(rows: Iterable[EventRow], kind: type[T]) -> list[tuple[EventRow, T]]:
    return [(row, row.happening) for row in rows if isinstance(row.happening, kind)]
