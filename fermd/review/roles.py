"""Which probe is in the beer and which in the air, found in the journal itself.

The journal names probes and not their places. But every decision that was made on the beer says
at what temperature it was made, and only one probe read that; and of the others, the one in the
air moves with every run of the fridge.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from statistics import median
from typing import TYPE_CHECKING

from fermd.control.alarms import AlarmKind
from fermd.control.events import AlarmChanged, OutputChanged
from fermd.control.reasons import Rule
from fermd.review.series import Series

if TYPE_CHECKING:
    from fermd.review.course import Happened

OF_THE_BEER = frozenset(
    {
        Rule.ABOVE_BAND,
        Rule.BELOW_BAND,
        Rule.WITHIN_BAND,
        Rule.CALL_CONTINUES,
        Rule.COASTS,
        Rule.FREEZING,
    }
)
"""Rules whose temperature is the beer's."""

DECISIONS = 200
"""So many decisions tell the vessel's probe from the others."""


@dataclass(frozen=True, slots=True)
class Roles:
    """The probes of a chamber by their places."""

    vessel: str
    air: str | None = None


def read_roles(probes: Mapping[str, Series], happened: Sequence[Happened]) -> Roles:
    """Find out which probe is where."""
    told = _told(happened)
    vessel = told.get(AlarmKind.VESSEL_PROBE_LOST) or _vessel(probes, happened)
    air = told.get(AlarmKind.AIR_PROBE_LOST) or _air(probes, vessel)
    return Roles(vessel, air)


def _told(happened: Sequence[Happened]) -> dict[str, str]:
    """An alarm about a probe says what it is for."""
    return {
        one.what.alarm: one.what.subject
        for one in happened
        if isinstance(one.what, AlarmChanged) and one.what.subject
    }


def _vessel(probes: Mapping[str, Series], happened: Sequence[Happened]) -> str:
    if not probes:
        return "vessel"
    off_c = dict.fromkeys(probes, 0.0)
    counted = dict.fromkeys(probes, 0)
    decisions = [
        (one.at_s, one.what.reasons[:1]) for one in happened if isinstance(one.what, OutputChanged)
    ]
    for at_s, reasons in decisions[-DECISIONS:]:
        for why in reasons:
            if why.rule not in OF_THE_BEER or why.value_c is None:
                continue
            for name, series in probes.items():
                seen_c = series.at(at_s)
                if seen_c is not None:
                    # One that was wrong for a while is not to be told by that while alone.
                    off_c[name] += min(1.0, abs(seen_c - why.value_c))
                    counted[name] += 1
    told = [name for name in probes if counted[name]]
    if told:
        return min(told, key=lambda name: off_c[name] / counted[name])
    return min(probes, key=lambda name: _restless_c(probes[name]))


LEAST_RESTLESS = 1.3
"""The air's probe moves at least so many times as much as the vessel's."""

WINDOW_S = 1800.0
"""They are compared by spans of this, s: which of them moved farther in more of those decides. A
probe that was taken out, or mixed up with the other, is so for a few of many; and beer on its way
to a new target, in air that is steady, goes no `STIRRED_C` in it."""

STIRRED_C = 0.5
"""A span in which neither moved so far says nothing, °C."""

SMOOTHED = 5
"""Buckets that are taken together: the noise of a reading is no move."""


def _air(probes: Mapping[str, Series], vessel: str) -> str | None:
    others = [name for name in probes if name != vessel]
    if not others:
        return None
    if vessel not in probes:
        return max(others, key=lambda name: _restless_c(probes[name]))
    ranges = {name: _ranges_c(series) for name, series in probes.items()}
    votes = {name: _votes(ranges[name], ranges[vessel]) for name in others}
    air = max(others, key=lambda name: (votes[name], _restless_c(probes[name])))
    if votes[air]:
        return air if votes[air] > 0 else None
    # They never moved, or as often the one as the other.
    least_c = LEAST_RESTLESS * _restless_c(probes[vessel])
    return air if _restless_c(probes[air]) >= least_c else None


def _votes(ours: Mapping[int, float], vessels: Mapping[int, float]) -> int:
    """In how many more spans a probe moved farther than the vessel's than the contrary."""
    votes = 0
    for window, ours_c in ours.items():
        vessel_c = vessels.get(window)
        if vessel_c is None or max(ours_c, vessel_c) < STIRRED_C:
            continue
        votes += (ours_c >= LEAST_RESTLESS * vessel_c) - (vessel_c >= LEAST_RESTLESS * ours_c)
    return votes


def _ranges_c(series: Series) -> dict[int, float]:
    """How far the readings went up and down in each span, by its number, °C."""
    found: dict[int, tuple[float, float]] = {}
    means, together = series.mean_c, SMOOTHED if series.step_s <= 60 else 1
    window_s = max(WINDOW_S, 4.0 * series.step_s)
    for first in range(0, len(series) - together + 1, together):
        mean_c = sum(means[first : first + together]) / together
        window = int(series.at_s[first] // window_s)
        low_c, high_c = found.get(window, (mean_c, mean_c))
        found[window] = min(low_c, mean_c), max(high_c, mean_c)
    return {window: high_c - low_c for window, (low_c, high_c) in found.items()}


APART = 15
"""Buckets between two readings that are compared."""

LIVELIEST = 0.1
"""Of all moves the largest tenth is looked at: a fridge may rest for days."""


def _restless_c(series: Series) -> float:
    """How far the readings move within a quarter of an hour, in the median of the liveliest, °C.

    Not in the mean: a probe that was once taken out moves by far, but not often.
    """
    means = series.mean_c
    moves_c = sorted(
        abs(later - before) for before, later in zip(means, means[APART:], strict=False)
    )
    liveliest = moves_c[int((1.0 - LIVELIEST) * len(moves_c)) :]
    return median(liveliest) if liveliest else 0.0
