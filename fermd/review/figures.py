"""The figures of a batch: how long, how near to the target, what the outputs did."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from fermd.review.output_figures import most_in_an_hour
from fermd.review.record import Bucket, Record, runs_of

IN_BAND_C = 0.5
"""Nearer to the target than this counts as held, °C: the trade's usual tolerance for lager
(common practice, no source)."""


@dataclass(frozen=True, slots=True)
class DutyFigures:
    """What the output of one duty did over a whole record; day by day, see output_figures.py."""

    output: str
    duty: str
    starts: int
    on_h: float
    duty_cycle: float
    """Share of the whole span that it was on, 0 to 1."""
    shortest_off_s: float | None
    """Between two runs; None with fewer than two."""
    shortest_run_s: float | None
    """Of the runs that are over and whose end is known."""
    most_starts_in_an_hour: int


@dataclass(frozen=True, slots=True)
class Figures:
    """One chamber over a span."""

    chamber: str
    lasted_s: float
    coldest_c: float | None
    """None: nothing is known of the beer."""
    warmest_c: float | None
    held_share: float | None
    """Share of the time with a target that the beer was within `IN_BAND_C` of it."""
    outputs: tuple[DutyFigures, ...]
    steps: int
    alarms: int
    notes: int


def figures(record: Record, vessel_probe: str) -> Figures:
    """Sum up a record."""
    vessel = record.probes.get(vessel_probe, ())
    duties = sorted({run.duty for run in record.runs})
    return Figures(
        chamber=record.chamber,
        lasted_s=record.end_s - record.start_s,
        coldest_c=min((bucket.minimum_c for bucket in vessel), default=None),
        warmest_c=max((bucket.maximum_c for bucket in vessel), default=None),
        held_share=_held_share(record, vessel),
        outputs=tuple(_of_output(record, duty) for duty in duties),
        steps=_count(record, "step"),
        alarms=_count(record, "alarm"),
        notes=_count(record, "note"),
    )


def _held_share(record: Record, vessel: Sequence[Bucket]) -> float | None:
    held = counted = 0
    for bucket in vessel:
        target = record.target_at(bucket.at_s)
        if target is None:
            continue
        counted += 1
        held += target[0] - IN_BAND_C <= bucket.mean_c <= target[1] + IN_BAND_C
    return held / counted if counted else None


def _of_output(record: Record, duty: str) -> DutyFigures:
    runs = runs_of(record, duty)
    lengths_s = [run.end_s - run.start_s for run in runs if run.end_s is not None]
    whole_s = [run.end_s - run.start_s for run in runs if run.end_s is not None and run.is_over]
    pauses_s = [
        after.start_s - before.end_s
        for before, after in pairwise(runs)
        if before.end_s is not None and before.is_over
    ]
    on_s = sum(lengths_s)
    return DutyFigures(
        output=runs[0].output,
        duty=duty,
        starts=len(runs),
        on_h=on_s / 3600.0,
        duty_cycle=on_s / max(1.0, record.end_s - record.start_s),
        shortest_off_s=min(pauses_s, default=None),
        shortest_run_s=min(whole_s, default=None),
        most_starts_in_an_hour=most_in_an_hour([run.start_s for run in runs]),
    )


def _count(record: Record, kind: str) -> int:
    return sum(mark.kind == kind for mark in record.marks)
