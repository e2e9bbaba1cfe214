"""The causes that a disturbance can have, and how each is said."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Cause(StrEnum):
    """What may have disturbed a chamber. The values stand in the review's JSON: never rename one.

    The journal has what was commanded and what the probes saw. A fridge whose relay does not close,
    whose plug is out, whose fuse has blown or whose compressor is dead looks the same: one cause.
    """

    DOOR_OPEN = "door-open"
    COOLING_FAILED = "cooling-failed"
    """Called for and switched, without effect: relay, plug, fuse or compressor."""
    COOLING_STUCK_ON = "cooling-stuck-on"
    """It cooled while it was switched off: a welded contact."""
    COOLING_WEAK = "cooling-weak"
    HEATING_FAILED = "heating-failed"
    HEATING_STUCK_ON = "heating-stuck-on"
    HEATING_WEAK = "heating-weak"
    RELAY_FAULT = "relay-fault"
    """The board could not drive the relay's line."""
    PROBE_FAULT = "probe-fault"
    PROBE_MOVED = "probe-moved"
    """It read what its place cannot have: moved, fallen out, or wandering."""
    PROBES_SWAPPED = "probes-swapped"
    POWER_CUT = "power-cut"
    DAEMON_AWAY = "daemon-away"
    CLOCK_STEP = "clock-step"
    TARGET_CHANGED = "target-changed"
    OVERRIDE = "override"
    PAUSED = "paused"
    SWITCHED_OFF = "switched-off"
    NO_COOLING = "no-cooling"
    """The chamber has nothing that cools, or it may not."""
    NO_HEATING = "no-heating"
    ROOM_TOO_WARM = "room-too-warm"
    ROOM_TOO_COLD = "room-too-cold"
    FERMENTATION_PEAK = "fermentation-peak"
    LOCKOUT = "lockout"
    AIR_LIMIT = "air-limit"
    FREEZING_MARGIN = "freezing-margin"
    LEARNING = "learning"
    UNKNOWN = "unknown"


WORDS: dict[Cause, str] = {
    Cause.DOOR_OPEN: "door open",
    Cause.COOLING_FAILED: "cooling failed (relay, plug, fuse or compressor)",
    Cause.COOLING_STUCK_ON: "cooling ran while it was switched off (a relay contact stuck on)",
    Cause.COOLING_WEAK: "cooling was too weak",
    Cause.HEATING_FAILED: "heating failed (relay, plug, cut-out or heater)",
    Cause.HEATING_STUCK_ON: "heating ran while it was switched off (a relay contact stuck on)",
    Cause.HEATING_WEAK: "heating was too weak",
    Cause.RELAY_FAULT: "a relay's line could not be driven",
    Cause.PROBE_FAULT: "a probe could not be trusted",
    Cause.PROBE_MOVED: "a probe was moved, fell out or wandered",
    Cause.PROBES_SWAPPED: "the two probes were swapped",
    Cause.POWER_CUT: "power cut",
    Cause.DAEMON_AWAY: "nobody was in charge",
    Cause.CLOCK_STEP: "the clock was set",
    Cause.TARGET_CHANGED: "the target was changed",
    Cause.OVERRIDE: "an output was set by hand",
    Cause.PAUSED: "the profile was paused",
    Cause.SWITCHED_OFF: "the chamber was switched off",
    Cause.NO_COOLING: "there is nothing that could have cooled",
    Cause.NO_HEATING: "there is nothing that could have warmed",
    Cause.ROOM_TOO_WARM: "the room was too warm for the fridge",
    Cause.ROOM_TOO_COLD: "the room was too cold for the heater",
    Cause.FERMENTATION_PEAK: "the fermentation made more heat than the fridge could take out",
    Cause.LOCKOUT: "the compressor had to wait (lockout)",
    Cause.AIR_LIMIT: "the air was at its limit",
    Cause.FREEZING_MARGIN: "the freezing margin held the cooling off",
    Cause.LEARNING: "a chamber that was still being learned",
    Cause.UNKNOWN: "no cause is in the journal",
}


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that the journal shows or tells."""

    cause: Cause
    start_s: float
    end_s: float
    detail: str
    """What shows it, as a clause: "air rose 6.1 °C in 5 min"."""
    weight: float = 1.0
    """How much it counts beside others of the same rank."""
    air_by_c: float | None = None
    """How far the air went at first, °C; None for what was not seen in the air."""

    def touches(self, from_s: float, to_s: float) -> bool:
        """Whether it lies in a span at least in part."""
        return self.start_s <= to_s and self.end_s >= from_s


@dataclass(frozen=True, slots=True)
class Disturbance:
    """Something that disturbed a chamber, with its likeliest cause."""

    cause: Cause
    start_s: float
    end_s: float
    words: str
    """The cause and what shows it."""
    beside: tuple[Cause, ...] = ()
    """What else was found at the same time."""
