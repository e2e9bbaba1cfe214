"""What the comparison asks of a thermostat, whoever made it."""

from __future__ import annotations

from typing import NamedTuple, Protocol


class Seen(NamedTuple):
    """What the probes show at one moment, °C, with noise and steps."""

    vessel_c: float
    air_c: float


class Running(NamedTuple):
    """Which outputs are on from now until it is asked again."""

    cool: bool
    heat: bool


class Thermostat(Protocol):
    """One contestant at work in one scenario."""

    def decide(self, at_s: float, seen: Seen) -> Running:
        """Say what is on from `at_s` (s since the start of the scenario) on.

        It is asked a few times before the start, with negative times, so that its probes can earn
        their trust; the plan begins at 0.
        """
        ...
