"""The temperature of the room around the chamber, as a function of wall time.

A trace is a value with one question to it, `temp_c(wall_utc_s)`; the same second always gives the
same answer. `damped(tau_s)` gives the trace that a body with a first-order lag follows: a garage
or a cellar behind its walls. It is exact (no stepping), and it is a trace again.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable
from dataclasses import dataclass, field
from itertools import pairwise
from math import atan2, cos, exp, expm1, hypot, isfinite, pi
from typing import Final, Protocol, Self

from fermd.physics.errors import PhysicsError, require

DAY_S: Final = 86_400.0


class AmbientTrace(Protocol):
    """A room temperature for every second."""

    def temp_c(self, wall_utc_s: float) -> float:
        """Return the temperature at a wall time in seconds."""
        ...

    def damped(self, tau_s: float) -> AmbientTrace:
        """Return this trace behind a first-order lag of time constant `tau_s` (above 0)."""
        ...


@dataclass(frozen=True, slots=True)
class ConstantAmbient:
    """A room that never changes."""

    held_c: float

    def temp_c(self, wall_utc_s: float) -> float:  # noqa: ARG002
        """Return the one temperature."""
        return self.held_c

    def damped(self, tau_s: float) -> Self:
        """Return itself: a lag does nothing to a constant."""
        _require_lag(tau_s)
        return self


@dataclass(frozen=True, slots=True)
class DayNightAmbient:
    """A sine of 24 hours: `mean_c` plus and minus `amplitude_k`, warmest at `warmest_s`.

    `warmest_s` is in seconds after midnight UTC; 15 h is usual outdoors.
    """

    mean_c: float
    amplitude_k: float
    warmest_s: float = 15 * 3600.0

    def temp_c(self, wall_utc_s: float) -> float:
        """Return the temperature at a wall time."""
        phase = 2.0 * pi * (wall_utc_s - self.warmest_s) / DAY_S
        return self.mean_c + self.amplitude_k * cos(phase)

    def damped(self, tau_s: float) -> DayNightAmbient:
        """Return the sine behind a lag: smaller by 1/√(1+(ωτ)²), later by atan(ωτ)/ω."""
        omega_tau = 2.0 * pi / DAY_S * _require_lag(tau_s)
        later_s = atan2(omega_tau, 1.0) * DAY_S / (2.0 * pi)
        return DayNightAmbient(
            self.mean_c, self.amplitude_k / hypot(1.0, omega_tau), self.warmest_s + later_s
        )


@dataclass(frozen=True, slots=True)
class SampledAmbient:
    """Measured samples, joined by straight lines; gaps are bridged the same way.

    Before the first and after the last sample their values hold. With `lag_s` above 0 the trace is
    what a body with that time constant reads, settled at the first sample.
    """

    times_s: tuple[float, ...]
    samples_c: tuple[float, ...]
    lag_s: float = 0.0
    _lagged_c: tuple[float, ...] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        """Check the samples.

        Raises:
            PhysicsError: no samples, unequal lengths, times that do not rise, or not a number.

        """
        if not self.times_s or len(self.times_s) != len(self.samples_c):
            raise PhysicsError(
                f"ambient trace: {len(self.times_s)} times and {len(self.samples_c)} temperatures; "
                "needs as many of each, and at least one"
            )
        for index, (time_s, temp_c) in enumerate(zip(self.times_s, self.samples_c, strict=True)):
            if not (isfinite(time_s) and isfinite(temp_c)):
                raise PhysicsError(f"ambient trace: sample {index} is not a number")
        for index, (before_s, after_s) in enumerate(pairwise(self.times_s)):
            if not after_s > before_s:
                raise PhysicsError(f"ambient trace: time of sample {index + 1} does not rise")
        object.__setattr__(self, "_lagged_c", self._lagged())

    @classmethod
    def from_samples(cls, samples: Iterable[tuple[float, float | None]]) -> Self:
        """Build a trace from (seconds, °C) pairs; a pair without a temperature is a gap."""
        known = [(time_s, temp_c) for time_s, temp_c in samples if temp_c is not None]
        return cls(tuple(time_s for time_s, _ in known), tuple(temp_c for _, temp_c in known))

    def temp_c(self, wall_utc_s: float) -> float:
        """Return the temperature at a wall time."""
        times = self.times_s
        if wall_utc_s <= times[0]:
            return self.samples_c[0]
        index = bisect_right(times, wall_utc_s) - 1
        slope_k_per_s = 0.0
        if index < len(times) - 1:
            rise_k = self.samples_c[index + 1] - self.samples_c[index]
            slope_k_per_s = rise_k / (times[index + 1] - times[index])
        since_s = wall_utc_s - times[index]
        if self.lag_s == 0.0:
            return self.samples_c[index] + slope_k_per_s * since_s
        return _follow_ramp(
            self._lagged_c[index], self.samples_c[index], slope_k_per_s, since_s, self.lag_s
        )

    def damped(self, tau_s: float) -> SampledAmbient:
        """Return the trace behind a lag: the exact answer to each straight piece in turn.

        Raises:
            PhysicsError: this trace is behind a lag already.

        """
        if self.lag_s > 0.0:
            raise PhysicsError("ambient trace: damped twice; damp the measured trace once")
        return SampledAmbient(self.times_s, self.samples_c, _require_lag(tau_s))

    def _lagged(self) -> tuple[float, ...]:
        if self.lag_s == 0.0:
            return self.samples_c
        lagged = [self.samples_c[0]]
        points = zip(self.times_s, self.samples_c, strict=True)
        for (before_s, before_c), (after_s, after_c) in pairwise(points):
            span_s = after_s - before_s
            slope_k_per_s = (after_c - before_c) / span_s
            lagged.append(_follow_ramp(lagged[-1], before_c, slope_k_per_s, span_s, self.lag_s))
        return tuple(lagged)


def _follow_ramp(
    start_c: float, input_c: float, slope_k_per_s: float, span_s: float, tau_s: float
) -> float:
    """Return where a first-order lag stands `span_s` after `start_c`, its input a ramp."""
    decay = exp(-span_s / tau_s)
    ramp_k = slope_k_per_s * (span_s + tau_s * expm1(-span_s / tau_s))
    return input_c + (start_c - input_c) * decay + ramp_k


def _require_lag(tau_s: float) -> float:
    return require("lag", tau_s, 1e-3, 1e8)
