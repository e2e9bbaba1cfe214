"""A probe that jumps away and back within minutes, which neither beer nor air can."""

from __future__ import annotations

from collections.abc import Iterator
from statistics import median

from fermd.control.wording import span
from fermd.review.causes.cause import Cause, Finding
from fermd.review.course import Course
from fermd.review.series import MINUTE_S, Series

LEAST_C = 1.0
"""A spike is so high at least, °C: a probe lags by minutes, so that what it sees comes slowly."""

TIMES_USUAL = 10.0
"""And so many times as high as its noise in the median."""

BACK = 0.3
"""After it the probe reads as before, within this share of its height."""

JOINED_S = 3600.0
LEAST_SPIKES = 2
"""One alone is an odd reading, and no trouble."""


def spike_findings(course: Course) -> Iterator[Finding]:
    """Every time in which a probe of the chamber's jumped away and back again and again."""
    for name in (course.roles.vessel, course.roles.air):
        series = course.probes.get(name or "")
        for spikes in _groups(series) if series is not None else ():
            highest_c = max((by_c for _, by_c in spikes), key=abs)
            yield Finding(
                Cause.PROBE_FAULT,
                spikes[0][0],
                spikes[-1][0],
                f"{name}: jumped by {highest_c:+.1f} °C and back, {len(spikes)} times",
                weight=1.5 if name == course.roles.vessel else 0.5,
            )
    if course.vessel is not None:
        for from_s, to_s, by_c in _visits(course.vessel):
            yield Finding(
                Cause.PROBE_MOVED,
                from_s,
                to_s,
                f"{course.roles.vessel} jumped by {by_c:+.1f} °C and back in {span(to_s - from_s)}",
                weight=1.5,
            )


VISIT_C = 2.0
LONGEST_VISIT = 5
"""A vessel's probe that jumps by so much, °C, and back within so many minutes was taken out: in
beer nothing moves it so."""


def _visits(series: Series) -> Iterator[tuple[float, float, float]]:
    """From, to and how far it jumped, of those that lasted for more than one reading."""
    at_s, read_c = series.at_s, series.mean_c
    place = 1
    while place < len(series) - 2 and series.step_s == MINUTE_S:
        by_c = read_c[place] - read_c[place - 1]
        back = next(
            (
                later
                for later in range(place + 2, min(len(series), place + LONGEST_VISIT + 1))
                if abs(read_c[later] - read_c[place - 1]) <= BACK * abs(by_c)
            ),
            None,
        )
        away = read_c[place:back] if back is not None else ()
        if (
            back is not None
            and abs(by_c) >= VISIT_C
            and all((one - read_c[place - 1]) * by_c >= BACK * by_c * by_c for one in away)
            and at_s[back] - at_s[place - 1] <= (LONGEST_VISIT + 1.5) * MINUTE_S
        ):
            yield at_s[place], at_s[back], by_c
            place = back
        place += 1


_Spike = tuple[float, float]
"""When, and by how much, °C."""


def _groups(series: Series) -> Iterator[list[_Spike]]:
    group: list[_Spike] = []
    for spike in _spikes(series):
        if group and spike[0] - group[-1][0] > JOINED_S:
            if len(group) >= LEAST_SPIKES:
                yield group
            group = []
        group.append(spike)
    if len(group) >= LEAST_SPIKES:
        yield group


def _spikes(series: Series) -> list[_Spike]:
    at_s, read_c = series.at_s, series.mean_c
    if series.step_s != MINUTE_S or len(series) < 3:
        return []
    off_c = [
        read_c[place] - (read_c[place - 1] + read_c[place + 1]) / 2.0
        for place in range(1, len(series) - 1)
    ]
    least_c = max(LEAST_C, TIMES_USUAL * median(abs(one) for one in off_c))
    return [
        (at_s[place], by_c)
        for place, by_c in enumerate(off_c, 1)
        if abs(by_c) >= least_c
        and abs(read_c[place + 1] - read_c[place - 1]) <= BACK * abs(by_c)
        and at_s[place + 1] - at_s[place - 1] <= 2.5 * MINUTE_S
    ]
