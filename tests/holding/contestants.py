"""Who takes part in the comparison, by name: `fermd`, `on-off`, `pid`, `best`.

A rival's knob can be set after a colon: `on-off:0.5` has a differential of 0.5 °C, `pid:60` a
window of 60 minutes. `on-off:even` and `pid:even` have theirs set for each scenario so that they
take about as many starts as fermd does there, and no fewer: on-off control holds better the more
often it switches, and only who switches as often can be compared by the error alone.
"""

from __future__ import annotations

from trace import Trace
from typing import Final

from figures import figures
from run import run
from scenario import Scenario
from thermostats.as_shipped import AsShipped
from thermostats.guarded import Guarded
from thermostats.on_off import DIFFERENTIAL_C, OnOff
from thermostats.proportioned_pid import WINDOW_S, ProportionedPid
from thermostats.thermostat import Thermostat

FERMD: Final = "fermd"
ON_OFF: Final = "on-off"
PID: Final = "pid"
BEST: Final = "best"
"""Not a thermostat: what could have been done with full knowledge."""

SWEPT: Final = {
    ON_OFF: (0.1, 0.2, 0.3, 0.5, 0.8, 1.2),
    PID: (10.0, 20.0, 30.0, 45.0, 60.0, 90.0, 120.0, 180.0),
}
"""The settings of each rival's knob that a sweep runs: °C of differential, minutes of window."""


EVEN: Final = "even"
"""In place of a knob: as many starts as fermd takes."""

WIDEST: Final = {ON_OFF: 1.0, PID: 360.0}
"""Where the search for such a setting begins: °C of differential, minutes of window."""

NARROWER: Final = 1.1
"""Each setting that is tried is so much narrower than the one before ..."""

ENOUGH: Final = 1.2
"""... until it takes so many times as many starts as fermd; of those that take as many or more,
the one that takes the fewest is even with it."""


class NobodyCalledSoError(ValueError):
    """A name that is no contestant's."""


def checked(name: str) -> str:
    """Return the name if somebody is called so.

    Raises:
        NobodyCalledSoError: nobody is; the text says who there is.

    """
    who, colon, knob = name.partition(":")
    if who in {FERMD, BEST} and not colon:
        return name
    if who in {ON_OFF, PID}:
        if knob == EVEN:
            return name
        try:
            if not colon or 0.0 < float(knob) < 1e4:
                return name
        except ValueError:
            pass
    raise NobodyCalledSoError(
        f"nobody is called {name!r}; there are {FERMD}, {ON_OFF}, {PID} and {BEST}, and "
        f"{ON_OFF}:0.5 (°C of differential) or {PID}:60 (minutes of window) for a knob"
    )


def thermostat(scenario: Scenario, name: str) -> Thermostat:
    """Return a contestant for a scenario."""
    who, _, knob = name.partition(":")
    if who == ON_OFF:
        return Guarded(scenario, OnOff(float(knob) if knob else DIFFERENTIAL_C))
    if who == PID:
        window_s = float(knob) * 60.0 if knob else WINDOW_S
        return Guarded(scenario, ProportionedPid(scenario, window_s))
    return AsShipped(scenario)


def run_contestant(
    scenario: Scenario,
    name: str,
    seed: int,
    most_starts_a_day: float | None,
    starts_a_day: float = 0.0,
) -> Trace:
    """Run one contestant.

    The best possible is allowed no more starts than are given, of cooling and heat together; who is
    to be even takes at least `starts_a_day`.
    """
    who, _, knob = name.partition(":")
    if knob == EVEN:
        return run_even(scenario, who, seed, starts_a_day)
    if name == BEST:
        # The search is the one part that takes minutes, and is loaded only when it is wanted.
        from best_possible import best_possible

        return best_possible(scenario, seed, most_starts_a_day)
    return run(scenario, thermostat(scenario, name), name, seed)


def run_even(scenario: Scenario, rival: str, seed: int, starts_a_day: float) -> Trace:
    """Run a rival with the setting that takes as many starts as these, or the fewest more."""
    knob, wanted = WIDEST[rival], max(starts_a_day, 0.1)
    even: tuple[float, Trace] | None = None
    while True:
        name = f"{rival}:{knob:.3g}"
        trace = run(scenario, thermostat(scenario, name), name, seed)
        starts = figures(scenario, trace).starts_a_day
        if starts >= wanted and (even is None or starts < even[0]):
            even = starts, trace
        if even is not None and starts >= ENOUGH * wanted:
            return even[1]
        knob /= NARROWER
