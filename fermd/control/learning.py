"""How the beer's swing is followed, and what each run of it teaches.

What is learned stands in `swing.py`. A coast that a door cuts short teaches nothing; one that the
other side cuts short would have gone further. On a ramp the beer is followed as though the target
stood still and the room moved instead. What is learned there counts for that ramp alone: beer whose
target moves away turns sooner.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from fermd.control.lag import lagged
from fermd.control.replacing import replacer
from fermd.control.resting import noted
from fermd.control.settings import HOUR_S, ChamberSettings, Duty
from fermd.control.slow_drift import steadied
from fermd.control.steps import Target
from fermd.control.swing import WAYS, Cycle, Learned, Swing, Turn, coast_c, difference_c, is_right

SMOOTHED_S = 180.0
"""What turns are looked for in: the readings behind a lag of this, s. It takes the noise of the
probe to a fifth at a period of 10 s; beer that turns takes far longer."""

TURNED_C = 0.04
"""The smoothed beer has come back from its furthest by this, °C: it has turned."""

WATCHED_S = 3 * 3600.0
"""A coast is over after this at the latest, s; the chamber model's take 20 to 90 min."""

WEIGHT = 0.3
"""How much a new run counts against all before, after the first ones."""

SAME_C = 0.02
"""Targets no further apart than this, °C, are one: a ramp's is worked out anew at each tick."""

DOOR_C = 1.0
"""Air that is so far ahead of its own last minute, °C, is not warmed by its walls and the beer: a
door stands open. A cabinet whose machine has stopped stays below 0.6 °C (chamber model), one that
is opened comes to 3 °C."""

AIR_BEHIND_S = 60.0
"""The lag behind which the air is followed for that, s."""

CUT_SHORT = 1.25
"""Beer that the other side turned would have gone so many times as far as it was seen to go."""

AFAR = 3.0
"""A call with the beer more than so many bands from its target brings it from afar."""

SHORTEST_RUN_ROOM_S = 60.0
"""A run that is no longer than this beyond the minimum run time was held by it, s: the longest
sample period."""


@dataclass(frozen=True, slots=True)
class Look:
    """What a tick sees of the beer and its chamber; temperatures are None while not trusted."""

    mono_s: float
    passed_s: float
    """Since the tick before, s."""
    beer_c: float | None
    air_c: float | None
    running: Duty | None
    """What of heat and cooling is on after this tick."""
    was_running: Duty | None
    """What was on before it."""
    run_s: float
    """How long the one that is on, or went off, has run, s."""
    target: Target | None
    left_by_itself: bool = False
    """Whether the beer is by itself where the one that is on was called for."""
    narrowed: float = 1.0
    """The share of its band that the one that is on is given."""
    ramp_c_per_h: float = 0.0
    """How fast a ramp moves the target, °C/h."""
    drift_c_per_h: float | None = None
    """At a start: how fast the beer moves by itself, °C/h, where that is known."""
    idle_s: float = 0.0
    """At a start: for how long nothing had run, s."""
    other_beer: bool = False
    """Whether the beer has been told from other readings up to now: a probe that sees the air, too,
    has just been seen through, or is not any more."""


def learn(swing: Swing, settings: ChamberSettings, look: Look) -> Swing:
    """Follow the beer for one tick, after the outputs were decided."""
    beer_c, running, was = look.beer_c, look.running, look.was_running
    if look.other_beer:
        swing = _unlearned(swing)
    if beer_c is None:
        lost = Swing(swing.learned, running or swing.last)
        return swing if swing == lost else lost
    swing = _watch_door(swing, look)
    steady_c = steadied(swing.steady_c, beer_c, look.passed_s)
    swing, look = _along(swing, look)
    beer_c -= swing.along_c
    smooth_c = beer_c
    if swing.smooth_c is not None:
        smooth_c = lagged(swing.smooth_c, beer_c, look.passed_s, SMOOTHED_S)
    swing = _SMOOTHED(swing, smooth_c, steady_c)
    if running is not None and running is not was:
        swing = _started(swing, settings, look, running, beer_c, smooth_c)
    elif was is not None and running is not was:
        swing = _stopped(swing, settings, look, was, beer_c, smooth_c)
    else:
        swing = _follow(swing, settings, look, smooth_c)
    return _through_cycle(_from_afar(swing, settings, look, beer_c), look, smooth_c)


def _watch_door(swing: Swing, look: Look) -> Swing:
    """Let no coast teach that a door cuts short: the next one may go on for all night."""
    air_c, before_c = look.air_c, swing.air_c
    if air_c is None or before_c is None:
        return swing if air_c is before_c else _AIR(swing, air_c)
    behind_c = lagged(before_c, air_c, look.passed_s, AIR_BEHIND_S)
    if abs(air_c - behind_c) > DOOR_C:
        swing = _opened(swing, warmer=air_c > behind_c)
    return _AIR(swing, behind_c)


def _unlearned(swing: Swing) -> Swing:
    """Forget what was learned by other readings, but for a first guess of the coasts."""
    learned = {
        duty: Learned(min(known.runs, 1), known.coast_c, known.difference_c, known.run_s)
        for duty, known in swing.learned.items()
    }
    return Swing(
        learned,
        swing.last,
        air_c=swing.air_c,
        afar=swing.afar,
        stands_in=swing.stands_in,
    )


def _opened(swing: Swing, *, warmer: bool) -> Swing:
    stop = swing.after_stop
    if stop is not None and stop.teaches and warmer is (stop.duty is Duty.COOL):
        return replace(swing, after_stop=replace(stop, teaches=False), cycle=None)
    return swing


_AIR = replacer(Swing, "air_c")
_SMOOTHED = replacer(Swing, "smooth_c", "steady_c")


def _along(swing: Swing, look: Look) -> tuple[Swing, Look]:
    """Go on along a ramp, and return the look with target and air as though there were none."""
    if look.ramp_c_per_h:
        on_ramp = swing.on_ramp
        if on_ramp is None:
            # Begun with what is known from holds, which one run on the ramp outweighs.
            on_ramp = {
                duty: replace(known, runs=min(known.runs, 1))
                for duty, known in swing.learned.items()
            }
        along_c = swing.along_c + look.ramp_c_per_h * look.passed_s / HOUR_S
        swing = _ON_RAMP(swing, along_c, on_ramp)
    elif swing.on_ramp is not None:
        swing = replace(swing, on_ramp=None)
    along_c = swing.along_c
    if not along_c:
        return swing, look
    target, air_c = look.target, look.air_c
    if target is not None:
        target = Target(target.heat_c - along_c, target.cool_c - along_c)
    air_c = None if air_c is None else air_c - along_c
    return swing, _AS_THOUGH_STILL(look, air_c, target)


_ON_RAMP = replacer(Swing, "along_c", "on_ramp")
_AS_THOUGH_STILL = replacer(Look, "air_c", "target")


def _now_known(swing: Swing, duty: Duty, known: Learned) -> Swing:
    """Return the swing with what is now known of a side."""
    if swing.on_ramp is None:
        return replace(swing, learned={**swing.learned, duty: known})
    return replace(swing, on_ramp={**swing.on_ramp, duty: known})


def _from_afar(swing: Swing, settings: ChamberSettings, look: Look, beer_c: float) -> Swing:
    running, target = look.running, look.target
    if running is None or target is None:
        return swing if not swing.afar else replace(swing, afar=False)
    band = settings.cool if running is Duty.COOL else settings.heat
    target_c = _of(target, running)
    if not swing.afar and WAYS[running] * (beer_c - target_c) > AFAR * band.band_c:
        return replace(swing, afar=True)
    return swing


def _through_cycle(swing: Swing, look: Look, smooth_c: float) -> Swing:
    cycle, target = swing.cycle, look.target
    if cycle is None:
        return swing
    target_c = None if target is None else _of(target, swing.last)
    if target_c is None or abs(target_c - cycle.target_c) > SAME_C or swing.afar:
        return replace(swing, cycle=None)
    off_cs = cycle.off_cs + (smooth_c - cycle.target_c) * look.passed_s
    return _IN_CYCLE(swing, Cycle(cycle.target_c, off_cs, cycle.lasted_s + look.passed_s))


_IN_CYCLE = replacer(Swing, "cycle")


def _of(target: Target, duty: Duty | None) -> float:
    return target.heat_c if duty is Duty.HEAT else target.cool_c


def _learn_centre(swing: Swing, settings: ChamberSettings, duty: Duty) -> Swing:
    cycle = swing.cycle
    if cycle is None or swing.last is not duty or not cycle.lasted_s:
        return swing
    known = swing.known(duty)
    band = settings.cool if duty is Duty.COOL else settings.heat
    centre_c = known.centre_c + WEIGHT * cycle.off_cs / cycle.lasted_s
    centre_c = min(max(centre_c, -band.band_c / 2), band.band_c / 2)
    return _now_known(swing, duty, replace(known, centre_c=centre_c))


def _started(
    swing: Swing, settings: ChamberSettings, look: Look, duty: Duty, beer_c: float, smooth_c: float
) -> Swing:
    stop = swing.after_stop
    if stop is not None:
        turned = _came_back_c(stop, smooth_c, -WAYS[stop.duty]) >= TURNED_C / 2
        # The other side was called for before the beer had turned: it went so far at least.
        if turned or stop.duty is not duty:
            swing = _learn_coast(swing, settings, stop, cut_short=not turned)
    swing = _learn_centre(swing, settings, duty)
    band = settings.cool if duty is Duty.COOL else settings.heat
    target_c = None if look.target is None else _of(look.target, duty)
    # A start far from the target came of a new target, and not of beer that drifted there.
    near = target_c is not None and abs(beer_c - target_c) <= 2 * band.band_c
    start = Turn(duty, look.mono_s, beer_c, smooth_c, teaches=near and swing.last is duty)
    took_over = swing.last is not None and swing.last is not duty
    rest = None
    if near and not look.ramp_c_per_h and look.drift_c_per_h is not None:
        rest = noted(swing.rest, look.mono_s, look.drift_c_per_h, look.idle_s)
    counts = near and not took_over and target_c is not None
    return replace(
        swing,
        last=duty,
        after_start=start,
        after_stop=None,
        peak_c=None,
        stands_in=took_over and not look.left_by_itself,
        narrowed=look.narrowed,
        rest=rest,
        cycle=Cycle(target_c) if counts and target_c is not None else None,
    )


def _stopped(
    swing: Swing, settings: ChamberSettings, look: Look, duty: Duty, beer_c: float, smooth_c: float
) -> Swing:
    known = swing.known(duty)
    stop = Turn(
        duty,
        look.mono_s,
        beer_c,
        smooth_c,
        coast_c(known, settings.foresight, duty, beer_c, look.air_c, look.run_s),
        difference_c(duty, beer_c, look.air_c),
        look.run_s,
        teaches=not swing.afar or not known.runs,
    )
    return replace(swing, after_stop=stop)


def _follow(swing: Swing, settings: ChamberSettings, look: Look, smooth_c: float) -> Swing:
    start, stop = swing.after_start, swing.after_stop
    if start is not None:
        way = WAYS[start.duty]
        start = _further(start, smooth_c, way)
        if _came_back_c(start, smooth_c, way) >= TURNED_C:
            swing = _learn_lag(swing, settings, start)
        elif look.mono_s - start.at_mono_s > WATCHED_S:
            swing = replace(swing, after_start=None)
        elif start is not swing.after_start:
            swing = replace(swing, after_start=start)
    if stop is not None:
        way = -WAYS[stop.duty]
        stop = _further(stop, smooth_c, way)
        back_c = _came_back_c(stop, smooth_c, way)
        if back_c >= TURNED_C or look.mono_s - stop.at_mono_s > WATCHED_S:
            swing = _learn_coast(swing, settings, stop)
        elif stop is not swing.after_stop:
            swing = replace(swing, after_stop=stop)
    return swing


def _further(turn: Turn, smooth_c: float, way: float) -> Turn:
    return replace(turn, furthest_c=smooth_c) if way * (smooth_c - turn.furthest_c) > 0 else turn


def _came_back_c(turn: Turn, smooth_c: float, way: float) -> float:
    return way * (turn.furthest_c - smooth_c)


def _weight(runs: int) -> float:
    return max(WEIGHT, 1.0 / (runs + 1))


def _learn_lag(swing: Swing, settings: ChamberSettings, start: Turn) -> Swing:
    swing = replace(swing, after_start=None, peak_c=start.furthest_c)
    if not start.teaches:
        return swing
    known = swing.known(start.duty)
    band = settings.cool if start.duty is Duty.COOL else settings.heat
    seen_c = WAYS[start.duty] * (start.furthest_c - start.beer_c)
    lag_c = known.lag_c + WEIGHT * (seen_c - known.lag_c)
    known = replace(known, lag_c=min(max(lag_c, -band.band_c / 2), band.after_the_other_c))
    return _now_known(swing, start.duty, known)


def _learn_coast(
    swing: Swing, settings: ChamberSettings, stop: Turn, *, cut_short: bool = False
) -> Swing:
    swing = replace(swing, after_stop=None)
    duty, most_c = stop.duty, settings.foresight.most_c
    known = swing.known(duty)
    weight = _weight(known.runs)
    seen_c = min(max(WAYS[duty] * (stop.beer_c - stop.furthest_c), 0.0), most_c)
    if cut_short:
        # It was still going: what it went is the least that it would have.
        seen_c = min(max(seen_c, stop.foreseen_c) * CUT_SHORT, most_c)
    wrong_by_c = abs(seen_c - stop.foreseen_c)
    error_c = known.error_c + WEIGHT * (wrong_by_c - known.error_c) if known.runs else 0.0
    if not stop.teaches and is_right(replace(known, error_c=error_c), settings.foresight):
        # No ordinary run; but that it was foreseen wrongly counts, or a wrong belief could keep
        # every run from being an ordinary one. Once too wrong to act on, any run mends it.
        return _now_known(swing, duty, replace(known, error_c=error_c))
    known = replace(
        known,
        runs=known.runs + 1,
        coast_c=known.coast_c + weight * (seen_c - known.coast_c),
        difference_c=known.difference_c + weight * (stop.difference_c - known.difference_c),
        run_s=known.run_s + weight * (stop.run_s - known.run_s),
        least_swing_c=_least_swing_c(swing, settings, stop, known),
        error_c=error_c,
    )
    return _now_known(swing, duty, known)


def _least_swing_c(swing: Swing, settings: ChamberSettings, stop: Turn, known: Learned) -> float:
    """Return the least swing after one more run; one that could be ended at will lets it fade."""
    minimum_s = settings.by_duty[stop.duty].protection.minimum_run_s
    seen_c = 0.0
    if stop.run_s <= minimum_s + SHORTEST_RUN_ROOM_S and swing.peak_c is not None:
        seen_c = max(0.0, WAYS[stop.duty] * (swing.peak_c - stop.furthest_c))
    return known.least_swing_c + _weight(known.runs) * (seen_c - known.least_swing_c)
