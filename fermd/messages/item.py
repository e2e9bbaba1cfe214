"""One thing to tell, and when it was: what waits in a box, as a value that can be stored."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from enum import StrEnum
from typing import Any

from fermd.control.alarms import AlarmKind
from fermd.control.events import Severity
from fermd.control.moment import Moment
from fermd.messages.urgency import Urgency

AlarmKey = tuple[str, str, str]
"""Chamber (empty for the board), alarm kind, subject."""


@dataclass(frozen=True, slots=True)
class Instant:
    """When something was, on both clocks, so that a step of one of them does no harm."""

    mono_s: float
    boot: str
    """The boot that `mono_s` belongs to."""
    wall_utc_s: float
    wall_trusted: bool

    def wall_seen(self, now: Moment, boot: str) -> float | None:
        """Return it on the wall clock as that stands now (POSIX, s); None if nobody knows."""
        if boot == self.boot and now.wall_trusted:
            return now.wall_utc_s - (now.mono_s - self.mono_s)
        return self.wall_utc_s if self.wall_trusted else None

    def ago_s(self, now: Moment, boot: str) -> float | None:
        """How long ago it was, s; None if nobody knows."""
        if boot == self.boot:
            return max(0.0, now.mono_s - self.mono_s)
        if self.wall_trusted and now.wall_trusted:
            return max(0.0, now.wall_utc_s - self.wall_utc_s)
        return None


def instant(moment: Moment, boot: str) -> Instant:
    """Return a moment of this boot."""
    return Instant(moment.mono_s, boot, moment.wall_utc_s, moment.wall_trusted)


class About(StrEnum):
    """What an item tells. The values are stored: never rename one."""

    RAISED = "raised"
    STILL = "still"
    """Told before, not acknowledged, and still so."""
    FLAPPING = "flapping"
    """It comes and goes."""
    OVER = "over"
    MISSED = "missed"
    """Raised and over before anybody could be told."""
    NEWS = "news"
    """Something happened that is no alarm."""


@dataclass(frozen=True, slots=True)
class Item:
    """One thing to tell."""

    about: About
    chamber: str
    """Empty for the board."""
    alarm: str
    """The alarm kind's value; empty for news."""
    subject: str
    severity: Severity
    urgency: Urgency
    since: Instant
    """Since when it is so, or when it happened."""
    until: Instant | None = None
    """Since when it is over."""
    times: int = 0
    """How often it was told (still), or how often it came (flapping)."""
    value: float | None = None
    words: str = ""
    """For news: what happened ..."""
    to_do: str = ""
    """... and what a person should do; empty for nothing."""
    held: bool = False
    """Waits for the digest."""

    @property
    def key(self) -> AlarmKey | None:
        """The alarm that it is about."""
        return (self.chamber, self.alarm, self.subject) if self.alarm else None

    def to_plain(self) -> dict[str, Any]:
        """Return it as JSON can have it."""
        return asdict(self)


def item_from(plain: Mapping[str, Any]) -> Item:
    """Read what `to_plain` gave.

    Raises KeyError, TypeError or ValueError if it is something else.
    """
    fields = dict(plain)
    until = fields["until"]
    if fields["alarm"]:
        # A kind that is not known has no words.
        AlarmKind(fields["alarm"])
    return Item(
        **{
            **fields,
            "about": About(fields["about"]),
            "severity": Severity(fields["severity"]),
            "urgency": Urgency(fields["urgency"]),
            "since": Instant(**fields["since"]),
            "until": None if until is None else Instant(**until),
        }
    )
