"""Readings and switchings of a chamber at even steps, as the equations of its motion need them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from fermd.review.course import Course, OnTime
from fermd.review.series import MINUTE_S, Series

STEP_S = 300.0
"""Length of the grid: as long as the slower probe's lag in still air."""

HALF_S = STEP_S / 2
"""Switchings are told by halves of a step: it matters when in a step a fridge has started."""

SLOW_S = 2700.0
"""Walls and plates forget within this, s (chamber model: liner 800 s, foam and contents longer)."""

COOL, HEAT, FAN = range(3)
DUTIES = ("cool", "heat", "fan")

Shares = tuple[list[float], list[float], list[float]]
"""For each duty, the share of each half of a step that it was on."""


@dataclass(slots=True)
class Grid:
    """Readings and switchings at even steps."""

    at_s: list[float]
    beer_c: list[float | None]
    air_c: list[float | None]
    shares: Shares
    walls_c: list[float]
    """The air, slowly followed: about where the walls are."""

    def __len__(self) -> int:
        """How many points there are."""
        return len(self.at_s)

    def is_lively(self, place: int, duties: Sequence[int] = (COOL, HEAT), steps: int = 4) -> bool:
        """Whether an output ran within so many steps before a point, or runs after it."""
        halves = slice(max(0, 2 * (place - steps)), 2 * place + 2)
        return any(any(self.shares[duty][halves]) for duty in duties)


def grid_of(course: Course) -> Grid | None:
    """Lay a course onto a grid; None where its readings are told by quarter hours only."""
    vessel, air = course.vessel, course.air
    if vessel is None or MINUTE_S not in (vessel.step_s, *([] if air is None else [air.step_s])):
        return None
    count = int(course.lasted_s / STEP_S) + 1
    at_s = [course.start_s + STEP_S * number for number in range(count)]
    halves_s = [course.start_s + HALF_S * number for number in range(2 * count)]
    cool, heat, fan = (
        [on.share(since_s, since_s + HALF_S) for since_s in halves_s]
        for on in (OnTime(course.runs_of(duty)) for duty in DUTIES)
    )
    air_c: list[float | None] = [None] * count if air is None else _sampled(air, at_s)
    return Grid(at_s, _sampled(vessel, at_s), air_c, (cool, heat, fan), _slow(air_c))


def _slow(values: Sequence[float | None]) -> list[float]:
    """Values behind a lag; where nothing is known it stands still."""
    found: list[float] = []
    now = next((value for value in values if value is not None), 0.0)
    for value in values:
        found.append(now)
        if value is not None:
            now += STEP_S / (STEP_S + SLOW_S) * (value - now)
    return found


COLDEST_C, WARMEST_C = -40.0, 60.0
"""No chamber is colder or warmer: what a probe reads beyond for a minute (85 °C as it starts, or
the end of its range) is no temperature. It may be in hot water for longer."""

APART_C = 10.0


def _is_alone(means: Sequence[float], place: int) -> bool:
    """Whether neither of the readings beside one is anywhere near it."""
    beside = (means[one] for one in (place - 1, place + 1) if 0 <= one < len(means))
    return all(abs(other - means[place]) > APART_C for other in beside)


def _sampled(series: Series, at_s: Sequence[float]) -> list[float | None]:
    """The mean of the two minutes round each moment."""
    found: list[float | None] = []
    means, times, place = series.mean_c, series.at_s, 0
    for when_s in at_s:
        while place < len(times) and times[place] < when_s - 61.0:
            place += 1
        near = place
        total = count = 0.0
        while near < len(times) and times[near] <= when_s + 61.0:
            if COLDEST_C <= means[near] <= WARMEST_C or not _is_alone(means, near):
                total += means[near]
                count += 1.0
            near += 1
        found.append(total / count if count else None)
    return found
