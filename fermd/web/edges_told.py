"""The band as it was: the edges that calls began at, as the record tells them.

Edges move with what is learned, with the site file and with which side ran last, and the record
does not have each of their moves. But every start of heat or cooling by its band is on record with
the edge that it began at. That edge is taken to have stayed as far from the target until the next
start tells another one, for a day at the most.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Iterable, Sequence
from typing import Any, Final

from fermd.control.reasons import Rule
from fermd.control.settings import DAY_S, Duty
from fermd.journal.reader import OutputRun

TOLD_FOR_S: Final = DAY_S
"""An edge that no call has told anew for so long, s, is not known any more."""

Line = Callable[[float], tuple[float, float] | None]
"""The target at a time: heat_c and cool_c, None without one."""

_SIDES: Final = ((Duty.HEAT, Rule.BELOW_BAND, 0), (Duty.COOL, Rule.ABOVE_BAND, 1))


def band_of_its_time(
    runs: Iterable[OutputRun], line: Line, times_utc_s: Sequence[float], now_utc_s: float
) -> dict[str, Any]:
    """Return both edges at the given times, °C, as lists; None where they are not known."""
    known = list(runs)
    found: dict[str, Any] = {}
    for duty, rule, side in _SIDES:
        told = _told(known, duty, rule, side, line)
        found[f"{duty.value}_c"] = [
            None if at_s > now_utc_s else _edge(told, side, line, at_s) for at_s in times_utc_s
        ]
    return found


def _told(
    runs: Iterable[OutputRun], duty: Duty, rule: Rule, side: int, line: Line
) -> list[tuple[float, float]]:
    """When an edge was told, and how far from the target it lay, °C."""
    told = []
    for run in runs:
        if run.duty != duty or run.start_rule != rule or run.start_limit_c is None:
            continue
        target = line(run.start_wall_utc_s)
        if target is not None:
            told.append((run.start_wall_utc_s, run.start_limit_c - target[side]))
    return sorted(told)


def _edge(told: Sequence[tuple[float, float]], side: int, line: Line, at_s: float) -> float | None:
    place = bisect_right(told, (at_s, float("inf"))) - 1
    target = line(at_s)
    if place < 0 or target is None or at_s - told[place][0] > TOLD_FOR_S:
        return None
    return round(target[side] + told[place][1], 3)
