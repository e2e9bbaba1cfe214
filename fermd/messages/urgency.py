"""How soon a person must know of an alarm."""

from __future__ import annotations

from collections.abc import Mapping
from enum import StrEnum
from typing import Final

from fermd.control.alarms import RULES, AlarmKind
from fermd.control.events import Severity


class Urgency(StrEnum):
    """When something is told. The values are stored: never rename one."""

    AT_ONCE = "at-once"
    """By night too, and again until somebody acknowledges it: a batch can be spoilt."""
    BY_DAY = "by-day"
    """As soon as there are no quiet hours."""
    DIGEST = "digest"
    """With the other small things of the day."""


_BY_SEVERITY: Final[Mapping[Severity, Urgency]] = {
    Severity.CRITICAL: Urgency.AT_ONCE,
    Severity.WARNING: Urgency.BY_DAY,
    Severity.NOTICE: Urgency.DIGEST,
}

_OTHERWISE: Final[Mapping[AlarmKind, Urgency]] = {
    # Hours at a wrong temperature change a beer for good, whatever the reason.
    AlarmKind.BEER_TOO_WARM: Urgency.AT_ONCE,
    AlarmKind.BEER_TOO_COLD: Urgency.AT_ONCE,
    # Nothing is wrong, but the batch stands still until somebody comes.
    AlarmKind.WAITING_FOR_PERSON: Urgency.BY_DAY,
}
"""Kinds whose urgency does not follow from their severity."""


def urgency_of(kind: AlarmKind) -> Urgency:
    """How soon a person must know of an alarm of this kind."""
    return _OTHERWISE.get(kind, _BY_SEVERITY[RULES[kind].severity])
