"""`fermd demo`: a whole batch on a simulated chamber, in minutes, by the real one's code.

The loop, the core, the profile engine and the journal are the daemon's own; only the clock and
the hardware behind the ports are simulated. In the middle of it the vessel probe's plug comes
loose, so that there is something to see of probe health, fail-safe and alarms.
"""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import click

from fermd import __version__
from fermd.cli.demo_screen import DemoScreen, LineScreen, TerminalScreen
from fermd.cli.demo_site import demo_site
from fermd.config.errors import ConfigError
from fermd.config.profile_file import find_profile, load_profile
from fermd.config.site import SimulatedSettings, SiteFile
from fermd.control.commands import AcknowledgeAlarm, ConfirmStep, StartProfile
from fermd.control.decision import Mode
from fermd.control.events import CommandAnswered
from fermd.control.progress import planned_s
from fermd.control.reading import ProbeFault
from fermd.control.steps import Profile, WaitForPerson
from fermd.hardware.simulated_clock import SimulatedClock
from fermd.hardware.simulated_site import SimulatedBoard
from fermd.journal.settings import JournalSettings
from fermd.journal.writer import SqliteJournal
from fermd.review import figures as review
from fermd.review.invariants import violations
from fermd.review.picture import PictureError, draw
from fermd.review.record import read_record
from fermd.review.summary import summary
from fermd.service.board import trial_board
from fermd.service.daemon import wiring
from fermd.service.loop import ControlLoop
from fermd.service.snapshot import Snapshot

EXAMPLES = """\b
Examples:
  fermd demo
  fermd demo --profile ale-free-rise --speed 3600
  fermd demo --speed 1 --journal evening.db
  fermd demo --fast --picture batch.png
"""

WHO = "demo"

WHOLE_BATCH_S = 110.0
"""How long a whole batch takes by default, s of real time."""

PITCHED_UTC_S = datetime(2026, 3, 6, 17, 0, tzinfo=UTC).timestamp()
"""The demonstration's batch is pitched on a Friday evening in March."""

DAY_S = 86400.0

PITCH_AFTER_S = 120.0
"""A look at the thermometer first, s: the probes must have earned their trust."""

PLUG_LOOSE_AFTER_S = 2.4 * DAY_S
PLUG_LOOSE_FOR_S = 1500.0
"""When the vessel probe's plug comes loose, and how long nobody pushes it back, s."""

LAST_HOLD_S = 12 * 3600.0
"""How long the final hold is watched before the demonstration ends, s."""


@click.command(epilog=EXAMPLES)
@click.option("--profile", default="lager-diacetyl-rest", show_default=True, help="Name or file.")
@click.option(
    "--speed",
    type=click.FloatRange(1.0, 1e6),
    help="Times real time, from 1; by default a whole batch takes about two minutes.",
)
@click.option("--fast", is_flag=True, help="As fast as this machine can, whatever --speed says.")
@click.option("--journal", type=click.Path(path_type=Path), help="The SQLite file; must be new.")
@click.option("--picture", type=click.Path(path_type=Path), help="Ends in .svg, .png or .pdf.")
@click.option("--seed", default=1, show_default=True, help="Of the probes' noise.")
def command(
    profile: str,
    speed: float | None,
    fast: bool,
    journal: Path | None,
    picture: Path | None,
    seed: int,
) -> None:
    """Run a whole batch on a simulated chamber, with live progress and a summary."""
    try:
        planned = load_profile(find_profile(profile))
    except ConfigError as error:
        click.echo(str(error), err=True)
        sys.exit(error.exit_code)
    stamp = time.strftime("%Y%m%d-%H%M%S")
    record = journal or Path(f"fermd-demo-{stamp}.db")
    if record.exists():
        click.echo(f"{record}: is there already; name another journal, or remove it", err=True)
        sys.exit(os.EX_CANTCREAT)
    pace = None if fast else speed or max(1.0, planned_length_s(planned) / WHOLE_BATCH_S)
    site = demo_site(record)
    screen = TerminalScreen() if sys.stdout.isatty() else LineScreen()
    finished = run_batch(site, planned, pace, seed, screen)
    sys.exit(_look_back(site, record, picture or record.with_suffix(".svg"), finished))


def planned_length_s(profile: Profile) -> float:
    """Return how long a profile takes by plan, with the final hold that is watched, s."""
    at_c, total_s = 20.0, LAST_HOLD_S
    for step in profile.steps:
        total_s += planned_s(step, at_c) or 0.0
        at_c = getattr(step, "to_c", getattr(step, "target_c", at_c))
    return total_s


def run_batch(
    site: SiteFile, profile: Profile, pace: float | None, seed: int, screen: DemoScreen
) -> bool:
    """Run a batch from pitching to the final hold; returns whether it got there."""
    trial = site.simulated or SimulatedSettings()
    clock = SimulatedClock(PITCHED_UTC_S, times_real_time=pace)
    board = trial_board(site, trial, clock, seed)
    with board.relays:
        journal = SqliteJournal(
            site.journal_path,
            boot_id=clock.boot_id(),
            moment=clock.now(),
            version=__version__,
            # Simulated minutes pass in milliseconds: what waits for long is a second here.
            settings=JournalSettings(batch_s=1.0),
        )
        cleanly = False
        try:
            with board.probes, screen:
                brewer = _Brewer(site, profile, clock, board, journal, screen)
                brewer.loop.run()
                cleanly = True
        finally:
            journal.close(clock.now(), cleanly=cleanly)
            clock.close()
    return brewer.finished


class _Brewer:
    """Who stands in for the brewer: pitches, notes, pushes the plug back, looks at the end."""

    def __init__(
        self,
        site: SiteFile,
        profile: Profile,
        clock: SimulatedClock,
        board: SimulatedBoard,
        journal: SqliteJournal,
        screen: DemoScreen,
    ) -> None:
        self._chamber = site.settings.chambers[0].name
        self._clock = clock
        self._board = board
        self._journal = journal
        self._screen = screen
        self._profile = profile
        self._total_s = planned_length_s(profile)
        self._probe_id = site.probe_ids[site.settings.chambers[0].vessel_probe.name]
        self._alarmed = False
        self._started = False
        self.finished = False
        self.loop = ControlLoop(
            site.settings,
            wiring(site),
            clock,
            board.probes,
            board.relays,
            journal,
            self._after_tick,
        )
        self._later(PITCH_AFTER_S, self._pitch)
        self._later(PLUG_LOOSE_AFTER_S, self._loosen)

    def _later(self, after_s: float, action: Callable[[], None]) -> None:
        self._clock.after(after_s, action)

    def _pitch(self) -> None:
        self.loop.requests.ask(self._chamber, StartProfile(self._profile, WHO))
        self._note("20 l of 12 °P, pitched")

    def _loosen(self) -> None:
        self._board.probes.break_probe(self._probe_id, ProbeFault.DISCONNECTED)
        self._later(PLUG_LOOSE_FOR_S, self._push_back)

    def _push_back(self) -> None:
        self._board.probes.mend(self._probe_id)
        self._note("the vessel probe's plug was loose; pushed it back")

    def _note(self, text: str) -> None:
        self._journal.note(self._clock.now(), self._chamber, WHO, text)

    def _after_tick(self, snapshot: Snapshot) -> None:
        decision = snapshot.chambers[self._chamber].decision
        self._screen.show(snapshot, self._chamber, self._total_s)
        for alarm in decision.alarms:
            if alarm.phase.value == "raised" and not self._alarmed:
                self._alarmed = True
                seen = AcknowledgeAlarm(alarm.kind.value, alarm.subject, WHO)
                self.loop.requests.ask(self._chamber, seen)
        shown = decision.outlook
        self._started = self._started or shown is not None
        if shown is None:
            refused = any(isinstance(e, CommandAnswered) and not e.taken for e in decision.events)
            if self._started or refused:
                self._end(decision.mode is Mode.HAND)
        elif shown.kind == "final-hold" and shown.elapsed_s >= LAST_HOLD_S:
            self._end(True)
        elif shown.kind == WaitForPerson.kind and shown.elapsed_s >= 3600.0:
            self.loop.requests.ask(self._chamber, ConfirmStep(WHO))

    def _end(self, finished: bool) -> None:
        self.finished = finished
        self.loop.stop()


def _look_back(site: SiteFile, record: Path, picture: Path, finished: bool) -> int:
    chamber = site.settings.chambers[0]
    told = read_record(record, chamber.name)
    click.echo(summary(review.figures(told, chamber.vessel_probe.name)))
    click.echo(f"journal:  {record}")
    air = chamber.air_probe.name if chamber.air_probe is not None else None
    try:
        draw(told, chamber.vessel_probe.name, air, picture, site.zone)
        click.echo(f"picture:  {picture}")
    except PictureError as error:
        click.echo(f"picture:  none ({error})")
    broken = violations(record, site.settings)
    for violation in broken:
        click.echo(f"BROKEN:   {violation}", err=True)
    if not broken:
        click.echo("promises: all kept, by the journal's own rows")
    if not finished:
        click.echo("the batch was ended before its final hold", err=True)
    return os.EX_OK if finished and not broken else os.EX_SOFTWARE
