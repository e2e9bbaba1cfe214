"""Where calls begin and end now: the bands, moved by what was learned of the beer's swing.

A side that may foresee begins its call at its band, less the lag; it ends it a differential
further back, less the coast. Where that may not be done (switched off, or too often wrong) its
plain edges stand (`bands.py`). Beer that drifts slowly is given narrower bands (`slow_drift.py`).
The side that did not run last begins only beyond its changeover band, unless the beer has plainly
gone there by itself, or would be long in coming back. A run ends where the beer's drift is about to
turn (`resting.py`).
"""

from __future__ import annotations

from dataclasses import dataclass

from fermd.control.bands import Edges, plain_edges
from fermd.control.resting import goes_c
from fermd.control.settings import BandSettings, ChamberSettings, Duty
from fermd.control.slow_drift import narrowed
from fermd.control.steps import Target
from fermd.control.swing import WAYS, Swing, coast_c, fits, to_go_c

LEAST_LEFT = 0.75
"""Beer that drifts slowly is taken up by the side that did not run last from so much of its band
on: more than the probe's step and noise."""

NO_HANDING_OVER_C = 0.03
"""And only so far beyond where the other side's run was to leave it, °C: a steadied reading's
noise. Else each would answer to the other's work."""

CARRIED_S = 1200.0
"""So long after a stop, s, beer is still carried by what was stored in any case: the heat of a belt
takes that (chamber model). A probe that sees the air, too, then reads what neither side should
answer to."""

CARRIED_BANDS = 2.0
"""For so long the other side begins only beyond so many of its changeover bands."""

LEAST_DRIFT_C_PER_H = 0.015
"""Beer that drifts slower than this, °C/h, may as well stand still: that is how well the drift is
known (chamber model), and a band takes it more than half a day."""

COMES_BACK_C_PER_H = 0.03
"""Beer that comes back to its target more slowly than this, °C/h, takes most of a night from the
edge of its band: it may as well be fetched."""

SETTLED_C_PER_H = 0.45
"""Air that comes back to the beer more slowly than this, °C/h, gives nothing any more that was
stored: a cabinet's comes back by several degrees in the first hour (chamber model)."""


@dataclass(frozen=True, slots=True)
class Sight:
    """What edges are worked out from, beside what was learned."""

    mono_s: float
    beer_c: float
    air_c: float | None
    running: Duty | None
    """What of heat and cooling is on."""
    run_s: float
    """For how long, s."""
    drift_c_per_h: float | None
    """How fast the beer would move from its target with everything off, where that is known."""
    air_trend_c_per_h: float | None = None
    """How fast the air moves, where that is known; on a ramp, beyond the target's move."""
    ramp_c_per_h: float = 0.0
    """How fast a ramp moves the target."""


def edges(swing: Swing, settings: ChamberSettings, target: Target, sight: Sight) -> Edges:
    """Return where calls begin and end now."""
    plain = plain_edges(target, settings.heat, settings.cool, swing.last)
    heat_from_c, heat_until_c, warming_to_c = _side(
        swing, settings, settings.heat, Duty.HEAT, target.heat_c, sight
    ) or (plain.heat_from_c, plain.heat_until_c, None)
    cool_from_c, cool_until_c, cooling_to_c = _side(
        swing, settings, settings.cool, Duty.COOL, target.cool_c, sight
    ) or (plain.cool_from_c, plain.cool_until_c, None)
    coming_c = cooling_to_c if warming_to_c is None else warming_to_c
    return Edges(heat_from_c, heat_until_c, cool_from_c, cool_until_c, coming_c)


def _side(
    swing: Swing,
    settings: ChamberSettings,
    band: BandSettings,
    duty: Duty,
    target_c: float,
    sight: Sight,
) -> tuple[float, float, float | None] | None:
    known = swing.known(duty)
    if not fits(known, settings.foresight):
        return None
    way, coming_c = WAYS[duty], None
    band_c = band.band_c * narrowed(sight.drift_c_per_h, way)
    half_c = max(band_c, min(known.least_swing_c / 2, band.after_the_other_c))
    if swing.last is None or swing.last is duty:
        begins_c = max(0.0, half_c - max(known.lag_c, -band.band_c / 2))
    elif _stays(swing, sight, duty, -COMES_BACK_C_PER_H):
        other = settings.heat if duty is Duty.COOL else settings.cool
        # Where a run of the other side was to leave the beer, and a little beyond.
        clear_c = swing.narrowed * (other.differential_c - other.band_c) + NO_HANDING_OVER_C
        begins_c = min(max(half_c, LEAST_LEFT * band.band_c, clear_c), band.after_the_other_c)
    else:
        carried = CARRIED_BANDS if _is_carried(swing, sight) else 1.0
        begins_c = carried * band.after_the_other_c
    # From afar, or in the other side's stead, it is brought to the target; the next call swings.
    to_target = swing.afar or swing.stands_in
    ends_c = 0.0 if to_target else swing.narrowed * (band.band_c - band.differential_c)
    turns_c = goes_c(swing.rest, sight.mono_s, way)
    if turns_c is not None:
        # No further than it will come back: half of that on either side of the target.
        ends_c = max(ends_c, -turns_c / 2)
    if sight.running is duty:
        goes_on_c = coast_c(known, settings.foresight, duty, sight.beer_c, sight.air_c, sight.run_s)
        ends_c += goes_on_c
        coming_c = sight.beer_c - way * goes_on_c if goes_on_c else None
    if swing.after_stop is not None:
        left_c = max(0.0, to_go_c(swing, swing.after_stop, sight.beer_c))
        begins_c += left_c
        if left_c and swing.after_stop.duty is duty:
            coming_c = sight.beer_c - way * left_c
    # What was learned under wider bands is held to those of now.
    middle_c = target_c - min(max(known.centre_c, -band.band_c / 2), band.band_c / 2)
    return middle_c + way * begins_c, middle_c + way * ends_c, coming_c


def is_slow(swing: Swing, settings: ChamberSettings, target: Target, sight: Sight) -> bool:
    """Tell whether the beer drifts away from its target so slowly that its band is narrower."""
    duty = Duty.COOL if sight.beer_c > (target.heat_c + target.cool_c) / 2.0 else Duty.HEAT
    if not fits(swing.known(duty), settings.foresight):
        return False
    return narrowed(sight.drift_c_per_h, WAYS[duty]) < 1.0


def left_by_itself(swing: Swing, sight: Sight, duty: Duty) -> bool:
    """Tell whether beer on this side of its target is there by itself, and not by the other side.

    It must be moving away with everything off, and what the other side stored must be spent: it
    is given off while the air comes back.
    """
    return _stays(swing, sight, duty, LEAST_DRIFT_C_PER_H)


def _stays(swing: Swing, sight: Sight, duty: Duty, least_c_per_h: float) -> bool:
    """Tell whether the beer moves away from its target, at so much at least, and by itself."""
    way = WAYS[duty]
    if sight.drift_c_per_h is None or way * sight.drift_c_per_h < least_c_per_h:
        return False
    if sight.running not in (None, duty):
        return False
    trend_c_per_h = sight.air_trend_c_per_h
    if trend_c_per_h is not None and -way * trend_c_per_h > SETTLED_C_PER_H:
        # The air comes back: it is the other side's cold or warmth that still moves the beer.
        return False
    stop = swing.after_stop
    if stop is None:
        return True
    if trend_c_per_h is None or _is_carried(swing, sight):
        return False
    return to_go_c(swing, stop, sight.beer_c) <= 0


def _is_carried(swing: Swing, sight: Sight) -> bool:
    stop = swing.after_stop
    return stop is not None and sight.mono_s - stop.at_mono_s < CARRIED_S
