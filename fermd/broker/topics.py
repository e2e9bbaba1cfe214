"""Where each kind of message goes, with what promise, and for how long it is good.

    ROOT/SITE/availability                      online or offline; the last will
    ROOT/SITE/state                             the board
    ROOT/SITE/alarms                            the board's standing alarms
    ROOT/SITE/event                             what happened to the board
    ROOT/SITE/chamber/CHAMBER/state             mode, target, call, outputs, profile
    ROOT/SITE/chamber/CHAMBER/alarms            the chamber's standing alarms
    ROOT/SITE/chamber/CHAMBER/event             what happened in the chamber
    ROOT/SITE/chamber/CHAMBER/reading/PROBE     one probe

Quality of service: 1 ("at least once") for whatever is told when it changes, since a lost message
would leave a wrong picture until the next change; what comes twice says the same twice, and events
have a number. 0 ("at most once") for readings: the next one is seconds away, and an old one that is
sent again is worth less than none. 2 ("exactly once") doubles the round trips for nothing.
"""

from __future__ import annotations

import json
import math
from dataclasses import dataclass
from typing import Any, Final

STATE_AGAIN_S: Final = 300.0
"""State and alarms are told again after this long without a change, s ..."""
STATE_EXPIRY_S: Final = 3 * 300
"""... and the broker forgets them when two of these have not come: a board that is dead for longer
shows no "fridge on" any more, only that it is offline."""

READING_PERIODS: Final = 3
SHORTEST_READING_EXPIRY_S: Final = 30.0
"""A reading is good for so many of its periods, and at the least for this long, s: as the leases of
the relays, one may be lost and one may be late."""


@dataclass(frozen=True, slots=True)
class Message:
    """One message, ready to go."""

    topic: str
    payload: bytes
    qos: int
    retain: bool
    expiry_s: int | None = None
    """After so long the broker throws it away; None: never."""


@dataclass(frozen=True, slots=True)
class Topics:
    """The topics of one board."""

    root: str
    site: str
    reading_expiry_s: int = 30

    def availability(self, told: Any) -> Message:
        """Whether the board is there. Never forgotten: silence for ever has to be seen."""
        return Message(self._place("availability"), _json(told), qos=1, retain=True)

    def state(self, chamber: str | None, told: Any) -> Message:
        """How a chamber, or (None) the board, is."""
        return Message(self._place("state", chamber), _json(told), 1, True, STATE_EXPIRY_S)

    def alarms(self, chamber: str | None, told: Any) -> Message:
        """What a person should see to."""
        return Message(self._place("alarms", chamber), _json(told), 1, True, STATE_EXPIRY_S)

    def event(self, chamber: str | None, told: Any) -> Message:
        """What happened. Not retained: it is not so, it was."""
        return Message(self._place("event", chamber), _json(told), qos=1, retain=False)

    def reading(self, chamber: str, probe: str, told: Any) -> Message:
        """What a probe says; kept for whoever comes late, and forgotten before it is old."""
        place = self._place(f"reading/{probe}", chamber)
        return Message(place, _json(told), 0, True, self.reading_expiry_s)

    def _place(self, what: str, chamber: str | None = None) -> str:
        within = f"chamber/{chamber}/" if chamber else ""
        return f"{self.root}/{self.site}/{within}{what}"


def reading_expiry_s(readings_every_s: float, sample_period_s: float) -> int:
    """Return after how long a reading is no longer to be taken for the present, s."""
    period_s = max(readings_every_s, sample_period_s)
    return math.ceil(max(SHORTEST_READING_EXPIRY_S, READING_PERIODS * period_s))


def _json(told: Any) -> bytes:
    text = json.dumps(told, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    return text.encode()
