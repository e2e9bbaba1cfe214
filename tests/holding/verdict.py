"""Whether fermd is ahead of a rival: closer to the target, less beyond it, and no more starts."""

from __future__ import annotations

from collections.abc import Mapping

from contestants import BEST, FERMD
from figures import Figures

SAME_C = 0.02
"""Overshoots this near to each other are the same, °C: a third of a step of the probe."""

SAME_STARTS = 1.02
"""So many times as many starts are no more: one start in a trial of five days."""


def ahead(mine: Figures, rival: Figures) -> dict[str, bool]:
    """Return in what fermd is ahead (or level): error, overshoot, starts."""
    return {
        "error": mine.rms_c <= rival.rms_c,
        "overshoot": mine.overshoot_c <= rival.overshoot_c + SAME_C,
        "starts": mine.starts_a_day <= rival.starts_a_day * SAME_STARTS,
    }


def verdicts(results: Mapping[str, Figures]) -> list[str]:
    """Return a line for each rival of fermd in one scenario."""
    mine = results.get(FERMD)
    if mine is None:
        return []
    lines = []
    for name, each in results.items():
        if name == BEST:
            lines.append(f"RMS {mine.rms_c / each.rms_c:.2f} times the best possible")
        elif name != FERMD:
            found = ahead(mine, each)
            behind = [what for what, is_ahead in found.items() if not is_ahead]
            words = "ahead" if not behind else f"behind on {' and '.join(behind)}"
            lines.append(f"against {name}: {words}")
    return lines


def swept(results: Mapping[str, Figures], rival: str) -> str:
    """Return how fermd stands against every setting of a rival that takes no more starts."""
    mine = results[FERMD]
    settings = {name: each for name, each in results.items() if name.partition(":")[0] == rival}
    thrifty = {
        name: each
        for name, each in settings.items()
        if each.starts_a_day <= mine.starts_a_day * SAME_STARTS
    }
    if not thrifty:
        return f"every setting of {rival} takes more starts than fermd"
    unbeaten = []
    for name, each in thrifty.items():
        found = ahead(mine, each)
        better = [what for what in ("error", "overshoot") if not found[what]]
        if better:
            unbeaten.append(f"{name} ({' and '.join(better)})")
    if not unbeaten:
        return (
            f"fermd is ahead of every setting of {rival} that takes no more starts "
            f"({len(thrifty)} of {len(settings)})"
        )
    return f"not beaten with no more starts: {', '.join(unbeaten)}"
