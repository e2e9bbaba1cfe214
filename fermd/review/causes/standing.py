"""A probe that reads the very same for long: frozen, whether or not the daemon has told it so.

How long a live probe reads the same depends on its noise and on how calm its place is, so that each
is held against itself: one or a few spells that are far longer than all its others.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

from fermd.control.wording import span
from fermd.review.absences import absences
from fermd.review.causes.cause import Cause, Finding
from fermd.review.course import Course
from fermd.review.series import Series

LEAST_S = 3600.0
"""A shorter spell is not looked at, s."""

TIMES_LONGER = 4.0
"""It must be so many times as long as the longest usual one."""

MOST_SPELLS = 3
"""More of them than these are this probe's way."""

SAME_C = 1e-6

SLACK_S = 300.0
"""When nobody was in charge is known to this, s."""


def standing_findings(course: Course) -> Iterator[Finding]:
    """Every spell in which a probe of the chamber's stood still."""
    away = [(one.start_s - SLACK_S, one.end_s + SLACK_S) for one in absences(course)]
    for name in (course.roles.vessel, course.roles.air):
        series = course.probes.get(name or "")
        for start_s, end_s, at_c in _frozen(series) if series is not None else ():
            if any(from_s <= start_s and end_s <= to_s for from_s, to_s in away):
                # A loop that hangs reads nothing, whatever is written down for that time.
                continue
            yield Finding(
                Cause.PROBE_FAULT,
                start_s,
                end_s,
                f"{name}: read {at_c:.2f} °C and nothing else, for {span(end_s - start_s)}",
                weight=1.5 if name == course.roles.vessel else 0.5,
            )


_Spell = tuple[float, float, float]
"""From, to and what was read."""


def _frozen(series: Series) -> list[_Spell]:
    spells = sorted(_spells(series), key=lambda spell: spell[0] - spell[1])
    for count, (longer, next_one) in enumerate(pairwise(spells[: MOST_SPELLS + 1]), 1):
        usual_s = max(series.step_s, next_one[1] - next_one[0])
        lasts_s = longer[1] - longer[0]
        if lasts_s >= LEAST_S and lasts_s >= TIMES_LONGER * usual_s:
            return spells[:count]
    return []


def _spells(series: Series) -> Iterator[_Spell]:
    """The spells of one and the same reading."""
    first: int | None = None
    for place in range(len(series)):
        is_same = (
            first is not None
            and max(series.high_c[place], series.high_c[first])
            - min(series.low_c[place], series.low_c[first])
            <= SAME_C
            and series.at_s[place] - series.at_s[place - 1] <= LEAST_S
        )
        if not is_same:
            if first is not None:
                yield series.at_s[first], series.at_s[place - 1], series.mean_c[first]
            first = place
    if first is not None:
        yield series.at_s[first], series.at_s[len(series) - 1], series.mean_c[first]
