"""When the beer left its band, how far it went, and why.

An excursion begins when beer that had been in its band for the present target leaves it, and ends
when it is back. Beer on its way to a new target is none.
"""

from __future__ import annotations

from collections.abc import Sequence, Set
from dataclasses import dataclass
from itertools import pairwise

from fermd.review.causes.cause import WORDS, Cause, Disturbance
from fermd.review.course import Course, OnTime
from fermd.review.holding import off_target_c
from fermd.review.series import Series

SHORTEST_S = 600.0
"""Shorter ones are the probe's, not the beer's, s."""

BRIDGED_S = 900.0
"""Back in the band for less than this is not back, s."""

LOOK_BACK_S = 6 * 3600.0
"""What ended longer before an excursion than this did not cause it, s: the beer follows the air
within hours."""

CAPACITY_SHARE = 0.85
"""An output that was on for so much of an excursion had no more to give."""

LEARNING_RUNS = 3
"""Before so many runs of an output a chamber is still being learned."""


@dataclass(frozen=True, slots=True)
class Excursion:
    """The beer out of its band."""

    start_s: float
    end_s: float
    worst_at_s: float
    worst_off_c: float
    """Above its target (or, negative, below it), °C."""
    degree_hours: float
    """The area outside the band, °C h."""
    cause: Cause
    words: str
    """The cause and what shows it."""
    of_the_probe: bool = False
    """Whether the probe read all of it of something else than its beer: `worst_off_c` is what it
    read, and no degree-hours are counted."""

    @property
    def lasted_s(self) -> float:
        """How long it lasted, s."""
        return self.end_s - self.start_s


def excursions(
    course: Course,
    band_c: float,
    known: Sequence[Disturbance],
    peak_s: float | None = None,
    beer: Series | None = None,
) -> tuple[Excursion, ...]:
    """Find every excursion, in the order of time, each with its cause.

    `peak_s` is when the fermentation made most heat, if that is known; `beer` has those of the
    vessel's readings that are its beer's, all of them unless it is given.
    """
    believed = None if beer is None else frozenset(beer.at_s)
    return tuple(
        _told(course, band_c, points, known, peak_s, believed)
        for points in _outside(course, band_c)
    )


_Points = list[tuple[float, float]]


def _outside(course: Course, band_c: float) -> list[_Points]:
    vessel = course.vessel
    if vessel is None:
        return []
    found: list[_Points] = []
    wanted = _Wanted(course)
    arrived, last_in_s = False, float("-inf")
    current: _Points = []
    for place, at_s in enumerate(vessel.at_s):
        off_c = off_target_c(course, at_s, vessel.mean_c[place])
        if off_c is None or wanted.is_new(at_s):
            arrived = False
            _close(found, current)
            current = []
        if off_c is None:
            continue
        if abs(off_c) <= band_c:
            arrived, last_in_s = True, at_s
        elif arrived:
            if (
                current
                and last_in_s > current[-1][0]
                and (at_s - current[-1][0] > BRIDGED_S or (off_c > 0) != (current[-1][1] > 0))
            ):
                _close(found, current)
                current = []
            current.append((at_s, off_c))
    _close(found, current)
    return found


def _close(found: list[_Points], current: _Points) -> None:
    if current and current[-1][0] - current[0][0] >= SHORTEST_S:
        found.append(current)


class _Wanted:
    """Notices a target that has jumped (and not moved along a ramp)."""

    JUMP_C = 0.3

    def __init__(self, course: Course) -> None:
        self._course = course
        self._before: tuple[float, tuple[float, float] | None] | None = None

    def is_new(self, at_s: float) -> bool:
        """Whether the target has jumped since the last question."""
        target = self._course.target_at(at_s)
        before, self._before = self._before, (at_s, target)
        if before is None or before[1] is None or target is None:
            return target is not None and (before is None or before[1] is None)
        # A ramp of 10 °C an hour is the steepest that beer could follow.
        free_c = self.JUMP_C + 10.0 * (at_s - before[0]) / 3600.0
        return max(abs(target[0] - before[1][0]), abs(target[1] - before[1][1])) > free_c


def _told(
    course: Course,
    band_c: float,
    points: _Points,
    known: Sequence[Disturbance],
    peak_s: float | None,
    believed: Set[float] | None,
) -> Excursion:
    start_s, end_s = points[0][0], points[-1][0]
    of_beer = [one for one in points if believed is None or one[0] in believed]
    worst_at_s, worst_off_c = max(of_beer or points, key=lambda point: abs(point[1]))
    step_h = (course.vessel.step_s if course.vessel else 60) / 3600.0
    cause, words = _why(course, start_s, end_s, worst_off_c, known, peak_s)
    return Excursion(
        start_s,
        end_s,
        worst_at_s,
        worst_off_c,
        sum(abs(off_c) - band_c for _, off_c in of_beer) * step_h,
        cause,
        words,
        not of_beer,
    )


def _why(
    course: Course,
    start_s: float,
    end_s: float,
    off_c: float,
    known: Sequence[Disturbance],
    peak_s: float | None,
) -> tuple[Cause, str]:
    warm = off_c > 0
    fitting = [
        one
        for one in known
        if one.start_s <= start_s + 0.5 * (end_s - start_s)
        and one.end_s >= start_s - LOOK_BACK_S
        and one.cause not in _NEVER[warm]
    ]
    if fitting:
        # The one that ended last before it, or goes on into it, is the nearest.
        nearest = max(fitting, key=lambda one: (min(one.end_s, start_s), one.start_s))
        return nearest.cause, nearest.words
    cause, detail = _by_limits(course, start_s, end_s, warm, peak_s)
    return cause, f"{WORDS[cause]}{': ' if detail else ''}{detail}"


_NEVER = {
    # What cannot have made the beer too warm, or (False) too cold.
    True: {
        Cause.COOLING_STUCK_ON,
        Cause.HEATING_FAILED,
        Cause.HEATING_WEAK,
        Cause.FREEZING_MARGIN,
        Cause.CLOCK_STEP,
    },
    False: {
        Cause.HEATING_STUCK_ON,
        Cause.COOLING_FAILED,
        Cause.COOLING_WEAK,
        Cause.CLOCK_STEP,
    },
}


def _by_limits(
    course: Course, start_s: float, end_s: float, warm: bool, peak_s: float | None
) -> tuple[Cause, str]:
    """What an excursion comes of that nothing disturbed."""
    duty = "cool" if warm else "heat"
    runs = course.runs_of(duty)
    if not runs:
        return (Cause.NO_COOLING if warm else Cause.NO_HEATING), "it never ran in this span"
    on = OnTime(runs).share(start_s, end_s)
    if on >= CAPACITY_SHARE:
        detail = f"it ran {on:.0%} of the time"
        if not warm:
            return Cause.ROOM_TOO_COLD, detail
        if peak_s is not None and abs(0.5 * (start_s + end_s) - peak_s) < 2 * 86400.0:
            return Cause.FERMENTATION_PEAK, detail
        return Cause.ROOM_TOO_WARM, detail
    before = [run for run in runs if run.start_s <= start_s]
    if _waited(course, duty, start_s, end_s):
        return Cause.LOCKOUT, "it started as soon as it might"
    if len(before) < LEARNING_RUNS:
        return Cause.LEARNING, f"after {len(before)} runs"
    return Cause.UNKNOWN, f"{duty} was on {on:.0%} of the time"


def _waited(course: Course, duty: str, start_s: float, end_s: float) -> bool:
    """Whether a start within it came after the shortest pause that this output ever had."""
    runs = course.runs_of(duty)
    pauses = [
        (later.start_s - before.end_s, later.start_s)
        for before, later in pairwise(runs)
        if before.end_s is not None
    ]
    if len(pauses) < LEARNING_RUNS:
        return False
    shortest_s = min(pause_s for pause_s, _ in pauses)
    return any(
        pause_s <= 1.1 * shortest_s + 60.0 and start_s - 600.0 <= at_s <= end_s
        for pause_s, at_s in pauses
    )
