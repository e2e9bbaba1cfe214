"""How the beer swings about its target, and what is learned of the chamber from each swing.

On-off control lets the beer swing. A fridge or a heater that is switched goes on for a while as
before: after a stop its cold (or warmth) is still on the way to the beer, which coasts; after a
start it takes a while to reach it. Both are much alike from run to run. They are learned as what
the probe showed, in °C, and each call begins and ends so much early that the beer turns where the
bands say: as far above the target as below it, which for a given number of starts is the
smallest error there is (a saw-tooth of height h about its target has an RMS error of h/√12).

Learned for each side, as moving means over its runs:

- the coast: how far the beer goes on after a stop, in proportion to how far the air was from
  the beer at that moment, or without an air probe to how long the output had run;
- the lag: how far it goes on the old way after a start;
- the least swing: what a run of the minimum run time moves the beer. Where that is more than the
  bands are wide, a call waits until the beer is half of it away from the target;
- the error of what was foreseen. While it is too large the plain bands decide.

A beer that comes from afar is brought to the target itself and not beyond it. The side that did not
run last begins only beyond its changeover band, unless the beer has plainly turned away by itself.
All that is learned is bounded, is shown to the brewer, and can be switched off.

Assumed: noise of one step of a 12-bit probe (0.0625 °C), probes within ±0.5 °C of each other, a
vessel probe that follows within half an hour, room and fermentation that change over hours.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from fermd.control.replacing import replacer
from fermd.control.settings import ChamberSettings, Duty, ForesightSettings
from fermd.control.slow_drift import steadied
from fermd.control.steps import Target

SMOOTHED_S = 180.0
"""What turns are looked for in: the readings behind a lag of this, s. It takes the noise of the
probe to a fifth at a period of 10 s; beer that turns takes far longer."""

TURNED_C = 0.04
"""The smoothed beer has come back from its furthest by this, °C: it has turned."""

WATCHED_S = 3 * 3600.0
"""A coast is over after this at the latest, s; the chamber model's take 20 to 90 min."""

LEAST_DIFFERENCE_C = 1.5
"""Air less far from the beer than this, °C, tells nothing: two probes may be 1 °C apart."""

MOST_TIMES = 3.0
"""A coast is foreseen up to so many times what was seen so far."""

FIRST_C = 0.2
"""What is taken for the coast of a first run whose air tells nothing, °C: about what a heat belt
or a glycol jacket still gives (chamber model). A run that ends early is made up for by a second."""

WEIGHT = 0.3
"""How much a new run counts against all before, after the first ones."""

AFAR = 3.0
"""A call with the beer more than so many bands from its target brings it from afar."""

WAYS: Mapping[Duty, float] = {Duty.COOL: 1.0, Duty.HEAT: -1.0}
"""The side of the target on which an output is called for: above it, or below."""


@dataclass(frozen=True, slots=True)
class Learned:
    """What is known of one side."""

    runs: int = 0
    """So many runs have been seen to their turn."""
    coast_c: float = 0.0
    """How far the beer goes on after a stop, °C."""
    difference_c: float = 0.0
    """How far the air was beyond the beer at those stops, °C; 0 if that was not known."""
    run_s: float = 0.0
    """How long those runs were, s."""
    lag_c: float = 0.0
    """How far the beer goes on the old way after a start, °C."""
    least_swing_c: float = 0.0
    """How far a run of the minimum run time moves the beer, °C; 0 if none was so short."""
    centre_c: float = 0.0
    """How far the beer's mean would lie above the middle of its turns, °C: a fridge cools fast and
    its coast ends slowly."""
    error_c: float = 0.0
    """By how much what was foreseen of the coast was wrong in the mean, °C."""


@dataclass(frozen=True, slots=True)
class Turn:
    """A switching after which the beer has not turned yet."""

    duty: Duty
    at_mono_s: float
    beer_c: float
    """What the probe read at the switching."""
    furthest_c: float
    """The furthest that the smoothed beer has come since."""
    foreseen_c: float = 0.0
    """How far it was foreseen to go on."""
    difference_c: float = 0.0
    run_s: float = 0.0
    """After a stop: how long the output had run."""
    teaches: bool = True
    """false: what came before was no ordinary run."""


@dataclass(frozen=True, slots=True)
class Cycle:
    """The time since a start, while nothing disturbs it."""

    target_c: float
    off_cs: float = 0.0
    """Integral of the smoothed beer's distance above the target, °C s."""
    lasted_s: float = 0.0


@dataclass(frozen=True, slots=True)
class Swing:
    """What is known of the beer's swing."""

    learned: Mapping[Duty, Learned] = field(default_factory=dict)
    last: Duty | None = None
    """The side that ran last."""
    smooth_c: float | None = None
    steady_c: float | None = None
    """The beer by steadied readings, °C."""
    after_start: Turn | None = None
    after_stop: Turn | None = None
    peak_c: float | None = None
    """Where the beer turned after the last start."""
    afar: bool = False
    """Whether the present run brings the beer from afar."""
    stands_in: bool = False
    """Whether the present or last run was the first after the other side's, and came of beer that
    may not have gone there by itself."""
    narrowed: float = 1.0
    """The share of its band that the present or last run began with (`slow_drift.py`)."""
    cycle: Cycle | None = None
    """From the last start to the next one; None: it will not count."""


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


def fits(known: Learned, settings: ForesightSettings) -> bool:
    """Tell whether what is known of a side may be acted on."""
    return settings.foresee and known.error_c <= settings.largest_error_c


def coast_c(
    known: Learned,
    settings: ForesightSettings,
    duty: Duty,
    beer_c: float,
    air_c: float | None,
    run_s: float,
) -> float:
    """Return how far the beer goes on, °C, if a run that has lasted `run_s` ends now."""
    difference_c = _difference_c(duty, beer_c, air_c)
    if not known.runs:
        told = duty is Duty.COOL and air_c is not None
        return min(settings.first_share * difference_c if told else FIRST_C, settings.most_c)
    if air_c is not None and known.difference_c >= LEAST_DIFFERENCE_C:
        times = min(difference_c / known.difference_c, MOST_TIMES)
    else:
        times = min(run_s / known.run_s, 1.0) if known.run_s > 0 else 1.0
    return min(known.coast_c * times, settings.most_c)


def _difference_c(duty: Duty, beer_c: float, air_c: float | None) -> float:
    """Return how far the air is beyond the beer, °C; 0 if it is not or that is not known."""
    return 0.0 if air_c is None else max(0.0, WAYS[duty] * (beer_c - air_c))


NOTHING = Learned()


def to_go_c(stop: Turn, beer_c: float) -> float:
    """Return how far the beer is still to go after a stop, by what was foreseen, °C."""
    return WAYS[stop.duty] * (beer_c - stop.beer_c) + stop.foreseen_c


def learn(swing: Swing, settings: ChamberSettings, look: Look) -> Swing:
    """Follow the beer for one tick, after the outputs were decided."""
    beer_c, running, was = look.beer_c, look.running, look.was_running
    if beer_c is None:
        lost = Swing(swing.learned, running or swing.last)
        return swing if swing == lost else lost
    before_c = swing.smooth_c
    share = look.passed_s / (look.passed_s + SMOOTHED_S)
    smooth_c = beer_c if before_c is None else before_c + share * (beer_c - before_c)
    swing = _SMOOTHED(swing, smooth_c, steadied(swing.steady_c, beer_c, look.passed_s))
    if running is not None and running is not was:
        swing = _started(swing, settings, look, running, beer_c, smooth_c)
    elif was is not None and running is not was:
        swing = _stopped(swing, settings, look, was, beer_c, smooth_c)
    else:
        swing = _follow(swing, settings, look, smooth_c)
    return _through_cycle(_from_afar(swing, settings, look, beer_c), look, smooth_c)


_SMOOTHED = replacer(Swing, "smooth_c", "steady_c")


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
    if target_c != cycle.target_c or swing.afar:
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
    known = swing.learned.get(duty, NOTHING)
    band = settings.cool if duty is Duty.COOL else settings.heat
    centre_c = known.centre_c + WEIGHT * cycle.off_cs / cycle.lasted_s
    centre_c = min(max(centre_c, -band.band_c / 2), band.band_c / 2)
    return replace(swing, learned={**swing.learned, duty: replace(known, centre_c=centre_c)})


def _started(
    swing: Swing, settings: ChamberSettings, look: Look, duty: Duty, beer_c: float, smooth_c: float
) -> Swing:
    stop = swing.after_stop
    if stop is not None:
        turned = _came_back_c(stop, smooth_c, -WAYS[stop.duty]) >= TURNED_C / 2
        # The other side was called for before the beer had turned: it went so far at least.
        if turned or stop.duty is not duty:
            swing = _learn_coast(swing, settings, stop)
    swing = _learn_centre(swing, settings, duty)
    band = settings.cool if duty is Duty.COOL else settings.heat
    target_c = None if look.target is None else _of(look.target, duty)
    # A start far from the target came of a new target, and not of beer that drifted there.
    near = target_c is not None and abs(beer_c - target_c) <= 2 * band.band_c
    start = Turn(duty, look.mono_s, beer_c, smooth_c, teaches=near and swing.last is duty)
    took_over = swing.last is not None and swing.last is not duty
    counts = near and not took_over and target_c is not None
    return replace(
        swing,
        last=duty,
        after_start=start,
        after_stop=None,
        peak_c=None,
        stands_in=took_over and not look.left_by_itself,
        narrowed=look.narrowed,
        cycle=Cycle(target_c) if counts and target_c is not None else None,
    )


def _stopped(
    swing: Swing, settings: ChamberSettings, look: Look, duty: Duty, beer_c: float, smooth_c: float
) -> Swing:
    known = swing.learned.get(duty, NOTHING)
    stop = Turn(
        duty,
        look.mono_s,
        beer_c,
        smooth_c,
        coast_c(known, settings.foresight, duty, beer_c, look.air_c, look.run_s),
        _difference_c(duty, beer_c, look.air_c),
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
    known = swing.learned.get(start.duty, NOTHING)
    band = settings.cool if start.duty is Duty.COOL else settings.heat
    seen_c = WAYS[start.duty] * (start.furthest_c - start.beer_c)
    lag_c = known.lag_c + WEIGHT * (seen_c - known.lag_c)
    known = replace(known, lag_c=min(max(lag_c, -band.band_c / 2), band.after_the_other_c))
    return replace(swing, learned={**swing.learned, start.duty: known})


def _learn_coast(swing: Swing, settings: ChamberSettings, stop: Turn) -> Swing:
    swing = replace(swing, after_stop=None)
    duty, most_c = stop.duty, settings.foresight.most_c
    known = swing.learned.get(duty, NOTHING)
    weight = _weight(known.runs)
    seen_c = min(max(WAYS[duty] * (stop.beer_c - stop.furthest_c), 0.0), most_c)
    wrong_by_c = abs(seen_c - stop.foreseen_c)
    error_c = known.error_c + WEIGHT * (wrong_by_c - known.error_c) if known.runs else 0.0
    if not stop.teaches:
        # No ordinary run; but that it was foreseen wrongly counts, or a wrong belief could keep
        # every run from being an ordinary one.
        return replace(swing, learned={**swing.learned, duty: replace(known, error_c=error_c)})
    known = replace(
        known,
        runs=known.runs + 1,
        coast_c=known.coast_c + weight * (seen_c - known.coast_c),
        difference_c=known.difference_c + weight * (stop.difference_c - known.difference_c),
        run_s=known.run_s + weight * (stop.run_s - known.run_s),
        least_swing_c=_least_swing_c(swing, settings, stop, known),
        error_c=error_c,
    )
    return replace(swing, learned={**swing.learned, duty: known})


def _least_swing_c(swing: Swing, settings: ChamberSettings, stop: Turn, known: Learned) -> float:
    """Return the least swing after one more run; one that could be ended at will lets it fade."""
    minimum_s = settings.by_duty[stop.duty].protection.minimum_run_s
    seen_c = 0.0
    if stop.run_s <= minimum_s + SHORTEST_RUN_ROOM_S and swing.peak_c is not None:
        seen_c = max(0.0, WAYS[stop.duty] * (swing.peak_c - stop.furthest_c))
    return known.least_swing_c + WEIGHT * (seen_c - known.least_swing_c)


SHORTEST_RUN_ROOM_S = 60.0
"""A run that is no longer than this beyond the minimum run time was held by it, s: the longest
sample period."""
