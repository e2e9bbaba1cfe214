"""The beers of several batches in one picture, on the time since pitching."""

from __future__ import annotations

from collections.abc import Sequence

from fermd.control.wording import Unit
from fermd.review import saying
from fermd.review.chart_columns import LEFT, NARROW, RIGHT, WIDE, broken, columns_of, shown
from fermd.review.reviewing import Review
from fermd.review.svg import Drawing, scale, ticks, ticks_label

MOST_TOGETHER = 5
"""More lines than these could not be told apart."""


def together(reviews: Sequence[Review], unit: Unit = Unit.CELSIUS, width: int = WIDE) -> Drawing:
    """The beers of several batches, laid over each other on the time since pitching."""
    height = 360 if width > NARROW else 300
    bottom, top = height - 40, 26
    drawing = Drawing(width, height, "Batches on the time since pitching")
    lasted_s = max(one.course.lasted_s for one in reviews)
    pixels = width - LEFT - RIGHT
    tracks = []
    for one in reviews:
        count = max(2, int(pixels * one.course.lasted_s / max(1.0, lasted_s)))
        tracks.append(columns_of(one.beer, one.course, count))
    values = [shown(each.mean_c, unit) for track in tracks for each in track] or [0.0, 20.0]
    low, high = min(values), max(values)
    room = 0.05 * max(1.0, high - low)
    x, y = scale(0.0, lasted_s, LEFT, width - RIGHT), scale(low - room, high + room, bottom, top)
    for value in ticks(low - room, high + room, 7):
        drawing.line(LEFT, y(value), width - RIGHT, y(value), "grid")
        drawing.text(LEFT - 6, y(value) + 4, ticks_label(value), "end")
    drawing.text(4, 12, unit.value)
    in_days = lasted_s > 3 * 86400.0
    per = 86400.0 if in_days else 3600.0
    for value in ticks(0.0, lasted_s / per, 12 if width > NARROW else 6):
        drawing.line(x(value * per), top, x(value * per), bottom, "grid")
        drawing.text(x(value * per), bottom + 16, f"{value:g}", "middle")
    drawing.text(
        width - RIGHT, height - 6, f"{'days' if in_days else 'hours'} since pitching", "end"
    )
    for number, (one, track) in enumerate(zip(reviews, tracks, strict=True), 1):
        start_s = one.course.start_s
        gap_s = max(1800.0, 3.0 * lasted_s / pixels)
        drawing.path(
            broken(
                [
                    (each.at_s, x(each.at_s - start_s), y(shown(each.mean_c, unit)))
                    for each in track
                ],
                gap_s,
            ),
            f"b{number}",
        )
        drawing.key.append((f"b{number}", saying.name_of(one)))
    return drawing
