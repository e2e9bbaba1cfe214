"""What a board may live through beside kills: other ends, rivals, edits, probes and clocks."""

from __future__ import annotations

import os
import signal
from threading import Event

from soak_board import SOAK_PACE, true_s
from soak_child import ForkedDaemon
from soak_life import Lives
from two_chambers import PROBES, STALE_S, WIRES

from fermd.control.settings import Duty

PERIOD_S = 60.0


class Troubles(Lives):
    """Each of them ends the life that it befalls."""

    def _stop(self) -> None:
        Event().wait(self._chance.uniform(0.0, 1.0))
        how = self._chance.choice((signal.SIGTERM, signal.SIGINT))
        self._orderly(how)

    def _watchdog(self) -> None:
        """A loop that hangs is ended by the service manager, with SIGABRT."""
        self._want_cold()
        self._board.wait_for(self._compressor_on, 4.0)
        hang = self._board.plant("hang")
        # The lease lets go meanwhile: its thread looks once a (real) second.
        if not self._board.wait_for(lambda: not self._board.on_now(), 3.0):
            self._verdict.fault("a stuck loop kept its relays on")
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
            self._verdict.fault(
                f"exception: ended with {life.exit_code}, on: {self._board.on_now()}"
            )
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
                self._verdict.fault(f"a second {what} ended with {code}: {said}")
            if any(edge.pid == second.pid for edge in self._board.edges()):
                self._verdict.fault(f"a second {what} drove a relay")
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
            self._verdict.fault("SIGHUP was not answered as it should be")
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
