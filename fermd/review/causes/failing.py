"""A probe whose readings fail again and again, with good ones between: a loose contact.

The daemon distrusts a probe after some failures in a row. A loose contact may never have so many,
and what it reads between them is not to be believed either: a jump of such a probe is no move.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

from fermd.control.wording import span
from fermd.review.causes.cause import Cause, Finding
from fermd.review.course import Course
from fermd.review.probe_figures import probe_faults
from fermd.review.series import MINUTE_S, Series

JOINED_S = 900.0
"""Failures no further apart than this belong together, s."""

LEAST_BAD = 4
"""So many readings must fail among good ones ..."""

LEAST_IN_A_ROW = 3
"""... or so many in a row: for so long the daemon was blind."""

LEAST_SHARE = 0.2
"""Of the readings from the first failure to the last so many fail, at least: a probe that fails
seldom is read again, and harms nothing."""

TIMES_USUAL = 4.0
"""And so many times as large a share as over the rest of the span: some buses always fail."""


def failing_findings(course: Course) -> Iterator[Finding]:
    """Every time in which a probe of the chamber's failed among good readings."""
    for name in (course.roles.vessel, course.roles.air):
        series = course.probes.get(name or "")
        if series is None or name is None or series.step_s != MINUTE_S:
            continue
        told = [(one.start_s, one.end_s) for one in probe_faults(course, name)]
        for first_s, last_s, bad, share in _spells(series):
            if any(from_s <= first_s + JOINED_S and to_s >= last_s for from_s, to_s in told):
                continue
            yield Finding(
                Cause.PROBE_FAULT,
                first_s,
                last_s,
                f"{name}: {bad} readings failed in {span(last_s - first_s)}, {share:.0%} of them",
                weight=2.5 if name == course.roles.vessel else 1.5,
            )


_Spell = tuple[float, float, int, float]
"""From, to, how many failed, and their share."""


def _spells(series: Series) -> Iterator[_Spell]:
    bad = sorted(series.bad.items())
    ends = [0, *(place for place, (one, two) in enumerate(pairwise(bad), 1) if _apart(one, two))]
    every_good, every_bad = sum(series.good), sum(series.bad.values())
    for first, stop in pairwise([*ends, len(bad)]):
        if stop <= first:
            continue
        first_s, last_s = bad[first][0], bad[stop - 1][0]
        failed = sum(count for _, count in bad[first:stop])
        places = series.places(first_s, last_s)
        good = sum(series.good[places.start : places.stop])
        share = failed / (failed + good)
        others = every_good + every_bad - failed - good
        # What goes on for most of a span is this probe's way, and stands in its figures.
        usual = (every_bad - failed) / others if others > failed + good else share
        is_one_row = good < 1.0 and failed >= LEAST_IN_A_ROW
        is_loose = good >= 1.0 and failed >= LEAST_BAD
        if (is_one_row or is_loose) and share >= max(LEAST_SHARE, TIMES_USUAL * usual):
            yield first_s, last_s, failed, share


def _apart(one: tuple[float, int], two: tuple[float, int]) -> bool:
    return two[0] - one[0] > JOINED_S
