"""Why something was decided, as data. `wording.py` is the one place that turns it into words."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Rule(StrEnum):
    """The rule that decided. The values are stored in the journal: never rename one."""

    # What is called for
    ABOVE_BAND = "above-band"
    BELOW_BAND = "below-band"
    WITHIN_BAND = "within-band"
    OPPOSITE_CALLED = "opposite-called"
    COASTS = "coasts"
    CALL_CONTINUES = "call-continues"
    NO_TARGET = "no-target"
    OVERRIDE = "override"
    FAIL_SAFE = "fail-safe"
    FAIL_SAFE_CYCLE = "fail-safe-cycle"
    RUN_ON = "run-on"
    FOLLOWS_CALL = "follows-call"

    # What holds an output off
    MINIMUM_OFF = "minimum-off"
    START_TO_START = "start-to-start"
    POWER_UP = "power-up"
    STARTS_PER_HOUR = "starts-per-hour"
    CHANGEOVER = "changeover"
    OTHER_RUNNING = "other-running"
    RESTING = "resting"
    SUPPLY_LIMIT = "supply-limit"

    # What holds an output on
    MINIMUM_RUN = "minimum-run"

    # What takes an output off at once
    LONGEST_RUN = "longest-run"
    AIR_LIMIT = "air-limit"
    AIR_UNKNOWN = "air-unknown"
    FREEZING = "freezing"
    NO_EFFECT = "no-effect"
    STOPPING = "stopping"
    LEASE_EXPIRED = "lease-expired"
    RELAY_FAULT = "relay-fault"
    UNCLEAN_STOP = "unclean-stop"


@dataclass(frozen=True, slots=True)
class Reason:
    """One rule with the numbers that it was applied to."""

    rule: Rule
    value_c: float | None = None
    """The temperature that was compared, °C."""
    limit_c: float | None = None
    """The temperature that it was compared with, °C."""
    until_mono_s: float | None = None
    """When the rule stops holding by itself, if that is known."""
    number: float | None = None
    """A count or a span in seconds, where the rule has one (starts, amperes, run time)."""
