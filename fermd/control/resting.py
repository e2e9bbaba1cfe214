"""How the beer drifts with everything at rest, and whether that drift is about to turn.

A room is warm in the afternoon and cold before dawn, a fermentation begins and ends: what drifts
away from its target now may well come back by itself before it has gone far. How fast the beer
would move with everything off is noted at each start that comes when the air has rested; two such
notes some hours apart give how the drift itself changes. With a drift of u °C/h that loses s °C/h
in an hour the beer goes u²/(2 s) and turns (motion under constant deceleration). A run that ends
half as far on the other side of the target leaves the beer swinging evenly about it: to go
further would only have it stay there.
"""

from __future__ import annotations

from dataclasses import dataclass

from fermd.control.settings import HOUR_S

RESTED_S = 3600.0
"""So long after a stop, s, the air of a cabinet has come back (chamber model)."""

APART_S = 2 * HOUR_S
"""Notes nearer to each other than this, s, tell of their own errors more than of the room."""

LOST_S = 8 * HOUR_S
"""Notes further from each other than this, s, may have a whole night between them."""

FORESEEN_S = 4 * HOUR_S
"""A note counts for so long, s: a day's warmth turns after six hours."""


@dataclass(frozen=True, slots=True)
class Rest:
    """What was noted at the last start that came when everything had rested."""

    at_mono_s: float
    drift_c_per_h: float
    """How fast the beer moved by itself, °C/h."""
    turns_c_per_h2: float | None = None
    """By how much that changes in an hour, °C/h²; None: not known yet."""


def noted(rest: Rest | None, mono_s: float, drift_c_per_h: float, idle_s: float) -> Rest | None:
    """Return what is known after a start at `mono_s`; nothing had run for `idle_s` by then, s."""
    if idle_s < RESTED_S:
        return rest
    apart_s = LOST_S if rest is None else mono_s - rest.at_mono_s
    if rest is None or apart_s >= LOST_S:
        return Rest(mono_s, drift_c_per_h)
    if apart_s < APART_S:
        return rest
    turns_c_per_h2 = (drift_c_per_h - rest.drift_c_per_h) / (apart_s / HOUR_S)
    return Rest(mono_s, drift_c_per_h, turns_c_per_h2)


def goes_c(rest: Rest | None, mono_s: float, way: float) -> float | None:
    """Return how far the beer would go before it turns by itself, °C; None if it would not.

    `way`: +1 for beer that goes up, -1 for beer that goes down.
    """
    if rest is None or rest.turns_c_per_h2 is None or mono_s - rest.at_mono_s >= FORESEEN_S:
        return None
    slows_c_per_h2 = -way * rest.turns_c_per_h2
    if slows_c_per_h2 <= 0.0:
        return None
    since_h = (mono_s - rest.at_mono_s) / HOUR_S
    drift_c_per_h = way * rest.drift_c_per_h - slows_c_per_h2 * since_h
    return max(drift_c_per_h, 0.0) ** 2 / (2.0 * slows_c_per_h2)
