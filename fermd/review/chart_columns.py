"""What the pictures of a review share: their widths, and readings as columns of pixels."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from fermd.control.wording import Unit
from fermd.review.course import Course
from fermd.review.series import Series

WIDE, NARROW = 960, 400
"""Widths for a desk and for a phone, CSS pixels: the words keep their size on both."""

LEFT, RIGHT = 44, 12
"""Margins, CSS pixels."""


@dataclass(frozen=True, slots=True)
class Column:
    """What a probe read within one column of pixels."""

    at_s: float
    low_c: float
    mean_c: float
    high_c: float


def columns(series: Series, start_s: float, end_s: float, count: int) -> list[Column]:
    """Take readings together to about as many as there are pixels; a spike stays in them."""
    width_s = max(1.0, (end_s - start_s) / max(1, count))
    found: list[Column] = []
    place, stop = series.places(start_s, end_s).start, series.places(start_s, end_s).stop
    while place < stop:
        number = int((series.at_s[place] - start_s) / width_s)
        last = place
        while last < stop and int((series.at_s[last] - start_s) / width_s) == number:
            last += 1
        found.append(
            Column(
                sum(series.at_s[place:last]) / (last - place),
                min(series.low_c[place:last]),
                sum(series.mean_c[place:last]) / (last - place),
                max(series.high_c[place:last]),
            )
        )
        place = last
    return found


def shown(temp_c: float, unit: Unit) -> float:
    """A temperature on the reader's scale."""
    return temp_c if unit is Unit.CELSIUS else temp_c * 9 / 5 + 32


def broken(
    points: Sequence[tuple[float, float, float]], gap_s: float
) -> list[tuple[float, float] | None]:
    """Points, given as (moment, x, y), as a line that is broken where nothing is known."""
    found: list[tuple[float, float] | None] = []
    before_s = None
    for at_s, x, y in points:
        if before_s is not None and at_s - before_s > gap_s:
            found.append(None)
        found.append((x, y))
        before_s = at_s
    return found


def columns_of(series: Series | None, course: Course, pixels: int) -> list[Column]:
    """The columns of a whole course; none without readings."""
    if series is None:
        return []
    return columns(series, course.start_s, course.end_s, pixels)


def parts(found: Sequence[Column], gap_s: float) -> list[list[Column]]:
    """Columns as parts between which nothing is known for longer than a gap."""
    each: list[list[Column]] = []
    for one in found:
        if not each or one.at_s - each[-1][-1].at_s > gap_s:
            each.append([])
        each[-1].append(one)
    return each
