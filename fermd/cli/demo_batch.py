"""The batch of a demonstration: the daemon's loop on a simulated board, and a brewer for it.

The brewer pitches, writes notes, pushes a loose plug back, acknowledges the alarm, confirms what
a profile waits for, and looks at the final hold for a while before ending it all.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime

from fermd import __version__
from fermd.cli.demo_screen import DemoScreen
from fermd.config.site import SimulatedSettings, SiteFile
from fermd.control.alarms import Alarms
from fermd.control.commands import AcknowledgeAlarm, ConfirmStep, StartProfile
from fermd.control.decision import Decision
from fermd.control.events import AlarmPhase, CommandAnswered
from fermd.control.progress import planned_s
from fermd.control.reading import ProbeFault
from fermd.control.settings import DAY_S, HOUR_S
from fermd.control.steps import FinalHold, Profile, Schedule, WaitForPerson
from fermd.hardware.simulated_clock import SimulatedClock
from fermd.journal.settings import JournalSettings
from fermd.journal.writer import SqliteJournal
from fermd.service.daemon import wiring
from fermd.service.loop import ControlLoop
from fermd.service.snapshot import Snapshot
from fermd.service.trial import trial_board

WHO = "demo"

TICKS_A_BATCH = 1000
"""So many ticks' rows are let wait for the disk at the most. The loop itself waits for nothing, and
a simulation that outruns its record would have to give up readings."""

PITCHED_UTC_S = datetime(2026, 3, 6, 17, 0, tzinfo=UTC).timestamp()
"""The demonstration's batch is pitched on a Friday evening in March."""

PITCH_AFTER_S = 120.0
"""A look at the thermometer first, s: the probes must have earned their trust."""

PLUG_LOOSE_AFTER_S = 2.4 * DAY_S
PLUG_LOOSE_FOR_S = 1500.0
"""When the vessel probe's plug comes loose, and how long nobody pushes it back, s."""

CONFIRM_AFTER_S = HOUR_S
"""How long a step that waits for a person waits, s."""

WITHOUT_END = (FinalHold.kind, Schedule.kind)
"""Steps that a profile comes to rest in."""

LAST_HOLD_S = 12 * HOUR_S
"""How long the final hold is watched before the demonstration ends, s."""


def planned_length_s(profile: Profile) -> float:
    """Return how long a profile takes by plan, with the final hold that is watched, s."""
    at_c, total_s = 20.0, LAST_HOLD_S
    for step in profile.steps:
        total_s += planned_s(step, at_c) or 0.0
        at_c = getattr(step, "to_c", getattr(step, "target_c", at_c))
    return total_s


class DemoBatch:
    """One batch, from the start of the board to the end of the final hold."""

    def __init__(
        self,
        site: SiteFile,
        profile: Profile,
        pace: float | None,
        seed: int,
        screen: DemoScreen,
    ) -> None:
        self._site = site
        self._profile = profile
        self._screen = screen
        self._chamber = site.settings.chambers[0].name
        self._probe_id = site.probe_ids[site.settings.chambers[0].vessel_probe.name]
        self._total_s = planned_length_s(profile)
        self._clock = SimulatedClock(PITCHED_UTC_S, times_real_time=pace)
        trial = site.simulated or SimulatedSettings()
        self._board = trial_board(site, trial, self._clock, seed)
        self._loop: ControlLoop | None = None
        self._journal: SqliteJournal | None = None
        self._ticks = 0
        self._started = False
        self._stopping = False
        self.finished = False
        """Whether it has come to its final hold."""
        self.refused = ""
        """Why the chamber did not take the profile, if it did not."""

    def run(self) -> None:
        """Run until the batch is over or `stop()`; every relay is off when this ends."""
        clock, board = self._clock, self._board
        with board.relays:
            journal = self._journal = SqliteJournal(
                self._site.journal_path,
                boot_id=clock.boot_id(),
                moment=clock.now(),
                version=__version__,
                # Simulated minutes pass in milliseconds: what waits for long is a second here.
                settings=JournalSettings(batch_s=1.0),
            )
            cleanly = False
            try:
                with board.probes, self._screen:
                    self._run_loop(journal)
                    cleanly = True
            finally:
                journal.close(clock.now(), cleanly=cleanly)
                clock.close()

    def stop(self) -> None:
        """Ask the batch to end; may be called from a signal handler."""
        self._stopping = True
        if self._loop is not None:
            self._loop.stop()

    def _run_loop(self, journal: SqliteJournal) -> None:
        loop = self._loop = ControlLoop(
            self._site.settings,
            wiring(self._site),
            self._clock,
            self._board.probes,
            self._board.relays,
            journal,
            self._after_tick,
        )
        self._later(PITCH_AFTER_S, self._pitch)
        self._later(PLUG_LOOSE_AFTER_S, self._loosen)
        if self._stopping:
            loop.stop()
        loop.run()

    def _later(self, after_s: float, action: Callable[[], None]) -> None:
        self._clock.after(after_s, action)

    def _pitch(self) -> None:
        self._ask(StartProfile(self._profile, WHO))
        self._note("20 l of 12 °P, pitched")

    def _loosen(self) -> None:
        self._board.probes.break_probe(self._probe_id, ProbeFault.DISCONNECTED)
        self._later(PLUG_LOOSE_FOR_S, self._push_back)

    def _push_back(self) -> None:
        self._board.probes.mend(self._probe_id)
        self._note("the vessel probe's plug was loose; pushed it back")

    def _note(self, text: str) -> None:
        if self._journal is not None:
            self._journal.note(self._clock.now(), self._chamber, WHO, text)

    def _ask(self, command: AcknowledgeAlarm | ConfirmStep | StartProfile) -> None:
        if self._loop is not None:
            self._loop.requests.ask(self._chamber, command)

    def _after_tick(self, snapshot: Snapshot) -> None:
        self._ticks += 1
        if self._ticks % TICKS_A_BATCH == 0 and self._journal is not None:
            self._journal.flush()
        decision = snapshot.chambers[self._chamber].decision
        self._screen.show(snapshot, self._chamber, self._total_s)
        self._acknowledge(decision.alarms)
        shown = decision.outlook
        self._started = self._started or shown is not None
        if shown is None and not self._started:
            self.refused = _why_refused(decision)
            if self.refused:
                self._end(finished=False)
        elif shown is None or (shown.kind in WITHOUT_END and shown.elapsed_s >= LAST_HOLD_S):
            self._end(finished=True)
        elif shown.kind == WaitForPerson.kind and shown.elapsed_s >= CONFIRM_AFTER_S:
            self._ask(ConfirmStep(WHO))

    def _acknowledge(self, alarms: Alarms) -> None:
        """See to the alarms, as a brewer with the page open would: each at the next tick."""
        for alarm in alarms:
            if alarm.phase is AlarmPhase.RAISED:
                self._ask(AcknowledgeAlarm(alarm.kind.value, alarm.subject, WHO))

    def _end(self, *, finished: bool) -> None:
        self.finished = finished
        self.stop()


def _why_refused(decision: Decision) -> str:
    answers = [event for event in decision.events if isinstance(event, CommandAnswered)]
    return next((answer.why for answer in answers if not answer.taken), "")
