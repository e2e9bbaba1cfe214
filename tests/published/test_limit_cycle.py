"""The on-off limit cycle of a first-order process with dead time, against its closed form.

The process T·dy/dt = -y + u(t - L) goes towards `warm` while the relay is off and towards `cold`
while it is on. The relay switches on where y reaches `hi` and off where it reaches `lo`. With
e = exp(-L/T) the exact cycle is, by the method of steps,

    y_max = warm + (hi - warm)·e          y_min = cold + (lo - cold)·e
    t_off = L + T·ln((warm - y_min)/(warm - hi))
    t_on  = L + T·ln((y_max - cold)/(lo - cold))

which is the relay experiment of Åström and Hägglund, "Automatic tuning of simple regulators with
specifications on phase and amplitude margins", Automatica 20(5), 645-651, 1984. The numbers below
were worked out once from the formulas, and by time-stepping apart from this program.

The relay is the real one: bands and protection (without times) of the core, on a process that is
stepped exactly. The core sees it once every `dt`, so each of the two switchings comes up to one dt
late: 2 dt in a period. While it is late the process goes on at its own speed, at most
(warm - cold)/T, which bounds what is added to the extremes; and the way back from there takes
longer, by d(t_on)/d(y_max) and d(t_off)/d(y_min) of the formulas above, which is `way_back`.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass

import pytest

from fermd.control.bands import Call, Edges, call
from fermd.control.protection import History, Surroundings, protect
from fermd.control.settings import (
    Duty,
    OutputKind,
    OutputSettings,
    ProtectionSettings,
)


@dataclass(frozen=True)
class Case:
    """One worked cycle: the process (s, °C), the switching points, and what comes out."""

    lag_s: float
    dead_s: float
    warm_c: float
    cold_c: float
    hi_c: float
    lo_c: float
    max_c: float
    min_c: float
    off_s: float
    on_s: float

    @property
    def period_s(self) -> float:
        return self.off_s + self.on_s


CASES = [
    Case(10, 2, 1, -1, 0.1, -0.1, 0.263142, -0.263142, 5.389630, 5.389630),
    Case(10, 2, 1, -1, 0.0, 0.0, 0.181269, -0.181269, 3.665895, 3.665895),
    Case(7200, 300, 25, -5, 12.5, 11.5, 13.010132, 10.826626, 1204.5827, 930.5335),
    Case(7200, 0, 25, -5, 12.5, 11.5, 12.5, 11.5, 554.119, 423.652),
    Case(7200, 300, 25, -5, 12.2, 11.8, 12.72237, 11.11438, 886.140, 684.833),
    Case(3600, 120, 20, -10, 4.5, 3.5, 5.00815, 3.05742, 440.364, 501.253),
    Case(14400, 600, 22, -8, 10.5, 9.5, 10.96932, 8.78582, 2600.791, 1760.959),
]
PERIODS = [10.779261, 7.331790, 2135.1162, 977.771, 1570.974, 941.618, 4361.749]
IDS = [f"case {number}" for number in range(1, 8)]

STEPS = 4000
"""Steps of dt in the shorter half of a period: 2 dt are less than 0.03 % of the period."""


@dataclass(frozen=True)
class Cycle:
    """What a simulated cycle came to."""

    max_c: float
    min_c: float
    off_s: float
    on_s: float


def closed_form(case: Case) -> Cycle:
    decay = math.exp(-case.dead_s / case.lag_s)
    max_c = case.warm_c + (case.hi_c - case.warm_c) * decay
    min_c = case.cold_c + (case.lo_c - case.cold_c) * decay
    return Cycle(
        max_c,
        min_c,
        case.dead_s + case.lag_s * math.log((case.warm_c - min_c) / (case.warm_c - case.hi_c)),
        case.dead_s + case.lag_s * math.log((max_c - case.cold_c) / (case.lo_c - case.cold_c)),
    )


def way_back(case: Case) -> tuple[float, float]:
    """How much longer the off and the on part become for each second that the other was late."""
    decay = math.exp(-case.dead_s / case.lag_s)
    return (
        (case.lo_c - case.cold_c) * decay / (case.warm_c - case.min_c),
        (case.warm_c - case.hi_c) * decay / (case.max_c - case.cold_c),
    )


def simulated(case: Case, dt_s: float) -> Cycle:
    """Let the core's own relay run the process until the cycle has settled, and take the last."""
    target_c = (case.hi_c + case.lo_c) / 2
    edges = Edges(-1e6, -1e6, cool_from_c=case.hi_c, cool_until_c=case.lo_c)
    bare = ProtectionSettings(longest_run_s=1e9)
    fridge = OutputSettings("fridge", "17", Duty.COOL, OutputKind.VALVE, bare)
    history, called = History(), Call.IDLE
    pipe = deque([False] * round(case.dead_s / dt_s))
    decay = math.exp(-dt_s / case.lag_s)
    y_c = target_c
    switched_s: list[float] = []
    extremes_c: list[float] = []
    reached_c = y_c
    step = 0
    while len(switched_s) < 21:
        now_s = step * dt_s
        called = call(edges, y_c, called).call
        made = protect(history, fridge, called is Call.COOL, Surroundings(), now_s)
        if made.on != history.on:
            switched_s.append(now_s)
        history = made.history
        pipe.append(made.on)
        cooled = pipe.popleft()
        towards_c = case.cold_c if cooled else case.warm_c
        before_c, y_c = y_c, towards_c + (y_c - towards_c) * decay
        if (y_c - before_c) * (before_c - reached_c) < 0:
            extremes_c.append(before_c)
        reached_c = before_c
        step += 1
    # The relay switched on at an odd count (the first switching is on).
    on_s = switched_s[-2] - switched_s[-3] if history.on else switched_s[-1] - switched_s[-2]
    off_s = switched_s[-1] - switched_s[-2] if history.on else switched_s[-2] - switched_s[-3]
    last_c: Sequence[float] = extremes_c[-2:]
    return Cycle(max(last_c), min(last_c), off_s, on_s)


@pytest.mark.parametrize(("case", "period_s"), list(zip(CASES, PERIODS, strict=True)), ids=IDS)
def test_the_closed_form_gives_the_worked_numbers(case: Case, period_s: float) -> None:
    exact = closed_form(case)
    assert exact.max_c == pytest.approx(case.max_c, abs=1e-5)
    assert exact.min_c == pytest.approx(case.min_c, abs=1e-5)
    assert exact.off_s == pytest.approx(case.off_s, abs=1e-3)
    assert exact.on_s == pytest.approx(case.on_s, abs=1e-3)
    assert exact.off_s + exact.on_s == pytest.approx(period_s, abs=1e-3)


@pytest.mark.parametrize("case", CASES, ids=IDS)
def test_the_relay_cycles_as_the_closed_form_says(case: Case) -> None:
    dt_s = min(case.on_s, case.off_s) / STEPS
    if case.dead_s:
        # The dead time has to be a whole number of steps, or it is another process.
        dt_s = case.dead_s / math.ceil(case.dead_s / dt_s)
    cycle = simulated(case, dt_s)
    late_c = dt_s * (case.warm_c - case.cold_c) / case.lag_s
    rounding = 1e-3
    off_back, on_back = way_back(case)
    longest_s = case.period_s + (2 + off_back + on_back) * dt_s
    assert case.period_s - rounding <= cycle.on_s + cycle.off_s <= longest_s + rounding
    assert cycle.off_s == pytest.approx(case.off_s, abs=(1 + off_back) * dt_s + rounding)
    assert cycle.on_s == pytest.approx(case.on_s, abs=(1 + on_back) * dt_s + rounding)
    assert case.max_c - rounding <= cycle.max_c <= case.max_c + late_c + rounding
    assert case.min_c - late_c - rounding <= cycle.min_c <= case.min_c + rounding


@pytest.mark.parametrize(
    ("number", "starts_per_hour"),
    [(3, 1.6861), (4, 3.6818), (5, 2.2916), (6, 3.8232), (7, 0.8254)],
)
def test_the_starts_an_hour_of_a_chamber_follow_from_its_cycle(
    number: int, starts_per_hour: float
) -> None:
    case = CASES[number - 1]
    dt_s = 1.0
    cycle = simulated(case, dt_s)
    simulated_per_hour = 3600.0 / (cycle.on_s + cycle.off_s)
    late = (2 + sum(way_back(case))) * dt_s / case.period_s
    assert simulated_per_hour == pytest.approx(starts_per_hour, rel=late + 1e-4)


def test_the_swing_is_wider_than_the_differential_by_what_the_dead_time_adds() -> None:
    """Case 3: 0.510132 °C above the upper and 0.673374 °C below the lower switching point."""
    case = CASES[2]
    cycle = simulated(case, 0.5)
    late_c = 0.5 * (case.warm_c - case.cold_c) / case.lag_s
    assert cycle.max_c - case.hi_c == pytest.approx(0.510132, abs=late_c)
    assert case.lo_c - cycle.min_c == pytest.approx(0.673374, abs=late_c)
