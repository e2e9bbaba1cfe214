"""A desk on a clock of its own, and the boxes of its recipients: no thread, no file, no network."""

from __future__ import annotations

from dataclasses import dataclass, field
from zoneinfo import ZoneInfo

from fermd.control.alarms import RULES, Alarm, AlarmKind
from fermd.control.events import AlarmPhase
from fermd.control.moment import Moment
from fermd.messages import desk as desks
from fermd.messages.desk import Desk
from fermd.messages.item import Item
from fermd.messages.pace import Pace
from fermd.messages.text import Scene

NOON_UTC_S = 1_783_159_200.0
"""2026-07-04 10:00 UTC, noon in Vienna."""
ZONE = ZoneInfo("Europe/Vienna")
BOOT = "boot-1"
PACE = Pace(gather_s=60.0, repeat_s=900.0, repeat_growth=2.0, longest_repeat_s=14400.0)


def at(mono_s: float, *, trusted: bool = True, off_s: float = 0.0) -> Moment:
    return Moment(mono_s, NOON_UTC_S + mono_s + off_s, trusted)


def alarm(
    kind: AlarmKind, subject: str = "", *, seen: bool = False, raised_mono_s: float | None = None
) -> Alarm:
    phase = AlarmPhase.ACKNOWLEDGED if seen else AlarmPhase.RAISED
    return Alarm(kind, subject, phase, True, raised_mono_s or 0.0, raised_mono_s)


@dataclass
class Table:
    """A desk at which time passes in steps of ten seconds."""

    pace: Pace = PACE
    desk: Desk = field(default_factory=lambda: Desk(BOOT))
    now_s: float = 1000.0
    standing: dict[tuple[str, str, str], Alarm] = field(default_factory=dict)
    told: list[tuple[float, tuple[Item, ...]]] = field(default_factory=list)

    def up(self, kind: AlarmKind, subject: str = "", chamber: str = "lager") -> None:
        raised = alarm(kind, subject, raised_mono_s=self.now_s)
        self.standing[chamber, kind.value, subject] = raised

    def seen(self, kind: AlarmKind, subject: str = "", chamber: str = "lager") -> None:
        self.standing[chamber, kind.value, subject] = alarm(kind, subject, seen=True)

    def down(self, kind: AlarmKind, subject: str = "", chamber: str = "lager") -> None:
        del self.standing[chamber, kind.value, subject]

    def wait(self, seconds: float, *, step_s: float = 10.0) -> list[tuple[Item, ...]]:
        """Let time pass; what was told in it."""
        before, end_s = len(self.told), self.now_s + seconds
        while self.now_s < end_s:
            self.look()
            self.now_s += step_s
        return [items for _, items in self.told[before:]]

    def look(self) -> tuple[Item, ...]:
        now = at(self.now_s)
        alarms = [(chamber, one) for (chamber, _, _), one in self.standing.items()]
        self.desk = desks.observe(self.desk, alarms, now)
        self.desk, items = desks.due(self.desk, now, self.pace)
        if items:
            self.told.append((self.now_s, items))
        return items


def scene(mono_s: float) -> Scene:
    return Scene(at(mono_s), BOOT, ZONE)


KINDS_BY_NAME = {kind.value: kind for kind in RULES}
