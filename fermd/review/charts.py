"""The pictures of a review: temperatures with what ran, duty by day, heat, and batches compared."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from fermd.control.wording import Unit
from fermd.review import saying
from fermd.review.course import Course
from fermd.review.reviewing import Review
from fermd.review.series import Series
from fermd.review.svg import Drawing, Scale, scale, ticks, ticks_label, time_ticks
from fermd.review.target_track import inside

WIDE, NARROW = 960, 400
"""Widths for a desk and for a phone, CSS pixels: the words keep their size on both."""

_LEFT, _RIGHT, _TOP = 44, 12, 44


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


def _broken(
    points: Sequence[tuple[float, float, float]], gap_s: float
) -> list[tuple[float, float] | None]:
    """Points as (moment, x, y) as a line that is broken where nothing is known."""
    found: list[tuple[float, float] | None] = []
    before_s = None
    for at_s, x, y in points:
        if before_s is not None and at_s - before_s > gap_s:
            found.append(None)
        found.append((x, y))
        before_s = at_s
    return found


def temperatures(review: Review, unit: Unit = Unit.CELSIUS, width: int = WIDE) -> Drawing:
    """Beer, air and target, what ran below them, and what happened."""
    course = review.course
    duties = [duty for duty in ("cool", "heat", "fan") if course.runs_of(duty)]
    body = 300 if width > NARROW else 240
    bottom = _TOP + body
    height = bottom + 16 * len(duties) + 44
    drawing = Drawing(width, height, f"{review.title}: temperatures", saying.head(review))
    x = scale(course.start_s, course.end_s, _LEFT, width - _RIGHT)
    pixels = width - _LEFT - _RIGHT
    beer = _columns(review.beer, course, pixels)
    air = _columns(course.air, course, pixels)
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
    for part in _parts(air, gap_s):
        drawing.area(
            [(x(one.at_s), y(shown(min(one.high_c, highest_c), unit))) for one in part],
            [(x(one.at_s), y(shown(max(one.low_c, lowest_c), unit))) for one in part],
            "air",
        )
    _target(drawing, course, x, lambda temp_c: y(shown(temp_c, unit)))
    drawing.path(
        _broken([(one.at_s, x(one.at_s), y(shown(one.mean_c, unit))) for one in beer], gap_s),
        "beer",
    )
    _strips(drawing, course, duties, x, bottom)
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


def _columns(series: Series | None, course: Course, pixels: int) -> list[Column]:
    if series is None:
        return []
    return columns(series, course.start_s, course.end_s, pixels)


def _parts(found: Sequence[Column], gap_s: float) -> list[list[Column]]:
    parts: list[list[Column]] = []
    for one in found:
        if not parts or one.at_s - parts[-1][-1].at_s > gap_s:
            parts.append([])
        parts[-1].append(one)
    return parts


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
        drawing.line(_LEFT, y(value), drawing.width - _RIGHT, y(value), "grid")
        drawing.text(_LEFT - 6, y(value) + 4, ticks_label(value), "end")
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
            # A name that would run into the one before it goes into the second row, or is left out.
            wide = 6.4 * len(step.name)
            if at >= reached[row] and at + wide < drawing.width - 2:
                drawing.text(at + 3, _TOP - 22 + 14 * row, step.name, kind="strong")
                reached[row] = at + wide + 8
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
        drawing.text(
            _LEFT - 6, top + 9, {"cool": "cool", "heat": "heat", "fan": "fan"}[duty], "end"
        )


def duty_by_day(review: Review, width: int = WIDE) -> Drawing | None:
    """How much of each day cooling and heating were on."""
    outputs = [one for one in review.outputs if one.duty in ("cool", "heat") and one.days]
    if not outputs:
        return None
    days = outputs[0].days
    height = 190
    bottom, top = height - 28, 22
    drawing = Drawing(width, height, "Duty cycle by day")
    most = max(day.duty_cycle for one in outputs for day in one.days) or 0.1
    high = min(1.0, 1.1 * most)
    y = scale(0.0, 100.0 * high, bottom, top)
    for value in ticks(0.0, 100.0 * high, 4):
        drawing.line(_LEFT, y(value), width - _RIGHT, y(value), "grid")
        drawing.text(_LEFT - 6, y(value) + 4, f"{value:g}", "end")
    drawing.text(4, 12, "% of the day")
    wide = (width - _LEFT - _RIGHT) / len(days)
    bar = max(1.0, 0.8 * wide / len(outputs))
    every = max(1, round(len(days) / (12 if width > NARROW else 5)))
    for place, day in enumerate(days):
        left = _LEFT + wide * place + 0.1 * wide
        for number, one in enumerate(outputs):
            part = one.days[place]
            drawing.box(
                left + bar * number,
                y(100.0 * part.duty_cycle),
                bar,
                bottom - y(100.0 * part.duty_cycle),
                one.duty,
                f"{part.day}: {one.output} {100.0 * part.duty_cycle:.0f} %, {part.starts} starts",
            )
        if place % every == 0:
            drawing.text(left + 0.4 * wide, height - 10, _day_words(day.day), "middle")
    drawing.line(_LEFT, bottom, width - _RIGHT, bottom, "edge")
    return drawing


def _day_words(day: str) -> str:
    return f"{date.fromisoformat(day):%d %b}".lstrip("0")


def heat(review: Review, width: int = WIDE) -> Drawing | None:
    """The heat of fermentation over time."""
    points = review.heat.points
    if review.heat.why or not points:
        return None
    course = review.course
    in_watts = points[0].heat_w is not None
    height = 190
    bottom, top = height - 28, 22
    drawing = Drawing(width, height, "Heat of fermentation")
    values = [(one.heat_w or 0.0) if in_watts else 24.0 * one.warmth_c_per_h for one in points]
    x = scale(course.start_s, course.end_s, _LEFT, width - _RIGHT)
    y = scale(0.0, 1.15 * max(values), bottom, top)
    for value in ticks(0.0, 1.15 * max(values), 4):
        drawing.line(_LEFT, y(value), width - _RIGHT, y(value), "grid")
        drawing.text(_LEFT - 6, y(value) + 4, f"{value:g}", "end")
    drawing.text(4, 12, "W" if in_watts else "°C a day, if nothing cooled it")
    most = 10 if width > NARROW else 5
    for at_s, words in time_ticks(course.start_s, course.end_s, review.wishes.zone, most):
        drawing.line(x(at_s), top, x(at_s), bottom, "grid")
        drawing.text(x(at_s), height - 10, words, "middle")
    line = [(x(one.at_s), y(value)) for one, value in zip(points, values, strict=True)]
    drawing.area(line, [(at, bottom) for at, _ in line], "warmfill")
    drawing.path(line, "warm")
    drawing.line(_LEFT, bottom, width - _RIGHT, bottom, "edge")
    return drawing


MOST_TOGETHER = 5
"""More lines than these could not be told apart."""


def together(reviews: Sequence[Review], unit: Unit = Unit.CELSIUS, width: int = WIDE) -> Drawing:
    """The beers of several batches, laid over each other on the time since pitching."""
    height = 360 if width > NARROW else 300
    bottom, top = height - 40, 26
    drawing = Drawing(width, height, "Batches on the time since pitching")
    lasted_s = max(one.course.lasted_s for one in reviews)
    pixels = width - _LEFT - _RIGHT
    tracks = []
    for one in reviews:
        count = max(2, int(pixels * one.course.lasted_s / max(1.0, lasted_s)))
        tracks.append(_columns(one.beer, one.course, count))
    values = [shown(each.mean_c, unit) for track in tracks for each in track] or [0.0, 20.0]
    low, high = min(values), max(values)
    room = 0.05 * max(1.0, high - low)
    x, y = scale(0.0, lasted_s, _LEFT, width - _RIGHT), scale(low - room, high + room, bottom, top)
    for value in ticks(low - room, high + room, 7):
        drawing.line(_LEFT, y(value), width - _RIGHT, y(value), "grid")
        drawing.text(_LEFT - 6, y(value) + 4, ticks_label(value), "end")
    drawing.text(4, 12, unit.value)
    in_days = lasted_s > 3 * 86400.0
    per = 86400.0 if in_days else 3600.0
    for value in ticks(0.0, lasted_s / per, 12 if width > NARROW else 6):
        drawing.line(x(value * per), top, x(value * per), bottom, "grid")
        drawing.text(x(value * per), bottom + 16, f"{value:g}", "middle")
    drawing.text(
        width - _RIGHT, height - 6, f"{'days' if in_days else 'hours'} since pitching", "end"
    )
    for number, (one, track) in enumerate(zip(reviews, tracks, strict=True), 1):
        start_s = one.course.start_s
        gap_s = max(1800.0, 3.0 * lasted_s / pixels)
        drawing.path(
            _broken(
                [
                    (each.at_s, x(each.at_s - start_s), y(shown(each.mean_c, unit)))
                    for each in track
                ],
                gap_s,
            ),
            f"b{number}",
        )
    return drawing
