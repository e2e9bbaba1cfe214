"""Pictures of what a batch took: duty cycle by day, and the heat of its fermentation."""

from __future__ import annotations

from datetime import date

from fermd.control.wording import Unit
from fermd.review.chart_columns import LEFT, NARROW, RIGHT, WIDE, shown
from fermd.review.reviewing import Review
from fermd.review.svg import Drawing, scale, ticks, time_ticks


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
        drawing.line(LEFT, y(value), width - RIGHT, y(value), "grid")
        drawing.text(LEFT - 6, y(value) + 4, f"{value:g}", "end")
    drawing.text(4, 12, "% of the day")
    wide = (width - LEFT - RIGHT) / len(days)
    bar = max(1.0, 0.8 * wide / len(outputs))
    every = max(1, round(len(days) / (12 if width > NARROW else 5)))
    for place, day in enumerate(days):
        left = LEFT + wide * place + 0.1 * wide
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
    drawing.line(LEFT, bottom, width - RIGHT, bottom, "edge")
    return drawing


def _day_words(day: str) -> str:
    return f"{date.fromisoformat(day):%d %b}".lstrip("0")


def heat_over_time(review: Review, unit: Unit = Unit.CELSIUS, width: int = WIDE) -> Drawing | None:
    """The heat of fermentation over time."""
    points = review.heat.points
    if review.heat.why or not points:
        return None
    course = review.course
    in_watts = points[0].heat_w is not None
    height = 190
    bottom, top = height - 28, 22
    drawing = Drawing(width, height, "Heat of fermentation")
    per_day = 24.0 * (shown(1.0, unit) - shown(0.0, unit))
    values = [(one.heat_w or 0.0) if in_watts else per_day * one.warmth_c_per_h for one in points]
    x = scale(course.start_s, course.end_s, LEFT, width - RIGHT)
    y = scale(0.0, 1.15 * max(values), bottom, top)
    for value in ticks(0.0, 1.15 * max(values), 4):
        drawing.line(LEFT, y(value), width - RIGHT, y(value), "grid")
        drawing.text(LEFT - 6, y(value) + 4, f"{value:g}", "end")
    drawing.text(4, 12, "W" if in_watts else f"{unit.value} a day, if nothing cooled it")
    most = 10 if width > NARROW else 5
    for at_s, words in time_ticks(course.start_s, course.end_s, review.wishes.zone, most):
        drawing.line(x(at_s), top, x(at_s), bottom, "grid")
        drawing.text(x(at_s), height - 10, words, "middle")
    line = [(x(one.at_s), y(value)) for one, value in zip(points, values, strict=True)]
    drawing.area(line, [(at, bottom) for at, _ in line], "warmfill")
    drawing.path(line, "warm")
    drawing.line(LEFT, bottom, width - RIGHT, bottom, "edge")
    return drawing
