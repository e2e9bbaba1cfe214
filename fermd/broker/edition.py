"""Which messages are due: what has changed, what has to be told again, and the newest readings.

Decided from ticks alone. A loop that stands still brings nothing new to publish, so that what the
broker keeps of it runs out; nobody is told an old number as a new one.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Final

from fermd.broker.payloads import Plain, Teller
from fermd.broker.topics import STATE_AGAIN_S, Message, Topics
from fermd.service.snapshot import Snapshot

MOVING: Final = frozenset(
    {"at_utc", "since_utc", "started_utc", "raised_utc", "elapsed_s", "remaining_s", "words"}
)
"""What changes with time alone, and is no reason to tell something again. (The start and the words
of an output change only beside something else, but for the seconds that are left in them.)"""


@dataclass(slots=True)
class _Told:
    """What was published last on a topic."""

    fixed: str
    at_s: float


class Edition:
    """What a board publishes, tick by tick."""

    def __init__(self, topics: Topics, teller: Teller, readings_every_s: float) -> None:
        self._topics = topics
        self._teller = teller
        self._readings_every_s = readings_every_s
        self._told: dict[str, _Told] = {}
        self._tick = 0
        self._readings_mono_s: float | None = None

    def anew(self) -> None:
        """Take nothing for told: the broker may have lost it all."""
        self._told.clear()
        self._tick = 0
        self._readings_mono_s = None

    def due(self, snapshot: Snapshot | None, real_s: float) -> list[Message]:
        """Return what is to be published now; `real_s` counts the broker's seconds."""
        if snapshot is None or snapshot.tick == self._tick:
            return []
        self._tick = snapshot.tick
        found = [
            message for message, told in self._states(snapshot) if self._new(message, told, real_s)
        ]
        last_s, now_s = self._readings_mono_s, snapshot.moment.mono_s
        # A tick comes a little early or late: a whole period need not have passed to the second.
        if last_s is None or now_s - last_s > self._readings_every_s - 1.0 or now_s < last_s:
            self._readings_mono_s = now_s
            found += self._readings(snapshot)
        return found

    def _states(self, snapshot: Snapshot) -> Iterator[tuple[Message, Plain]]:
        teller, topics = self._teller, self._topics
        told = teller.board(snapshot)
        yield topics.state(None, told), told
        told = teller.alarms(None, snapshot.site_alarms, snapshot)
        yield topics.alarms(None, told), told
        for name, view in snapshot.chambers.items():
            told = teller.chamber(name, view, snapshot)
            yield topics.state(name, told), told
            told = teller.alarms(name, view.decision.alarms, snapshot)
            yield topics.alarms(name, told), told

    def _readings(self, snapshot: Snapshot) -> Iterator[Message]:
        for name, view in snapshot.chambers.items():
            for probe, role, seen in view.probes():
                told = self._teller.reading(name, probe, role, seen, snapshot)
                yield self._topics.reading(name, probe, told)

    def _new(self, message: Message, told: Plain, real_s: float) -> bool:
        fixed = json.dumps(_without_moving(told), sort_keys=True)
        before = self._told.get(message.topic)
        if before is not None and before.fixed == fixed and real_s - before.at_s < STATE_AGAIN_S:
            return False
        self._told[message.topic] = _Told(fixed, real_s)
        return True


def _without_moving(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {key: _without_moving(one) for key, one in value.items() if key not in MOVING}
    return [_without_moving(one) for one in value] if isinstance(value, list) else value
