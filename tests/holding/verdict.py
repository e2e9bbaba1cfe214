"""Whether fermd is ahead of a rival: closer to the target, less beyond it, and no more starts."""

from __future__ import annotations

from collections.abc import Mapping

from contestants import BEST, FERMD, SWEPT
from figures import WITHIN_C, Figures

SAME_C = 0.02
"""Overshoots this near to each other are the same, °C: a third of a step of the probe."""

SWINGS_C = WITHIN_C
"""On-off control swings to both sides for ever: an overshoot is what goes further than this, °C,
the width that counts as being there."""

SAME_STARTS = 1.02
"""So many times as many starts are no more: one start in a trial of five days."""


def ahead(mine: Figures, rival: Figures) -> dict[str, bool]:
    """Return in what fermd is ahead (or level): error, overshoot, starts."""
    return {
        "error": mine.rms_c <= rival.rms_c,
        "overshoot": _beyond_c(mine) <= _beyond_c(rival) + SAME_C,
        "starts": mine.starts_a_day <= rival.starts_a_day * SAME_STARTS,
    }


def _beyond_c(each: Figures) -> float:
    return max(0.0, each.overshoot_c - SWINGS_C)


def verdicts(results: Mapping[str, Figures]) -> list[str]:
    """Return in words how fermd stands against each other contestant in one scenario."""
    mine = results.get(FERMD)
    if mine is None:
        return []
    lines = []
    for name, each in results.items():
        if name == BEST:
            lines.append(f"fermd's RMS is {mine.rms_c / each.rms_c:.2f} times the best possible")
        elif name != FERMD:
            behind = [what for what, is_ahead in ahead(mine, each).items() if not is_ahead]
            words = f"behind on {' and '.join(behind)}" if behind else "ahead"
            lines.append(f"fermd against {name}: {words}")
    return lines


def swept(results: Mapping[str, Figures]) -> list[str]:
    """Return how fermd stands against every setting of each rival that takes no more starts."""
    return [_swept(results, rival) for rival in SWEPT]


def _swept(results: Mapping[str, Figures], rival: str) -> str:
    mine = results[FERMD]
    settings = {name: each for name, each in results.items() if name.partition(":")[0] == rival}
    found = {name: ahead(each, mine) for name, each in settings.items()}
    thrifty = [name for name in settings if found[name]["starts"]]
    if not thrifty:
        return f"{rival}: every setting takes more starts than fermd"
    unbeaten = []
    for name in thrifty:
        behind = [what for what, is_ahead in ahead(mine, settings[name]).items() if not is_ahead]
        better = [what for what in behind if what != "starts"]
        if better:
            unbeaten.append(f"{name} ({' and '.join(better)})")
    if unbeaten:
        return f"{rival}: not beaten, of those with no more starts: {', '.join(unbeaten)}"
    return (
        f"{rival}: fermd is ahead of every setting that takes no more starts "
        f"({len(thrifty)} of {len(settings)})"
    )
