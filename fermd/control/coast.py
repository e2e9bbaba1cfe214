"""How far the beer goes on cooling after the fridge is switched off, learned from each run.

When cooling ends, the chamber's air, walls and evaporator are colder than the beer, and warm up at
its cost: the beer coasts. How far is, to a good approximation, in proportion to how much colder
the air was at that moment; the share is the ratio of the chamber's heat capacity to the beer's,
less what the room gives meanwhile (20 l of beer: 84 kJ/K; liner, evaporator and air of a 150 l
fridge: 3 to 6 kJ/K by the chamber model; hence a share of some hundredths).

So a call for cooling ends when the beer, less what it is going to coast, has come to where the
call ends. The share is learned from what the beer did after earlier stops (a moving mean), is
bounded, is shown to the brewer, and can be switched off; without a trusted air probe the plain
bands decide.

Assumed: probes within ±0.5 °C of each other, noise of one step of 0.0625 °C, a vessel probe that
follows within half an hour.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from fermd.control.settings import CoastSettings

LEAST_DIFFERENCE_C = 3.0
"""A stop with the air less than this colder than the beer, °C, teaches nothing: two probes may be
1 °C apart, and a step of the probe is 0.06 °C."""

WATCHED_S = 2 * 3600.0
"""A coast is over after this long at the latest, s: 47 min in the chamber model, and a margin."""

OVER_C = 0.07
"""The beer has come back from its lowest by more than a step of the probe, °C: it is over, if it
has had the time to show (`LEAST_S`) ..."""

LEAST_S = 1800.0
"""... because a vessel probe lags, and its noise comes back by a step at any time, s."""

SURELY_OVER_C = 0.25
"""It has come back by this, °C, whatever the time: something warms it."""

WEIGHT = 0.3
"""How much a new observation counts against all before: ten of them have forgotten the start."""


@dataclass(frozen=True, slots=True)
class Stop:
    """The end of a run of cooling whose coast is being watched."""

    at_mono_s: float
    beer_c: float
    difference_c: float
    """How much colder the air was than the beer."""
    lowest_c: float


@dataclass(frozen=True, slots=True)
class Coast:
    """What is known of a chamber's coasting."""

    share: float | None = None
    """How far the beer coasts for each °C that the air is colder; None: nothing learned yet."""
    stop: Stop | None = None


def foreseen_c(
    coast: Coast, settings: CoastSettings, *, cooling: bool, beer_c: float, air_c: float | None
) -> float:
    """Return how far the beer goes on cooling by itself, °C; never negative.

    While cooling is on: if it ended now. After it has ended: what is left of the way.
    """
    if not settings.foresee:
        return 0.0
    share = coast.share if coast.share is not None else settings.first_share
    share = min(share, settings.highest_share)
    if cooling:
        return 0.0 if air_c is None else max(0.0, beer_c - air_c) * share
    stop = coast.stop
    if stop is None:
        return 0.0
    return max(0.0, beer_c - (stop.beer_c - stop.difference_c * share))


def learn(
    coast: Coast,
    settings: CoastSettings,
    *,
    was_on: bool,
    is_on: bool,
    disturbed: bool,
    beer_c: float | None,
    air_c: float | None,
    mono_s: float,
) -> Coast:
    """Follow cooling for one tick; `disturbed` if heat is on or a probe is not trusted."""
    if is_on or disturbed or beer_c is None:
        return coast if coast.stop is None else replace(coast, stop=None)
    if was_on:
        if air_c is None or beer_c - air_c < LEAST_DIFFERENCE_C:
            return replace(coast, stop=None)
        return replace(coast, stop=Stop(mono_s, beer_c, beer_c - air_c, beer_c))
    stop = coast.stop
    if stop is None:
        return coast
    if beer_c < stop.lowest_c:
        return replace(coast, stop=replace(stop, lowest_c=beer_c))
    watched_s, back_c = mono_s - stop.at_mono_s, beer_c - stop.lowest_c
    over = back_c >= SURELY_OVER_C or (back_c >= OVER_C and watched_s >= LEAST_S)
    if not over and watched_s < WATCHED_S:
        return coast
    seen = (stop.beer_c - stop.lowest_c) / stop.difference_c
    before = coast.share if coast.share is not None else settings.first_share
    share = before + WEIGHT * (seen - before)
    return Coast(min(max(share, 0.0), settings.highest_share))
