"""A time-proportioned PID on the vessel probe: simple-pid, tuned for each plant by a known rule.

The law. The PID's output is a duty from -1 (cooling all the time) to +1 (heating all the time),
counted in cooling's strength: heat's share is scaled by what the step tests say of the two
(a split range). At the start of each window the output runs for its share of it. A share too short
for the output's minimum run (or leaving too short a pause) is not run but carried over to the next
window, so that a small duty is kept on average. The integral is limited to what the outputs can do
(simple-pid's own limits), and stands still while the output is at its limit (conditional
integration; Åström and Hägglund, "PID Controllers", 2nd ed. 1995, ch. 3.5).

The tuning. SIMC for an integrating process with delay (S. Skogestad, "Simple analytic rules for
model reduction and PID controller tuning", J. Process Control 13, 291-309, 2003): k' is the slope
of the beer under full cooling; θ is the apparent delay of its reaction curve (where the steepest
tangent meets the start) plus the probe's lag and half a window for the proportioning; then
τc = θ, Kc = 1 / (k' (τc + θ)), τI = 4 (τc + θ), no derivative. The step test is made on the
scenario's own thermal model and on the true beer: better knowledge of the plant than any brewer
has, since a taped probe's own reaction curve begins with the air's.
"""

from __future__ import annotations

from itertools import pairwise
from typing import NamedTuple

from scenario import HOUR_S, Scenario
from simple_pid import PID

from fermd.control.settings import ChamberSettings, Duty
from fermd.physics.thermal import Drive
from thermostats.thermostat import Running

WINDOW_S = 1800.0
"""Half an hour, unless another is given."""

TEST_S = 12 * HOUR_S
TEST_STEP_S = 60.0


class Reaction(NamedTuple):
    """What a step test shows: how fast the beer goes in the end, and how late its probe tells."""

    k_per_s: float
    delay_s: float


class Tuning(NamedTuple):
    """The constants of a PI controller of duty over °C."""

    gain_per_k: float
    integral_s: float


def reaction(scenario: Scenario, duty: Duty) -> Reaction:
    """Switch one output on for good, in a plant at rest, and compare with leaving it off."""
    model, ambient_c = scenario.model, scenario.ambient_c(scenario.start_utc_s)
    idle = Drive(ambient_c, fan=scenario.fan_always)
    works = idle._replace(cooling=duty is Duty.COOL, heating=duty is Duty.HEAT)
    left = driven = model.held(idle, scenario.start_c)
    moved_c = [0.0]
    for _ in range(round(TEST_S / TEST_STEP_S)):
        left, _ = model.advance(left, idle, TEST_STEP_S)
        driven, _ = model.advance(driven, works, TEST_STEP_S)
        moved_c.append(abs(driven.beer_c - left.beer_c))
    slopes = [(after - before) / TEST_STEP_S for before, after in pairwise(moved_c)]
    steepest = max(range(len(slopes)), key=slopes.__getitem__)
    k_per_s = slopes[steepest]
    late_s = max(0.0, steepest * TEST_STEP_S - moved_c[steepest] / k_per_s)
    return Reaction(k_per_s, late_s + model.network.vessel_probe_lag_s)


def simc(found: Reaction, window_s: float) -> Tuning:
    """Tune by SIMC, with half the window as delay on top of the plant's own."""
    delay_s = found.delay_s + window_s / 2.0
    closed_s = delay_s
    return Tuning(
        1.0 / (found.k_per_s * (closed_s + delay_s)),
        4.0 * (closed_s + delay_s),
    )


class ProportionedPid:
    """A law for `Guarded`."""

    def __init__(self, scenario: Scenario, window_s: float = WINDOW_S) -> None:
        found = {duty: reaction(scenario, duty) for duty in scenario.settings.by_duty}
        leading = found.get(Duty.COOL) or found[Duty.HEAT]
        self._tuning = simc(leading, window_s)
        self._heat_strength = 0.0
        if Duty.HEAT in found:
            self._heat_strength = found[Duty.HEAT].k_per_s / leading.k_per_s
        self._cools = Duty.COOL in found
        limits = (-1.0 if self._cools else 0.0, self._heat_strength)
        self._pid = PID(self._tuning.gain_per_k, 0.0, 0.0, sample_time=None, output_limits=limits)
        self._limits = limits
        self._window_s = window_s
        self._bounds_s = _bounds_s(scenario.settings)
        self._window_began_s = -window_s
        self._owed_s = 0.0
        self._runs = Running(cool=False, heat=False)
        self._runs_until_s = 0.0
        self._last_s: float | None = None
        self._duty = 0.0

    def call(self, at_s: float, vessel_c: float, target_c: float) -> Running:
        """Follow the reading; decide anew at the start of each window."""
        # The first look has none before it: a token second.
        passed_s = 1.0 if self._last_s is None else at_s - self._last_s
        self._last_s = at_s
        self._pid.setpoint = target_c
        self._pid.Ki = self._integral_gain(target_c - vessel_c)
        duty = self._duty = self._pid(vessel_c, dt=passed_s) or 0.0
        if at_s - self._window_began_s >= self._window_s:
            self._window_began_s = at_s
            self._plan_window(at_s, duty)
        if at_s >= self._runs_until_s:
            self._runs = Running(cool=False, heat=False)
        return self._runs

    def _integral_gain(self, error_c: float) -> float:
        low, high = self._limits
        pushes_on = (self._duty <= low and error_c < 0.0) or (self._duty >= high and error_c > 0.0)
        return 0.0 if pushes_on else self._tuning.gain_per_k / self._tuning.integral_s

    def _plan_window(self, at_s: float, duty: float) -> None:
        # What is owed carries its sign: negative is cooling.
        share = duty if duty < 0.0 else duty / self._heat_strength if self._heat_strength else 0.0
        self._owed_s += share * self._window_s
        for_s = abs(self._owed_s)
        kind = Duty.COOL if self._owed_s < 0.0 else Duty.HEAT
        least_s, pause_s = self._bounds_s.get(kind, (0.0, 0.0))
        runs_s = 0.0 if for_s < least_s else min(for_s, self._window_s)
        if self._window_s - pause_s < runs_s < self._window_s:
            runs_s = self._window_s - pause_s
        self._owed_s -= runs_s if self._owed_s > 0.0 else -runs_s
        # No more than a window is ever owed: a plant at its limit must not be paid back later.
        self._owed_s = min(max(self._owed_s, -self._window_s), self._window_s)
        self._runs = Running(
            cool=runs_s > 0.0 and kind is Duty.COOL, heat=runs_s > 0.0 and kind is Duty.HEAT
        )
        self._runs_until_s = at_s + runs_s


def _bounds_s(settings: ChamberSettings) -> dict[Duty, tuple[float, float]]:
    return {
        output.duty: (output.protection.minimum_run_s, output.protection.minimum_off_s)
        for output in settings.outputs
    }
