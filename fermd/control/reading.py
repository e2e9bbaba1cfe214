"""What is known of a temperature: raw samples in, readings with their quality out.

A temperature without its age and health cannot be written in these types: the controller gets
either `Trusted` or `Untrusted`, never a bare number.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class ProbeFault(StrEnum):
    """What can be wrong with one sample, or with a probe as a whole."""

    CHECKSUM = "checksum"
    """The frame's CRC-8 does not match its bytes."""

    POWER_ON_VALUE = "power-on value"
    """85 °C because the probe has restarted and not converted yet; a true 85 °C is not this."""

    DISCONNECTED = "disconnected"
    """The probe's folder or file is gone, or the bus shows the frame of an open or shorted line."""

    NO_ANSWER = "no answer"
    """The file is there but empty, cut short or unreadable: this conversion has failed."""

    OUT_OF_RANGE = "out of range"
    """Outside what this probe can plausibly see."""

    JUMP = "jump"
    """Further from the last good reading than the place can physically change in that time."""

    FROZEN = "frozen value"
    """The very same value for longer than a live probe's noise allows."""

    STALE = "stale"
    """No good reading within the stale limit."""

    STARTING = "starting"
    """Not enough good readings yet since the start."""


@dataclass(frozen=True, slots=True)
class Sample:
    """One attempt to read a probe: a temperature (°C, uncalibrated) or what prevented it."""

    taken_mono_s: float
    temp_c: float | None = None
    fault: ProbeFault | None = None

    def __post_init__(self) -> None:
        if (self.temp_c is None) == (self.fault is None):
            raise ValueError("a sample is either a temperature or a fault, never both or neither")


@dataclass(frozen=True, slots=True)
class Trusted:
    """A temperature (°C, calibrated) fit to act on."""

    temp_c: float
    taken_mono_s: float
    """When the newest good sample behind it was taken."""


@dataclass(frozen=True, slots=True)
class Untrusted:
    """No temperature to act on, and why; the last good one is for people to see, with its age."""

    fault: ProbeFault
    since_mono_s: float
    last_temp_c: float | None = None
    last_taken_mono_s: float | None = None


Reading = Trusted | Untrusted


STARTING_PATIENCE_S = 300.0
"""A probe may take this long to earn its trust after a start, s, before anything is done about it:
three readings at the longest sample period of 60 s, and a conversion that failed."""


def just_started(seen: Untrusted, mono_s: float) -> bool:
    """Tell whether a probe has simply not given enough readings yet."""
    return seen.fault is ProbeFault.STARTING and mono_s - seen.since_mono_s < STARTING_PATIENCE_S
