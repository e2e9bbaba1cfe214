"""One round of the soak: a board, its lives and their ends, and then everything is looked at.

What happens, and in which order, is drawn from a seed; when exactly a process is hit is up to the
machine, so that the same seed draws the same round again but not the same microseconds.
"""

from __future__ import annotations

import os
import random
import signal
import sqlite3
from collections.abc import Callable
from contextlib import ExitStack, closing, suppress
from pathlib import Path
from threading import Event

import httpx
from outside_reader import OutsideReader, Rows, committed_rows, lost, newest_seq
from pin_record import PinRecord, Told
from soak_board import SOAK_PACE, Chambers, Life, SoakBoard, true_s, watching
from soak_child import ForkedDaemon
from soak_disk import fill, limit_files, small_disk
from soak_figures import Figures
from torn_copy import commit_ends, copy_journal, cut_log, is_torn, wal_of, whole_up_to
from two_chambers import PROBES, STALE_S, WIRE, WIRES

from fermd.config.site_file import load_site
from fermd.control.settings import Duty
from fermd.journal.readonly import connect_to_read
from fermd.review.invariants import violations

PERIOD_S = 60.0
LATEST_TICK_S = 180.0
"""A tick may be as late as the lease lets it; beyond, the relays let go. On a machine that is busy
with other things it is: 180 s are less than half a real second here."""
LONGEST_LEFT_OVER_S = 900.0
"""Time by which a late tick overran a step goes to the next one; no tick is later than this."""
STEP_S = 2400.0
"""A step of the profile, s: six real seconds."""

PROFILE = 'name = "Soak"\n' + "".join(
    f'\n[[step]]\nkind = "hold"\ntarget_c = {target_c:.1f}\nfor = "{STEP_S / 60:.0f} min"\n'
    for target_c in (16.0, 12.0, 17.0, 11.0, 18.0, 10.0, 16.0, 9.0, 15.0, 8.0)
)

KILLS_A_ROUND = 50
"""With each of the other ends once."""

PHASES = ("start-up", "tick", "compressor", "switching", "commit", "shutdown", "any")
"""Where a kill is aimed at."""

ENDED_BY_A_KILL = (
    "copy",
    "copy-torn",
    "full-disk",
    "full-files",
    "second",
    "site",
    "probe",
    "cold",
)
OTHER_ENDS = ("stop", "watchdog", "exception", "power", *ENDED_BY_A_KILL)


class Round:
    """One board from its first start to the last look at it."""

    def __init__(self, seed: int, kills: int, folder: Path) -> None:
        self._chance = random.Random(seed)
        self._kills = kills
        self._folder = folder
        self.figures = Figures()
        self._disk_full_s: list[tuple[float, float]] = []
        self._must_be_off: list[tuple[int, float, float, str]] = []
        self._offset_s = 0.0
        self._started_profile = False
        self._copies = 0
        self._newest_before = 0

    def run(self) -> Figures:
        """Live through it; what was wrong is in the figures' violations."""
        with ExitStack() as stack:
            self._disk = stack.enter_context(small_disk(self._folder / "disk"))
            # Without a disk of its own, or in every third round, fsync takes as long as it takes.
            on_disk = self._disk if self._chance.random() < 2 / 3 else None
            self._board = SoakBoard(self._folder, on_disk)
            stack.callback(self._board.clear)
            self._chambers = Chambers(self._board)
            stack.callback(self._chambers.close)
            self._reader = OutsideReader(self._board.journal)
            stack.callback(self._reader.close)
            self._disk = on_disk
            try:
                for what in self._script():
                    self._live(what)
                self._end_well()
                self._look_at_everything()
            except Exception as error:  # noqa: BLE001 - told with the seed, and the folder is kept
                self._fault(f"the round could not go on: {error!r}")
                if self._board.current is not None:
                    self._board.current.kill()
            finally:
                if on_disk is not None and self.figures.violations:
                    copy_journal(self._board.journal, self._folder)
        return self.figures

    def _script(self) -> list[str]:
        times = max(1, round(self._kills / KILLS_A_ROUND))
        aimed = max(0, self._kills - times * len(ENDED_BY_A_KILL))
        phases = [PHASES[n % len(PHASES)] for n in range(aimed)]
        script = [*phases, *(OTHER_ENDS * times)]
        self._chance.shuffle(script)
        return script

    def _fault(self, text: str) -> None:
        self.figures.violations.append(text)

    # -- one life -------------------------------------------------------------------------------

    def _live(self, what: str) -> None:
        fresh = self._chance.random() < 0.1
        self.figures.starts_by_a_fresh_interpreter += fresh
        self._board.begin(fresh=fresh)
        if what == "start-up":
            Event().wait(self._chance.uniform(0.0, 0.8 if fresh else 0.35))
            self._kill(what)
            return
        self._board.until_ticking()
        self._check_after_start()
        self._give_orders()
        if self._chance.random() < 0.35:
            self._step_clock()
        act: dict[str, Callable[[], None]] = {
            "stop": self._stop,
            "watchdog": self._watchdog,
            "exception": self._exception,
            "power": self._power,
            "copy": lambda: self._copy(torn=False),
            "copy-torn": lambda: self._copy(torn=True),
            "full-disk": lambda: self._full(with_disk=True),
            "full-files": lambda: self._full(with_disk=False),
            "second": self._second,
            "site": self._site,
            "probe": lambda: self._misread(None),
            "cold": lambda: self._misread(-6.0),
        }
        if what in act:
            act[what]()
        else:
            self._kill_aimed(what)

    def _give_orders(self) -> None:
        if not self._started_profile:
            self._started_profile = self._board.command(
                "lager", "start-profile", profile_toml=PROFILE
            )
        colder = self._chance.random() < 0.6
        by_c = self._chance.uniform(1.0, 4.0) * (-1 if colder else 1)
        target_c = min(24.0, max(3.0, self._chambers.beer_c("ale") + by_c))
        self._board.command("ale", "set-target", target_c=round(target_c, 1))

    def _compressor_on(self) -> bool:
        on = self._board.on_now()
        return any(WIRE[gpio].is_compressor for gpio in on)

    def _want_cold(self) -> None:
        target_c = max(2.0, self._chambers.beer_c("ale") - 4.0)
        self._board.command("ale", "set-target", target_c=round(target_c, 1))

    # -- kills ----------------------------------------------------------------------------------

    def _kill_aimed(self, phase: str) -> None:
        wait = Event().wait
        match phase:
            case "tick":
                wait(self._chance.uniform(0.0, 0.6))
                with watching(self._board.folder / "ticks") as touched:
                    touched(2.0)
                    wait(self._chance.choice((0.0, 0.0005, 0.001, 0.002, 0.004)))
                    self._signal(signal.SIGKILL)
            case "compressor":
                self._want_cold()
                self._board.wait_for(self._compressor_on, 4.0)
                wait(self._chance.uniform(0.0, 0.5))
            case "switching":
                self._want_cold()
                with watching(self._board.folder / "edges") as switched:
                    switched(3.0)
                    wait(self._chance.choice((0.0, 0.001, 0.01, 0.05)))
                    self._signal(signal.SIGKILL)
            case "commit":
                self._give_orders()
                # By its own hand, to hit it: before, within, or after it and before anybody knows.
                within = [f"{self._chance.uniform(0.0, 0.0015):.6f}" for _ in range(4)]
                when = self._chance.choice(["before", "after", *within])
                order = self._board.plant("die-at-commit", when)
                daemon = self._board.current
                assert daemon is not None
                died = self._board.wait_for(lambda: daemon.poll() is not None, 8.0)
                order.unlink()
                place = when if when in ("before", "after") else "within"
                phase = f"commit, {place}" if died else "any"
            case "shutdown":
                wait(self._chance.uniform(0.0, 1.2))
                self._signal(signal.SIGTERM)
                wait(self._chance.uniform(0.0, 0.06))
            case _:
                wait(self._chance.uniform(0.0, 1.6))
        self._kill(phase)

    def _signal(self, number: signal.Signals) -> None:
        assert self._board.current is not None
        self._board.current.send_signal(number)

    def _kill(self, phase: str) -> None:
        life = self._board.finish(f"kill -9, {phase}", signal.SIGKILL)
        if life.exit_code == -signal.SIGKILL:
            self.figures.kills += 1
            self.figures.kills_by_phase[phase] += 1
            self.figures.kills_with_a_relay_on += bool(self._board.on_now())
            with suppress(FileNotFoundError):
                log = wal_of(self._board.journal).read_bytes()
                self.figures.transactions_torn_by_kills += is_torn(log)
        elif phase == "shutdown" and life.exit_code == 0:
            # It was quicker than the kill: an orderly stop, and a kill still owed.
            self.figures.orderly_stops += 1
            self._live("shutdown")
            return
        else:
            self._fault(f"killed in {phase}, it ended with {life.exit_code} ({self._errors(life)})")
        self._after_end()

    def _errors(self, life: Life) -> str:
        process = next(one for one in self._board.processes if one.pid == life.pid)
        return self._board.last_words(process)[-2000:]

    def _after_end(self) -> None:
        """Nobody is in charge: everything that was committed is there, and sound."""
        seen = self._reader.look()
        self._compare(seen)
        self._newest_before = newest_seq(seen)
        self._check_soundness(self._board.journal)
        if self._chance.random() < 0.3 and (code := self._board.release()) != os.EX_OK:
            self._fault(f"release ended with {code}")

    def _compare(self, seen: Rows) -> None:
        if not self._board.journal.exists():
            return
        try:
            now = committed_rows(self._board.journal)
        except sqlite3.Error as error:
            if seen:
                self._fault(f"the journal cannot be read: {error}")
            return
        for text in lost(seen, now):
            self._fault(f"after {self._board.lives[-1].how}: {text}")
        self.figures.rows_checked += len(seen)

    def _check_soundness(self, journal: Path) -> None:
        if not journal.exists():
            return
        try:
            with closing(connect_to_read(journal)) as connection:
                (verdict,) = connection.execute("PRAGMA integrity_check").fetchone()
        except sqlite3.Error as error:
            verdict = str(error)
        if verdict != "ok":
            self._fault(f"integrity check of {journal.name}: {verdict}")

    def _check_after_start(self) -> None:
        """Nothing is lost by a start either, and it goes on after the newest that was seen."""
        with suppress(httpx.HTTPError):
            if any(alarm == "journal-set-aside" for alarm in self._board.site_alarms()):
                self._fault("a sound journal was set aside")
        self._compare(self._reader.look())
        with closing(connect_to_read(self._board.journal)) as connection:
            newest = connection.execute(
                "SELECT max(seq) FROM daemon_runs WHERE change <> 'stopped'"
            ).fetchone()[0]
        if newest <= self._newest_before:
            self._fault(f"the start is row {newest}, but {self._newest_before} was there before")

    # -- other ends -----------------------------------------------------------------------------

    def _stop(self) -> None:
        Event().wait(self._chance.uniform(0.0, 1.0))
        how = self._chance.choice((signal.SIGTERM, signal.SIGINT))
        self._orderly(how)

    def _orderly(self, how: signal.Signals = signal.SIGTERM) -> None:
        life = self._board.finish(f"stop by {how.name}", how)
        self.figures.orderly_stops += 1
        if life.exit_code != os.EX_OK:
            self._fault(f"{how.name}: ended with {life.exit_code} ({self._errors(life)})")
        if self._board.on_now():
            self._fault(f"{how.name}: left {self._board.on_now()} on")
        with closing(connect_to_read(self._board.journal)) as connection:
            newest = connection.execute(
                "SELECT change, cleanly FROM daemon_runs ORDER BY seq DESC LIMIT 1"
            ).fetchone()
        if newest != ("stopped", 1):
            self._fault(f"{how.name}: the last word is {newest}")
        self._after_end()

    def _watchdog(self) -> None:
        """A loop that hangs is ended by the service manager, with SIGABRT."""
        self._want_cold()
        self._board.wait_for(self._compressor_on, 4.0)
        hang = self._board.plant("hang")
        # The lease lets go meanwhile: its thread looks once a (real) second.
        if not self._board.wait_for(lambda: not self._board.on_now(), 3.0):
            self._fault("a stuck loop kept its relays on")
        self._board.finish("SIGABRT of the watchdog", signal.SIGABRT)
        hang.unlink()
        self.figures.watchdog_aborts += 1
        self._after_end()

    def _exception(self) -> None:
        Event().wait(self._chance.uniform(0.3, 1.2))
        explode = self._board.plant("explode")
        life = self._board.finish("an exception", None)
        explode.unlink()
        self.figures.unexpected_exceptions += 1
        if life.exit_code != os.EX_SOFTWARE or self._board.on_now():
            self._fault(f"exception: ended with {life.exit_code}, on: {self._board.on_now()}")
        self._after_end()

    def _power(self) -> None:
        """The board loses its power in the middle of it, and boots again."""
        self._want_cold()
        self._board.wait_for(self._compressor_on, 4.0)
        self._board.finish("power cut", signal.SIGKILL)
        self._board.lose_power()
        self._chambers.lose_power()
        self.figures.power_cuts_while_running += 1
        self._after_end()

    def _second(self) -> None:
        first = self._board.lives[-1].pid
        self._want_cold()
        Event().wait(self._chance.uniform(0.0, 1.2))
        for what in ("run", "release"):
            errors = self._board.folder / f"errors-second-{true_s():.0f}"
            second = ForkedDaemon(what, self._board.site_path, self._board.folder, {}, errors)
            code = second.wait(30.0)
            said = second.stderr.read()
            second.stderr.close()
            if code != os.EX_TEMPFAIL or f"process {first}" not in said:
                self._fault(f"a second {what} ended with {code}: {said}")
            if any(edge.pid == second.pid for edge in self._board.edges()):
                self._fault(f"a second {what} drove a relay")
            self.figures.second_daemons_refused += 1
        self._kill("second daemon")

    def _site(self) -> None:
        """The site file is edited while it runs: stricter, then nonsense, then as it was."""
        self._want_cold()
        good = True
        for text in ("strict", "nonsense", "usual"):
            Event().wait(self._chance.uniform(0.1, 0.4))
            if text == "nonsense":
                self._board.site_path.write_text("time_zone = [", "utf-8")
            else:
                self._board.strict_site(text == "strict")
            self._board.listener.heard.clear()
            self._signal(signal.SIGHUP)
            words = "the site file was read again" if text != "nonsense" else "has errors"
            good &= self._board.wait_for(
                lambda words=words: any(words in h for h in list(self._board.listener.heard)), 5.0
            )
            self.figures.site_files_edited += 1
        self._board.strict_site(False)
        if not good:
            self._fault("SIGHUP was not answered as it should be")
        self._kill("edited site")

    def _misread(self, shown_c: float | None) -> None:
        """The vessel's probe fails (None), or shows beer below its freezing margin."""
        chamber = self._chance.choice(tuple(PROBES))
        vessel, _ = PROBES[chamber]
        self._want_cold()
        self._board.wait_for(self._compressor_on, 4.0)
        self._chambers.shown[vessel] = shown_c
        # Until it is believed: the stale limit for one that fails, the tick; and the lease, whose
        # thread looks once a (real) second, where the loop is late.
        allowed_s = (STALE_S if shown_c is None else 0.0) + 3 * PERIOD_S + SOAK_PACE * 1.2
        from_s = true_s() + allowed_s
        Event().wait(allowed_s / SOAK_PACE + 0.3)
        to_s = true_s()
        self._chambers.shown.pop(vessel)
        duties = (Duty.COOL, Duty.HEAT) if shown_c is None else (Duty.COOL,)
        why = "no trustworthy vessel" if shown_c is None else "beer below its freezing margin"
        for wire in WIRES:
            if wire.chamber == chamber and wire.duty in duties:
                self._must_be_off.append((wire.gpio, from_s, to_s, why))
        self.figures.probe_faults += 1
        self._kill("probe fault")

    def _step_clock(self) -> None:
        self._offset_s += self._chance.choice((-3600.0, 7200.0, 1e7, -1e7, 90.0, -90.0))
        self._board.set_wall_by(self._offset_s)
        unset = self._board.folder / "wall-unset"
        if self._chance.random() < 0.3:
            self._board.plant("wall-unset")
        else:
            unset.unlink(missing_ok=True)
        self.figures.clock_steps += 1

    # -- disk and copies ------------------------------------------------------------------------

    def _full(self, *, with_disk: bool) -> None:
        """No room for the journal: control goes on, and the record catches up or owns its gap."""
        pid, from_s = self._board.lives[-1].pid, true_s()
        ballast = fill(self._disk) if with_disk and self._disk is not None else None
        if ballast is None:
            # The pins' own record still fits, what the journal has and needs does not.
            size = (self._board.folder / "edges").stat().st_size + 6144
            limit_files(pid, size)
        self.figures.disk_full_episodes["ENOSPC" if ballast else "EFBIG"] += 1
        self._want_cold()
        noticed = self._board.wait_for(self._writes_in_vain, 4.0)
        self.figures.disk_full_episodes["noticed"] += noticed
        tick = self._tick()
        if not self._board.wait_for(lambda: (self._tick() or 0) > (tick or 0), 5.0):
            self._fault("control did not go on with a full disk")
        if ballast is not None and self._chance.random() < 0.5:
            # Killed with a full disk, and started on it.
            self._board.finish("kill -9, full disk", signal.SIGKILL)
            self.figures.kills_by_phase["full disk"] += 1
            self.figures.kills += 1
            self._after_end()
            self._board.begin()
            self._board.until_ticking()
            self._compare(self._reader.look())
            Event().wait(self._chance.uniform(0.2, 1.2))
        if ballast is not None:
            ballast.unlink()
        else:
            limit_files(pid, None)
        if not self._board.wait_for(lambda: self._board.status()["journal"] is None, 12.0):
            self._fault("the journal did not catch up when there was room")
        self._disk_full_s.append((from_s, true_s()))
        self._kill("full disk over")

    def _writes_in_vain(self) -> bool:
        """Give it something to write, and ask whether it can."""
        self._give_orders()
        return self._board.status()["journal"] is not None

    def _tick(self) -> int | None:
        with suppress(httpx.HTTPError, KeyError):
            return self._board.tick()
        return None

    def _copy(self, *, torn: bool) -> None:
        """The power goes at one moment: what the files say then is all that there is.

        The daemon stands still while they are copied, so that both are of one moment; it goes on
        afterwards. With `torn` the log ends at any byte.
        """
        self._give_orders()
        Event().wait(self._chance.uniform(0.0, 1.2))
        if torn:
            with watching(wal_of(self._board.journal)) as written:
                written(2.0)
        self._signal(signal.SIGSTOP)
        try:
            seen = self._reader.look()
            self._copies += 1
            folder = self._folder / f"c{self._copies}"
            copy = copy_journal(self._board.journal, folder)
        finally:
            self._signal(signal.SIGCONT)
        if torn and wal_of(copy).exists():
            log = wal_of(copy).read_bytes()
            ends = commit_ends(log)
            end = ends[-1] if ends else 0
            at = self._chance.randrange(32, max(33, min(len(log), end + 8192)))
            whole = copy_journal(copy, folder / "whole")
            cut_log(whole, whole_up_to(log, at))
            seen = committed_rows(whole)
            cut_log(copy, at)
            self.figures.torn_logs += 1
        self.figures.power_cuts_on_copies += 1
        self._start_on_copy(folder, seen)
        self._kill("copied")

    def _start_on_copy(self, folder: Path, seen: Rows) -> None:
        board = SoakBoard(folder)
        try:
            for vessel, air in PROBES.values():
                board.tree.add_probe(vessel, 30.0)
                board.tree.add_probe(air, 30.0)
            # Nobody of this folder is known to have lived: the first start knows nothing.
            board.lose_power()
            board.begin()
            board.until_ticking()
            for text in lost(seen, committed_rows(board.journal)):
                self._fault(f"on copy {folder.name}: {text}")
            self.figures.rows_checked += len(seen)
            board.command("ale", "set-target", target_c=15.0)
            started = board.wait_for(
                lambda: any(WIRE[gpio].is_compressor for gpio in board.on_now()), 10.0
            )
            if not started:
                self._fault(f"on copy {folder.name}: no compressor started")
            board.finish("stop", signal.SIGTERM)
            self._check_soundness(board.journal)
            with suppress(FileNotFoundError):
                (aside,) = folder.glob("journal.db.set-aside-*") or (None,)
                self._fault(f"on copy {folder.name}: set aside as {aside}")
        except ValueError:
            pass  # nothing was set aside
        finally:
            board.clear()
        self._judge(board, f"on copy {folder.name}: ", told_since_s=board.boots[board.boot_id])

    # -- the end --------------------------------------------------------------------------------

    def _end_well(self) -> None:
        self._board.begin()
        self._board.until_ticking()
        self._check_after_start()
        self._orderly()
        self.figures.rows_of_journals += len(self._reader.look())

    def _look_at_everything(self) -> None:
        self._judge(self._board, "")
        self._look_at_profile()

    def _judge(self, board: SoakBoard, where: str, told_since_s: float = 0.0) -> None:
        settings = load_site(board.site_path).settings
        for broken in violations(board.journal, settings, LATEST_TICK_S):
            if not where or self._is_new(board, broken.seq, told_since_s):
                self._fault(f"{where}journal: {broken}")
        told = [one for one in self._told(board) if one.at_s >= told_since_s]
        record = PinRecord(
            board.edges(),
            board.lives,
            board.power_losses_s,
            told,
            self._disk_full_s,
            () if where else self._must_be_off,
        )
        for text in record.faults():
            self._fault(f"{where}pins: {text}")
        figures = record.figures
        self.figures.compressor_starts += figures.starts
        self.figures.pin_edges += figures.edges
        self.figures.switchings_compared += figures.told
        self.figures.shortest_off_s = min(self.figures.shortest_off_s, figures.shortest_off_s)
        self.figures.longest_decision_to_relay_s = max(
            self.figures.longest_decision_to_relay_s, figures.latest_s
        )

    def _is_new(self, board: SoakBoard, seq: int, since_s: float) -> bool:
        """Whether a row of a copy is of the start on it: the rows before are judged as a whole."""
        with closing(connect_to_read(board.journal)) as connection:
            (first,) = connection.execute(
                "SELECT min(seq) FROM daemon_runs JOIN boots USING (boot) WHERE boot_id = ?",
                (board.boot_id,),
            ).fetchone()
        return first is not None and seq >= first

    def _told(self, board: SoakBoard) -> list[Told]:
        began = self._board.boots | board.boots
        with closing(connect_to_read(board.journal)) as connection:
            rows = connection.execute(
                "SELECT boot_id, mono_s, line, is_on FROM output_changes JOIN boots USING (boot) "
                "WHERE certainty = 'observed' ORDER BY seq"
            ).fetchall()
        return [Told(line, bool(on), began[boot] + mono_s) for boot, mono_s, line, on in rows]

    def _look_at_profile(self) -> None:
        """No step is repeated, skipped or shortened, whatever ended whom."""
        with closing(connect_to_read(self._board.journal)) as connection:
            rows = connection.execute(
                "SELECT boot_id, mono_s, change, step_index FROM step_changes "
                "JOIN boots USING (boot) WHERE chamber = 'lager' ORDER BY seq"
            ).fetchall()
        entered: list[tuple[int, float]] = []
        left_over_s = 0.0
        for boot, mono_s, change, index in rows:
            if change != "entered":
                continue
            at_s = self._board.boots[boot] + mono_s
            if entered:
                before, since_s = entered[-1]
                if index != before + 1:
                    self._fault(f"profile: step {index} was entered after step {before}")
                counted_s = at_s - since_s + left_over_s
                if counted_s < STEP_S - 1.0:
                    self._fault(f"profile: step {before} lasted {counted_s:.0f} s")
                left_over_s = min(counted_s - STEP_S, LONGEST_LEFT_OVER_S)
            elif index not in (0, 1):
                self._fault(f"profile: the first step entered is {index}")
            entered.append((index, at_s))
        self.figures.profile_steps += len(entered)
