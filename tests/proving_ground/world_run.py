"""A world is lived through: real daemon, loop, core, profile engine, calendar, lock and journal.

Simulated are time, the disk below the journal, and the board. Processes come and go as the script
says; `live` returns what truly happened, and the journal that is left.
"""

from __future__ import annotations

import contextlib
import logging
import shutil
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from random import Random
from typing import Any

import faults
import orders
from board import Crashed, Fate, Killed, WorldClock, WorldProbes, WorldRelays
from disk import (
    IN_SIMULATED_TIME,
    Disk,
    SteppedWriting,
    below_the_journal,
    keep_what_the_disk_has,
    tear,
    written_files,
)
from reading_witness import ReadingWitness
from script import Entry
from site_text import edit, written
from truth import UNIT_S, Broken, Process, RecordedPlant, Standing, Switching, Truth
from world import World

from fermd.config.errors import ConfigError
from fermd.config.site import SiteFile
from fermd.config.site_file import load_site
from fermd.control.commands import AcknowledgeAlarm, ConfirmStep
from fermd.control.decision import Mode
from fermd.control.events import Event
from fermd.control.moment import Moment
from fermd.control.settings import HOUR_S, Duty
from fermd.hardware.simulated import Contact, SimulatedProbe, in_air, in_vessel
from fermd.journal.writer import SqliteJournal
from fermd.physics.thermal import ThermalModel
from fermd.service import daemon as service
from fermd.service.calendar import Calendar
from fermd.service.daemon import RUN_MARKER, Daemon
from fermd.service.hold import Ports, hold
from fermd.service.notify import ServiceManager
from fermd.service.ownership import OwnedElsewhere, OwnershipError
from fermd.service.snapshot import Snapshot
from fermd.service.upkeep import Upkeep

BREWER_LOOKS_EVERY_S = 6 * HOUR_S
"""How often somebody comes by, confirms what waits, and acknowledges alarms, s."""

RELEASED_AFTER_S = 0.5
"""After a kill the service manager has the relays released, s (ExecStopPost= of the unit)."""

SHOWS_AFTER_S = 130.0
"""A disk that was mended is tried again within two minutes (the longest retry is a minute), s."""


@dataclass(frozen=True, slots=True)
class Outcome:
    """What there is when a world is over."""

    world: World
    truth: Truth
    journal: Path
    set_aside: Sequence[Path]
    end_s: float
    """True time, POSIX."""
    ticks: int
    committed: dict[str, int]
    """How many events of each kind were on the disk at some time."""


def live(world: World, folder: Path) -> Outcome:
    """Live through a world in an empty folder."""
    run = Run(world, folder)
    quiet = logging.getLogger("fermd")
    before = quiet.disabled, quiet.manager.disable
    logging.disable(logging.CRITICAL)
    try:
        with below_the_journal(run.disk, lambda: run.clock.now().mono_s), run.in_place():
            run.go()
    finally:
        logging.disable(before[1])
    set_aside = sorted(
        path
        for path in folder.glob("journal.db.set-aside-*")
        if not path.name.endswith(("-wal", "-shm"))
    )
    end_s = run.clock.true_utc_s
    return Outcome(world, run.truth, run.journal_path, set_aside, end_s, run.ticks, run.committed)


class WorldJournal(SqliteJournal):
    """The daemon's journal; a dead process's says nothing more."""

    run: Run

    def __init__(self, path: Path, **more: Any) -> None:
        kept = more.pop("settings", IN_SIMULATED_TIME).thinning
        super().__init__(path, settings=replace(IN_SIMULATED_TIME, thinning=kept), **more)
        assert isinstance(self._writing, SteppedWriting)
        self.run.journal = self
        self.run.fate.reaches("opening the journal")

    def readings(self, rows: Sequence[Any]) -> None:
        self.run.fate.reaches("handing over readings")
        if self.run.fate.alive:
            super().readings(rows)

    def events(self, moment: Moment, chamber: str, events: Sequence[Event]) -> None:
        self.run.fate.reaches("handing over events")
        if self.run.fate.alive:
            super().events(moment, chamber, events)
            self.run.handed_over(events)

    def remember(self, *given: Any) -> None:
        self.run.fate.reaches("handing over the state")
        if self.run.fate.alive:
            super().remember(*given)

    def clock_stepped(self, moment: Moment, by_s: float) -> None:
        if self.run.fate.alive:
            super().clock_stepped(moment, by_s)

    def close(self, moment: Moment, *, cleanly: bool) -> None:
        if self.run.fate.alive:
            super().close(moment, cleanly=cleanly)
        else:
            self._writing._file.let_go()

    @property
    def written_all(self) -> bool:
        return self._writing.has_written_all  # type: ignore[attr-defined,no-any-return]

    @property
    def readings_wait(self) -> bool:
        return bool(self._writing.pending.readings)


class WorldCalendar:
    """Looks at the calendar between two ticks, in place of the daemon's thread."""

    run: Run

    def __init__(self, calendar: Calendar, now: Callable[[], Moment]) -> None:
        self._calendar, self._now = calendar, now

    def __enter__(self) -> WorldCalendar:
        self.run.calendar = self
        return self

    def __exit__(self, *_: object) -> None:
        self.run.calendar = None

    def look(self) -> None:
        self._calendar.run_due(self._now())


class WorldDaemon(Daemon):
    """The daemon, which tells the world of every tick that has come to its end."""

    def __init__(self, run: Run, *given: Any) -> None:
        super().__init__(*given)
        self._run = run

    def _signals(self) -> Any:
        return contextlib.nullcontext()

    def hang_up(self) -> None:
        """SIGHUP: read the site file again."""
        self._reload_asked = True
        self._ports.clock.wake()

    def _after_tick(self, snapshot: Snapshot) -> None:
        self._run.after_tick(snapshot, self)
        super()._after_tick(snapshot)

    def _reload(self) -> None:
        before = self._site
        super()._reload()
        if self._site is not before:
            # The tick that is just over went by the ones before.
            self._run.takes_settings(self._site, in_s=UNIT_S)

    @property
    def site(self) -> SiteFile:
        """The site file in force."""
        return self._site


class Run:
    """A world under way."""

    def __init__(self, world: World, folder: Path) -> None:
        self.world, self.folder = world, folder
        self.truth = Truth()
        self.fate = Fate()
        self.fate.dies = self._dies
        self.disk = Disk()
        self.clock = WorldClock(world.start_utc_s, self.fate, drift_ppm=world.drift_ppm)
        self.clock.between_ticks = self._between_ticks
        self.ticks = 0
        self.restart_s = 1.0
        self.journal: WorldJournal | None = None
        self.calendar: WorldCalendar | None = None
        self.daemon: WorldDaemon | None = None
        self._table = world.site
        self.site_path = folder / "fermd.toml"
        self._write_site()
        self.site = load_site(self.site_path)
        self.journal_path = self.site.journal_path
        self._next: dict[tuple[str, bool], list[tuple[float, Callable[[Duty], None]]]] = {}
        self._build()
        self.on: dict[tuple[str, Duty], bool] = {}
        self._cut: dict[str, Any] | None = None
        self._witnesses: dict[str, ReadingWitness] = {}
        self._commands = dict.fromkeys(self.plants, 0)
        self._disk_ok_from_s = float("-inf")
        self._disk_faults = 0
        self._is_over = False
        self._handed: dict[str, int] = {}
        self.committed: dict[str, int] = {}
        self._written_until_s = float("-inf")
        self._last_committed: dict[str, int] = {}
        self._commits_s = (float("-inf"), float("-inf"))
        """When something was written the last time but one, and the last time."""
        self._as_it_was = written_files(self.journal_path)
        self._aside: object = None
        self._last_tick_s: float | None = None
        self._standing: dict[str, Standing] = {}

    def _build(self) -> None:
        world, site = self.world, self.site
        self.plants: dict[str, RecordedPlant] = {}
        probes: dict[str, SimulatedProbe] = {}
        contacts: dict[str, Contact] = {}
        for one in site.settings.chambers:
            room = world.rooms[one.name]
            plant = self.plants[one.name] = RecordedPlant(
                ThermalModel(room.parameters),
                beer_c=room.beer_c,
                ambient_c=room.ambient_c,
                start_utc_s=world.start_utc_s,
                heat_source=room.heat_source(),
            )
            plant.tell = self._teller(one.name)
            air = one.air_probe.name if one.air_probe is not None else None
            for probe in one.probes:
                spot = in_air if probe.name == air else in_vessel
                probes[site.probe_ids[probe.name]] = SimulatedProbe(plant, spot, room.probe)
            for output in one.outputs:
                contacts[output.line] = Contact(plant, output.duty)
        self.probes = WorldProbes(
            probes, site.sample_period_s, self.clock, world.noise_seed, self.fate
        )
        self.relays = WorldRelays(contacts, self.clock, self.fate)
        self._contacts = contacts

    def _teller(self, chamber: str) -> Callable[[Duty, bool, float], None]:
        def tell(duty: Duty, on: bool, at_s: float) -> None:
            self.on[chamber, duty] = on
            truth = self.truth
            number = len(truth.processes) - 1
            truth.switchings.append(Switching(at_s, chamber, duty, on, number, self.site.settings))
            waiting = self._next.get((chamber, on))
            if waiting and duty is not Duty.FAN:
                after_s, then = waiting.pop(0)
                self.later(after_s, partial(then, duty))

        return tell

    def when_next(
        self, chamber: str, on: bool, after_s: float, then: Callable[[Duty], None]
    ) -> None:
        """Let something happen so much after heat or cooling next starts (or stops)."""
        self._next.setdefault((chamber, on), []).append((after_s, then))

    @contextlib.contextmanager
    def in_place(self) -> Iterator[None]:
        """Put the journal and the calendar of this world in the places of the daemon's.

        The weekly check of a journal rests between its tables by the true clock: not here.
        """
        before = service.SqliteJournal, service.CalendarThread, service.Upkeep
        journal = type("Journal", (WorldJournal,), {"run": self})
        calendar = type("Calendar", (WorldCalendar,), {"run": self})
        service.SqliteJournal, service.CalendarThread = journal, calendar  # type: ignore[misc]
        service.Upkeep = partial(Upkeep, rest_s=0.0)  # type: ignore[misc,assignment]
        try:
            yield
        finally:
            service.SqliteJournal, service.CalendarThread, service.Upkeep = before  # type: ignore[misc]

    # -- the life of a world --------------------------------------------------------------------

    def go(self) -> None:
        """From the first start to the orderly end."""
        self.truth.boots_s.append(self.clock.true_utc_s)
        if self.world.changes_of_clocks:
            self.truth.injected[faults.DST] = self.world.changes_of_clocks
        for entry in self.world.script:
            self.later(entry.at_s, self._doer(entry))
        self.later(BREWER_LOOKS_EVERY_S, self._brewer_looks)
        self.later(self.world.span_s, self._ends)
        while not self._is_over:
            self._one_process()

    def _ends(self) -> None:
        self._is_over = True
        self.disk.release()
        self.disk.refuses_with, self.disk.is_stuck = None, False
        if self.fate.alive and self.daemon is not None:
            self.daemon.stop()

    def _one_process(self) -> None:
        try:
            site = load_site(self.site_path)
        except ConfigError:
            self.clock.let_pass(60.0)
            return
        self.takes_settings(site)
        process = Process(len(self.truth.processes), len(self.truth.boots_s), self.clock.true_utc_s)
        self.truth.processes.append(process)
        self._witnesses = {
            name: ReadingWitness(self.clock.now().mono_s, site.sample_period_s)
            for name in self.plants
        }
        self._last_tick_s = None
        self._handed = {}
        ports = Ports(self.clock, self.probes, self.relays)
        self.daemon = WorldDaemon(self, site, ports, ServiceManager(None))
        self.fate.alive = True
        self.restart_s = 1.0
        try:
            with hold(site, ports):
                self.daemon.run()
            how = "stop"
        except Killed:
            how = "power" if self._cut is not None else "kill"
        except Crashed:
            how = "crash"
        process.how, process.ended_s = how, self.clock.true_utc_s
        if how in ("stop", "crash"):
            process.written_until_s = self.clock.true_utc_s
            if self.journal is not None and not self.journal.written_all:
                process.written_until_s = self._written_until_s
            else:
                self._all_is_written()
        self.fate.alive = False
        self.daemon = self.journal = None
        self._keep_standings()
        if how == "power":
            self._without_power()
        elif not self._is_over:
            if how == "kill":
                self.clock.let_pass(RELEASED_AFTER_S)
                self._release()
            self.clock.let_pass(self.restart_s)

    def _release(self) -> None:
        """What the unit does when the daemon has ended in whatever way."""
        if self._cut is None:
            with self.relays:
                pass

    def _dies(self) -> None:
        """The process is gone: what the disk has is all that is left of it."""
        process = self.truth.processes[-1]
        process.written_until_s = self._written_until_s
        keep_what_the_disk_has(self.journal_path)
        self.disk.release()
        self.relays.kill()

    def _without_power(self) -> None:
        cut, self._cut = self._cut or {}, None
        process = self.truth.processes[-1]
        what = cut.get("written_by_then")
        if what is not None:
            torn = tear(self.journal_path, what, Random(cut.get("seed", 0)))
            if torn is not None:
                # What had been promised last is lost, or what stood in any page.
                from_s = self._commits_s[0] if torn == "commit" else float("-inf")
                self.truth.torn_s.append((from_s, self.clock.true_utc_s))
                process.written_until_s = min(process.written_until_s, from_s)
                self._forget_committed(whole=torn != "commit")
        self._mains_are_away(cut)

    def _mains_are_away(self, cut: dict[str, Any]) -> None:
        lasted_s, from_s = cut["lasts_s"], self.clock.true_utc_s
        self.relays.kill()
        for plant in self.plants.values():
            plant.power_cut(from_s, lasted_s)
        survives = cut.get("wall_survives", False)
        self.clock.power_cut(lasted_s, wall_survives=survives)
        shutil.rmtree(self.site.socket_path.parent, ignore_errors=True)
        self.truth.boots_s.append(self.clock.true_utc_s)
        self.truth.outages_s.append((from_s, self.clock.true_utc_s))
        if not survives:
            self.clock.step_wall(-cut.get("past_s", 0.0))
            self.later(cut.get("clock_set_after_s", 60.0), self.set_clock_right)
        self.fate.kill_at = self.fate.crash_at = None

    # -- what the daemon does -------------------------------------------------------------------

    def takes_settings(self, site: SiteFile, in_s: float = 0.0) -> None:
        """These settings are in force from so much later on."""
        if self.truth.settings and site.settings == self.site.settings:
            return
        self.site = site
        self.truth.settings.append((self.clock.true_utc_s + in_s, site.settings))

    def handed_over(self, events: Sequence[Event]) -> None:
        """The loop has handed these to its journal."""
        for event in events:
            kind = type(event).__name__
            self._handed[kind] = self._handed.get(kind, 0) + 1

    def _between_ticks(self) -> None:
        journal = self.journal
        if journal is None:
            return
        if not self.disk.is_stuck:
            if self.calendar is not None:
                self.calendar.look()
            if journal._writing.step():  # type: ignore[attr-defined]
                self._looks_at_the_file(journal)
        if self._disk_may_fail():
            # Readings that wait for it are no happening; but without them nobody can tell later
            # how long this process was there.
            if journal.written_all and not journal.readings_wait:
                self._all_is_written()
        elif journal.written_all:
            self._all_is_written()
        else:
            failure = journal._writing.failure
            detail = f"rows wait, and the disk is well ({failure or 'no failure'})"
            self._broken(7, "what happened is committed at once", "", detail)

    def _all_is_written(self) -> None:
        self._written_until_s = self.clock.true_utc_s
        if self._handed:
            self._last_committed = dict(self._handed)
        for kind, count in self._handed.items():
            self.committed[kind] = self.committed.get(kind, 0) + count
        self._handed.clear()

    def _forget_committed(self, *, whole: bool) -> None:
        """What was committed may be gone: all of it, or what came last."""
        if whole:
            self.committed.clear()
        for kind, count in self._last_committed.items():
            self.committed[kind] = max(0, self.committed.get(kind, 0) - count)
        self._last_committed = {}

    def _looks_at_the_file(self, journal: WorldJournal) -> None:
        """Take note of a commit, and of a journal that was set aside."""
        aside = journal._writing.set_aside
        if aside is not None and aside is not self._aside:
            self.truth.set_aside_s.append(self.clock.true_utc_s)
            self._forget_committed(whole=True)
            if not self.truth.torn_s:
                self._broken(7, "no journal is set aside without a cause", "", aside[0].cause)
        self._aside = aside
        as_it_is = written_files(self.journal_path)
        if as_it_is != self._as_it_was:
            self._as_it_was = as_it_is
            self._commits_s = (self._commits_s[1], self.clock.true_utc_s)

    def after_tick(self, snapshot: Snapshot, daemon: WorldDaemon) -> None:
        """A tick has come to its end."""
        self.ticks += 1
        true_s, moment = self.clock.true_utc_s, snapshot.moment
        began_s = self.clock.true_at(moment.mono_s)
        process = self.truth.processes[-1]
        if self._last_tick_s is None:
            process.ticks_s = [began_s, began_s]
        else:
            process.ticks_s[1] = began_s
            if began_s - self._last_tick_s > 2 * daemon.site.sample_period_s:
                process.gaps_s.append((self._last_tick_s, began_s))
        self._last_tick_s = began_s
        given = self.probes.given
        ids = daemon.site.probe_ids
        settings = self.truth.settings[-1][1]
        for one in settings.chambers:
            decision = snapshot.chambers[one.name].decision
            samples = {probe.name: given.get(ids[probe.name], ()) for probe in one.probes}
            on = {duty: self.on.get((one.name, duty), False) for duty in one.by_duty}
            alarms = [(alarm.kind.value, alarm.subject) for alarm in decision.alarms]
            found = self._witnesses[one.name].sees(moment.mono_s, true_s, one, samples, on, alarms)
            self._tell(found)
            self._stands(one.name, decision, process, true_s)
            for output in decision.outputs:
                driven = self.on.get((one.name, output.duty), False)
                if driven and not output.on:
                    self._broken(7, "shown as it is", one.name, f"{output.name} is on, not off")
        if snapshot.journal_trouble is not None and snapshot.journal_trouble.kind == "not-writing":
            told = {alarm.kind.value for alarm in snapshot.site_alarms}
            if "journal-not-writing" not in told:
                self._broken(7, "a failing journal is told", "", "no alarm")

    def _stands(self, chamber: str, decision: Any, process: Process, at_s: float) -> None:
        shown = decision.outlook
        now = Standing(
            at_s,
            process.number,
            None if shown is None else shown.profile,
            -1 if shown is None else shown.index,
            0.0 if shown is None else shown.elapsed_s,
            decision.mode is not Mode.PROFILE,
            self._commands[chamber],
        )
        before = self._standing.get(chamber)
        if before is None or before.process != now.process:
            self.truth.standings.setdefault(chamber, []).append(now)
        self._standing[chamber] = now

    def _keep_standings(self) -> None:
        for chamber, last in self._standing.items():
            if last.process == self.truth.processes[-1].number:
                self.truth.standings[chamber].append(last)

    def _tell(self, found: Sequence[Broken]) -> None:
        if len(self.truth.broken) < 200:
            self.truth.broken.extend(found)

    def _broken(self, invariant: int, promise: str, chamber: str, detail: str) -> None:
        self._tell([Broken(invariant, promise, chamber, self.clock.true_utc_s, detail)])

    # -- what the script does -------------------------------------------------------------------

    def later(self, delay_s: float, action: Callable[[], None]) -> None:
        """Let something happen so much later."""
        self.clock.after(delay_s, action)

    def _doer(self, entry: Entry) -> Callable[[], None]:
        def does() -> None:
            if entry.kind == "order":
                self.ask(entry.args["chamber"], entry.args)
                return
            self.truth.injected[entry.kind] = self.truth.injected.get(entry.kind, 0) + 1
            faults.KINDS[entry.kind].inject(self, entry.args)

        return does

    def probe_id(self, name: str) -> str:
        """Return a probe's id on the bus."""
        return self.site.probe_ids[name]

    def line(self, output: str) -> str:
        """Return an output's line."""
        return next(one.line for one in self.site.relays if one.output == output)

    def ask(self, chamber: str, order: dict[str, Any]) -> None:
        """Leave a command for the loop, if there is one."""
        command = orders.command_of(order, self.clock.now().wall_utc_s)
        self._request(chamber, command)

    def _request(self, chamber: str, command: Any) -> None:
        loop = None if self.daemon is None or not self.fate.alive else self.daemon._loop
        if loop is None:
            return
        if chamber:
            self._commands[chamber] += 1
        self.truth.asked.append((self.clock.true_utc_s, chamber, command))
        loop.requests.ask(chamber, command)

    def _brewer_looks(self) -> None:
        self.later(BREWER_LOOKS_EVERY_S, self._brewer_looks)
        loop = None if self.daemon is None else self.daemon._loop
        snapshot = None if loop is None else loop.snapshot
        if snapshot is None:
            return
        for name, view in snapshot.chambers.items():
            shown = view.decision.outlook
            if shown is not None and shown.kind == "wait":
                self._request(name, ConfirmStep(orders.WHO))
            for alarm in view.decision.alarms:
                self._request(name, AcknowledgeAlarm(alarm.kind.value, alarm.subject, orders.WHO))
        for alarm in snapshot.site_alarms:
            self._request("", AcknowledgeAlarm(alarm.kind.value, alarm.subject, orders.WHO))

    def kill_now(self) -> None:
        """SIGKILL, now."""
        if self.fate.alive:
            self.fate.kill()

    def restart(self, restart_s: float) -> None:
        """Stop in order, and start again."""
        self.restart_s = restart_s
        if self.fate.alive and self.daemon is not None:
            self.daemon.stop()

    def cut_power(self, cut: dict[str, Any]) -> None:
        """Cut the mains of board and chambers."""
        if self.fate.alive:
            self._cut = cut
            self.fate.kill()
        elif self.truth.processes:
            self._mains_are_away(cut)

    def step_wall(self, by_s: float) -> None:
        """Set the wall clock, wrongly."""
        self.clock.step_wall(by_s)
        self._wall_is(self.clock.now().wall_utc_s - self.clock.true_utc_s)

    def set_clock_right(self) -> None:
        """The time of the network has come."""
        self.clock.step_wall(self.clock.true_utc_s - self.clock.now().wall_utc_s)
        self.clock.vouch_for_wall(True)
        self._wall_is(0.0)

    def _wall_is(self, wrong_by_s: float) -> None:
        self.truth.wall_wrong_s.append((self.clock.true_utc_s, wrong_by_s))

    def disk_fails(self) -> None:
        """The disk is not to be relied on from now on, until it is mended."""
        self._disk_faults += 1
        self._disk_ok_from_s = float("inf")

    def disk_mended(self) -> None:
        """The disk works again; what waits for it is written when it is tried next."""
        self._disk_faults -= 1
        if not self._disk_faults:
            self._disk_ok_from_s = self.clock.true_utc_s + SHOWS_AFTER_S

    def _disk_may_fail(self) -> bool:
        return self.clock.true_utc_s < self._disk_ok_from_s

    def edit_site(self, changes: Sequence[Any]) -> None:
        """Somebody edits numbers in the site file and has it read again."""
        before = self._table
        self._table = edit(before, [tuple(one) for one in changes])  # type: ignore[misc]
        self._write_site()
        try:
            load_site(self.site_path)
        except ConfigError:
            # Refused while the daemon runs; a brewer puts it right before the next start.
            self._hang_up()
            self._table = before
            self.later(1.0, self._write_site)
            return
        self._hang_up()

    def break_site(self, args: dict[str, Any]) -> None:
        """The site file is left half written for a while."""
        text = written(self._table)
        self.site_path.write_text(text[: len(text) // 2] + "\n[[", encoding="utf-8")
        self._hang_up()
        self.later(args["lasts_s"], self._write_site)

    def _hang_up(self) -> None:
        if self.daemon is not None and self.fate.alive:
            self.daemon.hang_up()

    def _write_site(self) -> None:
        self.site_path.write_text(written(self._table), encoding="utf-8")

    def start_second(self) -> None:
        """Somebody starts a second daemon by hand, on the same site file."""
        if not self.fate.alive:
            return
        second = WorldRelays(self._contacts, self.clock, Fate())
        try:
            with hold(self.site, Ports(self.clock, self.probes, second)):
                self._broken(10, "one daemon owns the hardware", "", "a second one was let in")
        except OwnedElsewhere as refused:
            if refused.holder is None or str(refused.holder.pid) not in str(refused):
                self._broken(10, "it says who holds it", "", str(refused))
        except OwnershipError as error:
            self._broken(10, "a second daemon is refused for the right cause", "", str(error))
        if second.entered:
            self._broken(10, "a second daemon touches no line", "", "it claimed the lines")

    @property
    def marker(self) -> Path:
        """Where a run that could not be noted leaves word."""
        return self.site.socket_path.parent / RUN_MARKER
