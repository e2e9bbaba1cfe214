"""Room temperatures: constant, day and night, measured; and what is left of them behind a wall."""

from __future__ import annotations

from math import atan, pi, sin, sqrt

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from fermd.physics.ambient import (
    DAY_S,
    AmbientTrace,
    ConstantAmbient,
    DayNightAmbient,
    SampledAmbient,
)
from fermd.physics.errors import PhysicsError


def test_a_constant_room_is_constant_even_behind_a_wall() -> None:
    assert ConstantAmbient(12.5).temp_c(1e9) == 12.5
    assert ConstantAmbient(12.5).damped(3600.0).temp_c(-1e9) == 12.5


def test_the_afternoon_is_the_warmest_and_the_night_the_coldest() -> None:
    trace = DayNightAmbient(mean_c=15.0, amplitude_k=6.0)
    assert trace.temp_c(15 * 3600.0) == pytest.approx(21.0)
    assert trace.temp_c(3 * 3600.0) == pytest.approx(9.0)
    assert trace.temp_c(40 * DAY_S + 9 * 3600.0) == pytest.approx(15.0)


def test_a_garage_behind_six_hours_of_wall_swings_half_as_much_and_four_hours_later() -> None:
    damped = DayNightAmbient(15.0, 6.0).damped(6 * 3600.0)
    omega_tau = 2 * pi * 6 / 24
    assert damped.amplitude_k == pytest.approx(6.0 / sqrt(1 + omega_tau**2))
    assert damped.warmest_s - 15 * 3600.0 == pytest.approx(atan(omega_tau) * DAY_S / (2 * pi))


def test_samples_are_joined_by_lines_and_gaps_are_bridged() -> None:
    trace = SampledAmbient.from_samples(
        [(0.0, 10.0), (3600.0, 12.0), (7200.0, None), (10_800.0, None), (14_400.0, 6.0)]
    )
    assert trace.temp_c(1800.0) == pytest.approx(11.0)
    assert trace.temp_c(9000.0) == pytest.approx(9.0)
    assert trace.temp_c(-5.0) == 10.0
    assert trace.temp_c(99_999.0) == 6.0
    assert trace.temp_c(3600.0) == 12.0


@pytest.mark.parametrize(
    "trace",
    [
        DayNightAmbient(14.0, 8.0),
        SampledAmbient.from_samples(
            [(h * 3600.0, 14.0 + 8.0 * sin(h * 0.7) + (h % 5)) for h in range(49) if h % 7 != 3]
        ),
    ],
    ids=["day and night", "samples"],
)
def test_a_damped_trace_is_what_a_solver_makes_of_the_lag(
    trace: DayNightAmbient | SampledAmbient,
) -> None:
    tau_s = 3 * 3600.0
    damped = trace.damped(tau_s)
    asked = np.linspace(0.0, 60 * 3600.0, 61)
    solution = solve_ivp(
        lambda t, y: (trace.temp_c(t) - y) / tau_s,
        (0.0, asked[-1]),
        [damped.temp_c(0.0)],
        t_eval=asked,
        max_step=120.0,
        rtol=1e-8,
        atol=1e-8,
    )
    assert [damped.temp_c(t) for t in asked] == pytest.approx(list(solution.y[0]), abs=2e-4)


@given(st.floats(0.0, 1e6), st.floats(10.0, 1e5))
def test_a_wall_never_makes_a_room_more_extreme_than_its_samples(
    asked_s: float, tau_s: float
) -> None:
    trace: AmbientTrace = SampledAmbient((0.0, 1e5, 3e5, 9e5), (5.0, 25.0, -3.0, 12.0))
    assert -3.0 - 1e-9 <= trace.damped(tau_s).temp_c(asked_s) <= 25.0 + 1e-9


@pytest.mark.parametrize(
    ("times", "temps", "named"),
    [
        ((), (), "at least one"),
        ((0.0,), (1.0, 2.0), "1 times and 2 temperatures"),
        ((0.0, 0.0), (1.0, 2.0), "does not rise"),
        ((0.0, 5.0), (1.0, float("nan")), "sample 1"),
    ],
)
def test_a_trace_that_is_none_is_refused(
    times: tuple[float, ...], temps: tuple[float, ...], named: str
) -> None:
    with pytest.raises(PhysicsError, match=named):
        SampledAmbient(times, temps)


def test_a_lag_must_be_a_lag_and_is_laid_over_samples_once() -> None:
    with pytest.raises(PhysicsError, match="lag"):
        ConstantAmbient(1.0).damped(0.0)
    with pytest.raises(PhysicsError, match="twice"):
        SampledAmbient((0.0,), (1.0,)).damped(10.0).damped(10.0)
