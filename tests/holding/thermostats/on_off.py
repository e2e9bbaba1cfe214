"""A plain on-off thermostat: one band around the target, on the vessel probe.

Cooling goes on at the target plus the differential and off at the target; heating goes on at the
target minus the differential and off at the target. Common practice, no source; the differential
is fermd's own band, 0.3 °C, unless another is given.
"""

from __future__ import annotations

from thermostats.thermostat import Running

DIFFERENTIAL_C = 0.3


class OnOff:
    """A law for `Guarded`."""

    def __init__(self, differential_c: float = DIFFERENTIAL_C) -> None:
        self._differential_c = differential_c
        self._on = Running(cool=False, heat=False)

    def call(self, at_s: float, vessel_c: float, target_c: float) -> Running:
        """Keep what is on until the target is reached."""
        above_c = vessel_c - target_c
        cool = above_c > 0.0 if self._on.cool else above_c >= self._differential_c
        heat = above_c < 0.0 if self._on.heat else above_c <= -self._differential_c
        self._on = Running(cool, heat)
        return self._on
