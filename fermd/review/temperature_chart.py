"""The picture of a batch: temperatures with what ran below them, and what happened."""

from __future__ import annotations

from collections.abc import Sequence

from fermd.control.wording import Unit
from fermd.review import saying
from fermd.review.chart_columns import (
    LEFT,
    NARROW,
    RIGHT,
    WIDE,
    Column,
    broken,
    columns_of,
    parts,
    shown,
)
from fermd.review.course import Course
from fermd.review.reviewing import Review
from fermd.review.svg import Drawing, Scale, scale, ticks, ticks_label, time_ticks
from fermd.review.target_track import inside

_TOP = 44


def temperatures(review: Review, unit: Unit = Unit.CELSIUS, width: int = WIDE) -> Drawing:
    """Beer, air and target, what ran below them, and what happened."""
    course = review.course
    duties = [duty for duty in ("cool", "heat", "fan") if course.runs_of(duty)]
    body = 300 if width > NARROW else 240
    bottom = _TOP + body
    height = bottom + 16 * len(duties) + 44
    drawing = Drawing(width, height, f"{review.title}: temperatures", saying.head(review))
    x = scale(course.start_s, course.end_s, LEFT, width - RIGHT)
    pixels = width - LEFT - RIGHT
    beer = columns_of(review.beer, course, pixels)
    air = columns_of(course.air, course, pixels)
    lowest_c, highest_c = _range_c(course, beer, air)
    low, high = shown(lowest_c, unit), shown(highest_c, unit)
    room = 0.04 * max(1.0, high - low)
    y = scale(low - room, high + room, bottom, _TOP)
    _frame(drawing, review, x, (y, low - room, high + room), (bottom, height), unit)
    for one in review.disturbances:
        from_s, to_s = max(one.start_s, course.start_s), min(one.end_s, course.end_s)
        drawing.box(
            x(from_s),
            _TOP,
            max(1.5, x(to_s) - x(from_s)),
            body,
            "alertband",
            f"{saying.since(review, one.start_s)}: {one.words}",
        )
    gap_s = max(1800.0, 3.0 * course.lasted_s / max(1, pixels))
    for part in parts(air, gap_s):
        drawing.area(
            [(x(one.at_s), y(shown(min(one.high_c, highest_c), unit))) for one in part],
            [(x(one.at_s), y(shown(max(one.low_c, lowest_c), unit))) for one in part],
            "air",
        )
    _target(drawing, course, x, lambda temp_c: y(shown(temp_c, unit)))
    drawing.path(
        broken([(one.at_s, x(one.at_s), y(shown(one.mean_c, unit))) for one in beer], gap_s),
        "beer",
    )
    _strips(drawing, course, duties, x, bottom)
    drawing.key = meanings(review)
    for note in review.notes:
        if course.start_s <= note.at_s <= course.end_s:
            drawing.mark(x(note.at_s), bottom, "note", f"note: {note.words}")
    for one in review.disturbances:
        drawing.mark(
            x(max(one.start_s, course.start_s)),
            _TOP + 10,
            "alert",
            f"{saying.since(review, one.start_s)}: {one.words}",
        )
    return drawing


def meanings(review: Review) -> list[tuple[str, str]]:
    """What the colours and marks of the picture mean: their classes, and words."""
    found = [("beer", "beer"), ("air", "air, lowest to highest"), ("target", "target")]
    found += [
        (duty, saying.DUTIES[duty])
        for duty in ("cool", "heat", "fan")
        if review.course.runs_of(duty)
    ]
    if review.disturbances:
        found.append(("alert", "disturbance"))
    if review.notes:
        found.append(("note", "note"))
    return found


AIR_BEYOND_C = 15.0
"""The axis goes so far beyond the beer and its target for the air, °C, and no further: one reading
of a broken probe would press all else into a line."""


def _range_c(course: Course, beer: Sequence[Column], air: Sequence[Column]) -> tuple[float, float]:
    """The lowest and the highest temperature that the picture has room for, °C."""
    values = [each for one in beer for each in (one.low_c, one.high_c)]
    values += [
        each
        for corner in inside(course.target, course.start_s, course.end_s)
        for each in (corner.heat_c, corner.cool_c)
        if each is not None
    ]
    if not values:
        values = [one.mean_c for one in air] or [0.0, 20.0]
    low_c, high_c = min(values), max(values)
    low_of_air_c = min((one.low_c for one in air), default=low_c)
    high_of_air_c = max((one.high_c for one in air), default=high_c)
    return (
        min(low_c, max(low_of_air_c, low_c - AIR_BEYOND_C)),
        max(high_c, min(high_of_air_c, high_c + AIR_BEYOND_C)),
    )


def _frame(
    drawing: Drawing,
    review: Review,
    x: Scale,
    vertical: tuple[Scale, float, float],
    edges: tuple[float, float],
    unit: Unit,
) -> None:
    course = review.course
    y, low, high = vertical
    bottom, height = edges
    for value in ticks(low, high, 7):
        drawing.line(LEFT, y(value), drawing.width - RIGHT, y(value), "grid")
        drawing.text(LEFT - 6, y(value) + 4, ticks_label(value), "end")
    drawing.text(4, _TOP - 8, unit.value)
    most = 10 if drawing.width > NARROW else 5
    for at_s, words in time_ticks(course.start_s, course.end_s, review.wishes.zone, most):
        drawing.line(x(at_s), _TOP, x(at_s), height - 28, "grid")
        drawing.text(x(at_s), height - 12, words, "middle")
    steps = review.steps
    reached = [-1e9, -1e9]
    for step in steps:
        if step.start_s < course.start_s:
            continue
        at = x(step.start_s)
        drawing.line(at, _TOP - 4, at, bottom, "edge")
        for row in range(2):
            # A name that would run into the one before it goes into the second row, or is left out;
            # the last ones end where the picture does.
            wide = 6.4 * len(step.name)
            left = min(at + 3, drawing.width - 4 - wide)
            if left >= reached[row]:
                drawing.text(left, _TOP - 22 + 14 * row, step.name, kind="strong")
                reached[row] = left + wide + 5
                break


def _target(drawing: Drawing, course: Course, x: Scale, y: Scale) -> None:
    points = [(course.start_s, course.target_at(course.start_s))]
    for corner in inside(course.target, course.start_s, course.end_s):
        points += [
            (corner.at_s, course.target_at(corner.at_s - 0.5)),
            (corner.at_s, course.target_at(corner.at_s)),
        ]
    points.append((course.end_s, course.target_at(course.end_s - 0.5)))
    for side in (0, 1):
        drawing.path(
            (None if target is None else (x(at_s), y(target[side])) for at_s, target in points),
            "target",
        )


def _strips(
    drawing: Drawing, course: Course, duties: Sequence[str], x: Scale, bottom: float
) -> None:
    for row, duty in enumerate(duties):
        top = bottom + 6 + 16 * row
        spans = [
            (x(max(run.start_s, course.start_s)), x(min(run.end_s, course.end_s)))
            for run in course.runs_of(duty)
            if run.end_s is not None
        ]
        drawing.bars(spans, top, 10, duty)
        drawing.text(LEFT - 6, top + 9, {"cool": "cool", "heat": "heat", "fan": "fan"}[duty], "end")
