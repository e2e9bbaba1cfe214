"""How the beer swings about its target, and what is learned of the chamber from each swing.

On-off control lets the beer swing. A fridge or a heater that is switched goes on for a while as
before: after a stop its cold (or warmth) is still on the way to the beer, which coasts; after a
start it takes a while to reach it. Both are much alike from run to run. They are learned as what
the probe showed, in °C, and each call begins and ends so much early that the beer turns where the
bands say: as far above the target as below it, which for a given number of starts is the
smallest error there is (a saw-tooth of height h about its target has an RMS error of h/√12).

Learned for each side, as moving means over its runs:

- the coast: how far the beer goes on after a stop, in proportion to how far the air was from
  the beer at that moment (after a shorter run than usual by the root of it: its plate is colder
  than the air tells as yet), or without an air probe to how long the output had run;
- the lag: how far it goes on the old way after a start;
- the least swing: what a run of the minimum run time moves the beer. Where that is more than the
  bands are wide, a call waits until the beer is half of it away from the target;
- the error of what was foreseen. While it is too large the plain bands decide, which is to
  foresee no coast at all.

A beer that comes from afar is brought to the target itself and not beyond it. The side that did not
run last begins only beyond its changeover band, unless the beer has plainly turned away by itself.
All that is learned is bounded, is shown to the brewer, and can be switched off.

Assumed: noise of one step of a 12-bit probe (0.0625 °C), probes within ±0.5 °C of each other, a
vessel probe that follows within half an hour, room and fermentation that change over hours.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from math import sqrt

from fermd.control.resting import Rest
from fermd.control.settings import Duty, ForesightSettings

LEAST_DIFFERENCE_C = 1.5
"""Air less far from the beer than this, °C, tells nothing: two probes may be 1 °C apart."""

MOST_TIMES = 3.0
"""A coast is foreseen up to so many times what was seen so far."""

FIRST_C = 0.2
"""The least that is taken for the coast of a first run of heat, or of one without an air probe, °C:
what a belt or a glycol jacket still gives (chamber model). A run that ends early is made up for by
a second."""

WRONG_SHARE = 0.5
"""A coast may be foreseen wrongly by so much of itself, if that is more than is set: the plain
bands are wrong by the whole of it."""

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


NOTHING = Learned()


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
    rest: Rest | None = None
    """How the beer drifted when all had rested; None: not known, or of another target."""
    cycle: Cycle | None = None
    """From the last start to the next one; None: it will not count."""
    air_c: float | None = None
    """The air, a minute behind, °C."""
    along_c: float = 0.0
    """How far ramps have moved the target, °C. The turns, the cycle and the smoothed beer are kept
    as though they had not, so that beer on a ramp swings about its target as in a hold."""
    on_ramp: Mapping[Duty, Learned] | None = None
    """What is known of each side on the present ramp; None: there is none."""

    def known(self, duty: Duty) -> Learned:
        """Return what is known of a side, on the ramp if there is one."""
        learned = self.learned if self.on_ramp is None else self.on_ramp
        return learned.get(duty, NOTHING)


def fits(known: Learned, settings: ForesightSettings) -> bool:
    """Tell whether what is known of a side may be acted on."""
    return settings.foresee and is_right(known, settings)


def is_right(known: Learned, settings: ForesightSettings) -> bool:
    """Tell whether what is known of a side has been right enough to be acted on."""
    return known.error_c <= max(settings.largest_error_c, WRONG_SHARE * known.coast_c)


def coast_c(
    known: Learned,
    settings: ForesightSettings,
    duty: Duty,
    beer_c: float,
    air_c: float | None,
    run_s: float,
) -> float:
    """Return how far the beer goes on, °C, if a run that has lasted `run_s` ends now."""
    away_c = difference_c(duty, beer_c, air_c)
    if not known.runs:
        told_c = settings.first_share * away_c
        if duty is Duty.HEAT or air_c is None:
            told_c = max(told_c, FIRST_C)
        return min(told_c, settings.most_c)
    times = away_c / max(known.difference_c, LEAST_DIFFERENCE_C)
    if air_c is None or known.difference_c < LEAST_DIFFERENCE_C:
        # The air told nothing of those runs; of one that goes on for much longer it may.
        times = max(times, min(run_s / known.run_s, 1.0) if known.run_s > 0 else 1.0)
    elif times < 1.0:
        times = sqrt(times)
    return min(known.coast_c * min(times, MOST_TIMES), settings.most_c)


def difference_c(duty: Duty, beer_c: float, air_c: float | None) -> float:
    """Return how far the air is beyond the beer, °C; 0 if it is not or that is not known."""
    return 0.0 if air_c is None else max(0.0, WAYS[duty] * (beer_c - air_c))


def to_go_c(swing: Swing, stop: Turn, beer_c: float) -> float:
    """Return how far the beer is still to go after a stop, by what was foreseen, °C."""
    return WAYS[stop.duty] * (beer_c - swing.along_c - stop.beer_c) + stop.foreseen_c
