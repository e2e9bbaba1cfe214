"""The control loop on a simulated board whose probes show what they are told.

Loop, core, relays, leases and journal are real or behave by the rules of the real ones; time is
the simulation's and takes none. `restart()` is the next process on the same board.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from fermd.config.site import SiteFile
from fermd.config.site_file import parse_site
from fermd.control.commands import Command, SetTarget
from fermd.control.events import Event
from fermd.control.reading import ProbeFault
from fermd.control.settings import Duty
from fermd.hardware.simulated_clock import SimulatedClock
from fermd.journal.reader import EventRow, JournalReader
from fermd.journal.rows import Happening
from fermd.journal.writer import SqliteJournal
from fermd.service.daemon import wiring
from fermd.service.loop import ControlLoop
from fermd.service.requests import Answer
from fermd.service.snapshot import Snapshot
from fermd.service.trial import trial_board

VESSEL_ID = "28-000006b67845"
AIR_ID = "28-0000071a2b3c"
MINIMUM_OFF_S = 300.0
PERIOD_S = 10.0
FRIDGE = "sim:17"
BELT = "sim:27"

SITE = f"""\
time_zone = "Europe/Berlin"
journal_path = "JOURNAL"

[probe.vessel]
id = "{VESSEL_ID}"
jump_c = 50
frozen_s = 0

[probe.air]
id = "{AIR_ID}"
jump_c = 50
frozen_s = 0

[output.fridge]
gpio = 17
active = "low"
duty = "cool"

[output.belt]
gpio = 27
active = "low"
duty = "heat"

[chamber.lager]
vessel_probe = "vessel"
air_probe = "air"
outputs = ["fridge", "belt"]

[simulated]
"""

TROUBLED = "a fault that was planted"


def site_file(folder: Path, text: str = SITE) -> SiteFile:
    return parse_site(text.replace("JOURNAL", str(folder / "journal.db")), folder / "fermd.toml")


@dataclass
class Rig:
    """One board; `loop` is the present process on it."""

    folder: Path
    text: str = SITE
    clock: SimulatedClock = field(default_factory=SimulatedClock)
    seen: list[Snapshot] = field(default_factory=list)
    after_tick: Callable[[Snapshot], None] | None = None
    _ended: bool = False

    def __post_init__(self) -> None:
        self.site = site_file(self.folder, self.text)
        assert self.site.simulated is not None
        self.board = trial_board(self.site, self.site.simulated, self.clock)
        self.warm_to(18.0)
        self.start()

    def start(self) -> None:
        """Start a process, as the daemon does: relays first, then the journal, then the loop."""
        self._ended = False
        self.board.relays.__enter__()
        self.journal = SqliteJournal(
            self.site.journal_path,
            boot_id=self.clock.boot_id(),
            moment=self.clock.now(),
            version="test",
        )
        self.board.probes.__enter__()
        self.loop = ControlLoop(
            self.site.settings,
            wiring(self.site),
            self.clock,
            self.board.probes,
            self.board.relays,
            self.journal,
            self._after_tick,
        )

    def end(self, *, cleanly: bool = True) -> None:
        """End the process by its own stop (or by a fault of its own, that still wrote its end)."""
        if cleanly:
            self.loop.stop()
            self.loop.run()
        self.board.relays.__exit__(None, None, None)
        self.journal.close(self.clock.now(), cleanly=cleanly)
        self._ended = True

    def restart(self, *, cleanly: bool = True, after_s: float = 0.0) -> None:
        self.end(cleanly=cleanly)
        self.let_pass(after_s)
        self.start()

    def let_pass(self, span_s: float) -> None:
        """Let time pass in which no loop runs."""
        until_s = self.now_s + span_s
        while self.now_s < until_s - 0.001:
            # A wait that somebody has ended by `wake()` is waited again.
            self.clock.wait_until(until_s)

    @property
    def now_s(self) -> float:
        return self.clock.now().mono_s

    def warm_to(self, vessel_c: float, air_c: float | None = None) -> None:
        """Let the probes show these temperatures from now on, °C."""
        self.board.probes.freeze(VESSEL_ID, vessel_c)
        self.board.probes.freeze(AIR_ID, vessel_c if air_c is None else air_c)

    def lose(self, probe_id: str) -> None:
        self.board.probes.break_probe(probe_id, ProbeFault.DISCONNECTED)

    def tick(self) -> Snapshot:
        self.let_pass(PERIOD_S)
        return self.loop.tick()

    def run_for(self, span_s: float) -> Snapshot:
        """Let the loop tick for so long."""
        snapshot = self.tick()
        for _ in range(round(span_s / PERIOD_S) - 1):
            snapshot = self.tick()
        return snapshot

    def run_until(self, fact: Callable[[], object], within_s: float = 7200.0) -> float:
        """Let the loop tick until something is so; returns how long that took, s."""
        began_s = self.now_s
        while not fact():
            assert self.now_s - began_s < within_s, "did not become so"
            self.tick()
        return self.now_s - began_s

    def ask(self, command: Command, chamber: str = "lager") -> Answer:
        """Ask and let the loop tick: what the answer was."""
        request = self.loop.requests.ask(chamber, command)
        self.loop.tick()
        return request.wait(0.0)

    def settle(self, target_c: float = 18.0) -> None:
        """Wait out what is not known of the past, with a target set."""
        self.run_until(lambda: self.snapshot.decision_of("lager").vessel is not None)
        assert self.ask(SetTarget(target_c, "test")).taken
        self.run_for(4000.0)

    @property
    def snapshot(self) -> Any:
        if self.loop.snapshot is None:
            self.tick()
        return _Seen(self.loop.snapshot)

    def on(self, line: str) -> bool:
        return self.board.relays.states()[line].on

    @property
    def cooling(self) -> bool:
        return self.on(FRIDGE)

    @property
    def heating(self) -> bool:
        return self.on(BELT)

    def history(self, duty: Duty) -> Any:
        return self.loop._state.chambers["lager"].histories[duty]

    def rows(self, most: int = 100_000) -> list[EventRow]:
        """What the journal has of what happened, oldest first."""
        assert self._ended or self.journal.flush()
        return JournalReader(self.site.journal_path).last_events(most)

    def told(self, kind: type[Event] | type[Happening]) -> list[Any]:
        return [row.happening for row in self.rows() if isinstance(row.happening, kind)]

    def alarms(self) -> dict[str, str]:
        """The board's alarms that are not cleared, with their phase, by kind."""
        snapshot = self.loop.snapshot
        assert snapshot is not None
        return {alarm.kind.value: alarm.phase.value for alarm in snapshot.site_alarms}

    def _after_tick(self, snapshot: Snapshot) -> None:
        self.seen.append(snapshot)
        if self.after_tick is not None:
            self.after_tick(snapshot)


class _Seen:
    def __init__(self, snapshot: Snapshot | None) -> None:
        assert snapshot is not None
        self._snapshot = snapshot

    def decision_of(self, chamber: str) -> Any:
        return self._snapshot.chambers[chamber].decision


def edges(rows: Sequence[EventRow], line: str) -> list[bool]:
    """The switchings of a line that the journal tells of, in order."""
    happenings = [getattr(row.happening, "change", row.happening) for row in rows]
    return [h.on for h in happenings if getattr(h, "line", None) == line]
