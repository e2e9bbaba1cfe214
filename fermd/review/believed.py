"""What of the vessel probe's readings is the beer.

While the probe was not to be trusted, lay somewhere else or was mixed up with another, nobody knows
how warm the beer was; what the probe read then has no place among its extremes, nor in its picture.
"""

from __future__ import annotations

from array import array
from collections.abc import Iterable, Sequence
from dataclasses import replace
from itertools import compress, pairwise

from fermd.review.causes.cause import Cause, Disturbance
from fermd.review.causes.grid import STEP_S
from fermd.review.course import Course
from fermd.review.probe_figures import probe_faults
from fermd.review.series import Series

OF_THE_VESSEL = (Cause.PROBE_MOVED, Cause.PROBES_SWAPPED)
"""Disturbances in which the vessel's probe read something else than its beer, if they name it. They
are told to a step of the grid (5 min)."""

LONGEST_ELSEWHERE_S = 2 * 86400.0
"""Between a move and the one that takes it back there is no more than this, s: later, the beer
itself may have come to where it was."""

Span = tuple[float, float]


def believed(course: Course, disturbances: Iterable[Disturbance]) -> Course:
    """The same course with those of the vessel's readings that are its beer's."""
    vessel = course.vessel
    if vessel is None:
        return course
    spans = [(one.start_s, one.end_s) for one in probe_faults(course, course.roles.vessel)]
    moved = [
        (one.start_s - STEP_S, one.end_s + STEP_S)
        for one in disturbances
        if one.cause in OF_THE_VESSEL and course.roles.vessel in one.words
    ]
    spans += moved
    spans += [
        (out[0], back[1]) for out, back in pairwise(moved) if _was_elsewhere(vessel, out, back)
    ]
    if not spans:
        return course
    return replace(course, probes={**course.probes, course.roles.vessel: without(vessel, spans)})


def _was_elsewhere(vessel: Series, out: Span, back: Span) -> bool:
    """Whether a probe that was moved twice came back with the second move."""
    if back[0] - out[1] > LONGEST_ELSEWHERE_S:
        return False
    before_c, after_c = vessel.at(out[0], STEP_S), vessel.at(back[1], STEP_S)
    between_c = vessel.mean(out[1], back[0])
    if before_c is None or after_c is None or between_c is None:
        return False
    return abs(after_c - before_c) < 0.5 * abs(between_c - before_c)


def without(series: Series, spans: Sequence[Span]) -> Series:
    """A series without the buckets that lie in a span at least in part."""
    kept = bytearray(b"\x01" * len(series))
    for from_s, to_s in spans:
        places = series.places(from_s - series.step_s / 2, to_s + series.step_s / 2)
        kept[places.start : places.stop] = bytes(len(places))

    def left(column: array[float]) -> array[float]:
        return array("d", compress(column, kept))

    return Series(
        step_s=series.step_s,
        at_s=left(series.at_s),
        low_c=left(series.low_c),
        mean_c=left(series.mean_c),
        high_c=left(series.high_c),
        good=left(series.good),
        bad=series.bad,
    )
