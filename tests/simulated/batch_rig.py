"""Whole batches on a simulated chamber: the daemon's loop, core and journal, a thermal model.

Only clock, probes and relays are simulated, and the relays keep the rules of the real ones. A
`Batch` may go through any number of starts of the board: `power_cut` leaves the process where it
is, and the next one goes on from a copy of what the disk had at that moment.

Probes are read every 60 s, the longest that a site file may say: a day is 1440 ticks.
"""

from __future__ import annotations

import shutil
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from fermd.config.site import SiteFile
from fermd.config.site_file import parse_site
from fermd.control.commands import Command, ConfirmStep, SetTarget, StartProfile
from fermd.control.decision import Decision
from fermd.control.events import AlarmChanged, OutputChanged
from fermd.control.settings import Duty
from fermd.control.steps import Profile
from fermd.hardware.simulated_clock import SimulatedClock
from fermd.hardware.simulated_plant import SimulatedPlant
from fermd.journal.reader import JournalReader
from fermd.journal.rows import Happening
from fermd.journal.settings import JournalSettings
from fermd.journal.writer import SqliteJournal
from fermd.review.invariants import violations
from fermd.review.record import Record, read_record
from fermd.service.daemon import wiring
from fermd.service.loop import ControlLoop
from fermd.service.requests import Answer
from fermd.service.trial import trial_board

PERIOD_S = 60.0
HOUR_S = 3600.0
DAY_S = 86400.0
FRIDGE, BELT = "sim:17", "sim:27"
VESSEL_ID, AIR_ID = "28-0000071a2b3c", "28-0000071a4d5e"

SITE = f"""\
time_zone = "Europe/Vienna"
sample_period_s = {PERIOD_S:g}

[probe.vessel]
id = "{VESSEL_ID}"
stale_s = 300

[probe.air]
id = "{AIR_ID}"
stale_s = 300

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

QUICK = JournalSettings(batch_s=5.0)
"""Simulated days pass in a second: what waits for long is seconds here."""


def simulated_site(extra: str = "", **trial: float) -> SiteFile:
    """The site, with these numbers in its [simulated] table."""
    lines = "".join(f"{key} = {value:g}\n" for key, value in trial.items())
    return parse_site(SITE + lines + extra, Path("simulated.toml"))


@dataclass
class Batch:
    """One chamber, from now on; `loop` is the present process."""

    folder: Path
    site: SiteFile
    seed: int = 1
    clock: SimulatedClock = field(default_factory=SimulatedClock)
    heard: list[AlarmChanged] = field(default_factory=list)
    """Every change of an alarm, of the chamber or of the board, in order."""
    switched: list[tuple[float, OutputChanged]] = field(default_factory=list)
    """Every switching with its time on the clock of the batch, s."""
    confirms: bool = True
    """Whether somebody confirms what a profile waits for."""

    def __post_init__(self) -> None:
        assert self.site.simulated is not None
        self.board = trial_board(self.site, self.site.simulated, self.clock, self.seed)
        self.plant: SimulatedPlant = self.board.plants["lager"]
        self.began_s = self.clock.true_utc_s
        self.path = self.folder / "journal-0.db"
        self.boots = self._ticks = 0
        self._start()

    # -- processes and power ------------------------------------------------------------------

    def _start(self) -> None:
        self.board.relays.__enter__()
        self.journal = SqliteJournal(
            self.path,
            boot_id=self.clock.boot_id(),
            moment=self.clock.now(),
            version="simulated",
            settings=QUICK,
        )
        self.board.probes.__enter__()
        self.loop = ControlLoop(
            self.site.settings,
            wiring(self.site),
            self.clock,
            self.board.probes,
            self.board.relays,
            self.journal,
        )
        self._due_s = self.clock.now().mono_s

    def power_cut(self, lasted_s: float, *, wall_survives: bool = True) -> None:
        """Cut the power: what the disk has is all that is left of the process."""
        assert self.journal.flush()
        self.boots += 1
        kept = self.folder / f"journal-{self.boots}.db"
        for ending in ("", "-wal"):
            there = self.path.with_name(self.path.name + ending)
            if there.exists():
                shutil.copy(there, kept.with_name(kept.name + ending))
        self.board.power_cut(lasted_s, wall_survives=wall_survives)
        # The thread of the old process ends; its words go into a file that nobody reads any more.
        self.journal.close(self.clock.now(), cleanly=False)
        self.path = kept
        self._start()

    def restart(self) -> None:
        """Stop the process in order, and start the next one."""
        self._stop()
        self._start()

    def ends(self) -> Path:
        """Stop the process in order; the journal of the whole batch."""
        self._stop()
        return self.path

    def _stop(self) -> None:
        self.loop.stop()
        self.loop.run()
        self.board.relays.__exit__(None, None, None)
        self.journal.close(self.clock.now(), cleanly=True)

    # -- time -----------------------------------------------------------------------------------

    @property
    def passed_s(self) -> float:
        """True time since the batch began, s."""
        return self.clock.true_utc_s - self.began_s

    def tick(self) -> Decision:
        """One tick of the loop, and the wait until the next one is due."""
        snapshot = self.loop.tick()
        decision = snapshot.chambers["lager"].decision
        for event in decision.events:
            if isinstance(event, AlarmChanged):
                self.heard.append(event)
            elif isinstance(event, OutputChanged):
                self.switched.append((self.passed_s, event))
        shown = decision.outlook
        if self.confirms and shown is not None and shown.kind == "wait" and shown.elapsed_s > 600.0:
            self.loop.requests.ask("lager", ConfirmStep("brewer"))
        self._ticks += 1
        if self._ticks % 1000 == 0:
            # A simulation that outruns its record would have to give up readings.
            assert self.journal.flush()
        late_s = self.clock.now().mono_s - self._due_s
        if late_s >= 0:
            self._due_s += (int(late_s // PERIOD_S) + 1) * PERIOD_S
        self.clock.wait_until(self._due_s)
        return decision

    def run_for(self, span_s: float) -> Decision:
        """Let the loop tick for so long."""
        until_s = self.passed_s + span_s
        decision = self.tick()
        while self.passed_s < until_s - 0.001:
            decision = self.tick()
        return decision

    def run_until(self, fact: Callable[[Decision], object], within_s: float) -> float:
        """Let the loop tick until something is so; returns how long that took, s."""
        began_s = self.passed_s
        while not fact(self.tick()):
            assert self.passed_s - began_s < within_s, "did not become so"
        return self.passed_s - began_s

    # -- what is asked and what there is --------------------------------------------------------

    def ask(self, command: Command) -> Answer:
        """Ask, and let the loop tick: what the answer was."""
        request = self.loop.requests.ask("lager", command)
        self.tick()
        return request.wait(0.0)

    def hold(self, target_c: float) -> None:
        """Set a target once the probes are trusted."""
        self._settle()
        assert self.ask(SetTarget(target_c, "brewer")).taken

    def pitch(self, profile: Profile) -> None:
        """Start a profile once the probes are trusted."""
        self._settle()
        assert self.ask(StartProfile(profile, "brewer")).taken

    def _settle(self) -> None:
        # At this sample period earning trust takes longer than a lost probe takes to be told of.
        self.run_for(5 * PERIOD_S)
        self.heard.clear()

    @property
    def beer_c(self) -> float:
        """The beer's true temperature, °C."""
        return self.plant.advance_to(self.clock.true_utc_s).beer_c

    def raised(self) -> set[tuple[str, str]]:
        """The alarms of the chamber that were raised, with what they were about."""
        return {(one.alarm, one.subject) for one in self.heard if one.phase.value == "raised"}

    def site_alarms(self) -> set[str]:
        """The board's alarms that stand."""
        snapshot = self.loop.snapshot
        assert snapshot is not None
        return {alarm.kind.value for alarm in snapshot.site_alarms}

    def starts_after(self, passed_s: float, duty: Duty) -> list[float]:
        """When this output was started after that time, h."""
        return [
            at_s / HOUR_S
            for at_s, change in self.switched
            if change.on and change.duty is duty and at_s >= passed_s
        ]

    def told(self, kind: type[Happening]) -> list[Any]:
        """What the journal has of this kind, oldest first. Before `ends` it may wait in memory."""
        rows = JournalReader(self.path).last_events(1_000_000)
        return [row.happening for row in rows if isinstance(row.happening, kind)]

    def record(self) -> Record:
        return read_record(self.path, "lager", buckets=20_000)


def broken_promises(path: Path, site: SiteFile) -> list[str]:
    """Every broken promise in a journal, in words; empty as it should be."""
    return [str(broken) for broken in violations(path, site.settings, site.sample_period_s)]


def with_beer(site: SiteFile, **trial: float) -> SiteFile:
    """The same site with another beer, room or fridge."""
    assert site.simulated is not None
    return replace(site, simulated=replace(site.simulated, **trial))
