"""A target over time as a few lines of text, for a terminal."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta, tzinfo
from typing import Final

from fermd.control.wording import Unit, temperature
from fermd.planning.timeline import Corner, target_at

WIDTH: Final = 68
HEIGHT: Final = 12

_LINE, _CEILING, _FLOOR = "•", "‾", "_"


def chart(corners: Sequence[Corner], zone: tzinfo, unit: Unit = Unit.CELSIUS) -> list[str]:
    """Draw a target's line: a row a step of temperature, a column a piece of time.

    A free rise shows its ceiling and its floor.
    """
    begin_s, end_s = corners[0].utc_s, corners[-1].utc_s
    low_c = min(corner.heat_c for corner in corners)
    high_c = max(corner.cool_c for corner in corners)
    if high_c - low_c < 1.0:
        low_c, high_c = low_c - 0.5, high_c + 0.5
    rows = [[" "] * WIDTH for _ in range(HEIGHT)]

    def row_of(temp_c: float) -> int:
        return round((high_c - temp_c) / (high_c - low_c) * (HEIGHT - 1))

    for column in range(WIDTH):
        at_s = begin_s + (column + 0.5) / WIDTH * (end_s - begin_s)
        heat_c, cool_c = target_at(corners, at_s)
        if heat_c == cool_c:
            rows[row_of(cool_c)][column] = _LINE
        else:
            rows[row_of(cool_c)][column] = _CEILING
            rows[row_of(heat_c)][column] = _FLOOR
    labels = {0: high_c, HEIGHT - 1: low_c, (HEIGHT - 1) // 2: _at_row(low_c, high_c)}
    lines = [
        f"{temperature(labels[n], unit) if n in labels else '':>8} ┤{''.join(row)}".rstrip()
        for n, row in enumerate(rows)
    ]
    ticks, dates = _axis(begin_s, end_s, zone)
    return [*lines, f"{'':>8} └{ticks}", f"{'':>8}  {dates}".rstrip()]


def _at_row(low_c: float, high_c: float) -> float:
    return high_c - (high_c - low_c) * ((HEIGHT - 1) // 2) / (HEIGHT - 1)


def _axis(begin_s: float, end_s: float, zone: tzinfo) -> tuple[str, str]:
    """The line under the chart, and the dates under it: whole days, as many as there is room."""
    room = len("06 Mar ") + 1
    days = (end_s - begin_s) / 86400.0
    every = next(n for n in (1, 2, 3, 7, 14, 28, 56, 112, 400) if days / n * room <= WIDTH)
    ticks, dates = ["─"] * WIDTH, [" "] * (WIDTH + room)
    day = datetime.fromtimestamp(begin_s, zone).replace(hour=0, minute=0, second=0, microsecond=0)
    day += timedelta(days=1)
    while day.timestamp() < end_s:
        column = int((day.timestamp() - begin_s) / (end_s - begin_s) * WIDTH)
        label = f"{day:%d %b}"
        if column + len(label) <= WIDTH:
            ticks[column] = "┬"
            dates[column : column + len(label)] = label
        day += timedelta(days=every)
    return "".join(ticks), "".join(dates)
