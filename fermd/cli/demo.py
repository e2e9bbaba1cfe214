"""`fermd demo`: a whole batch on a simulated chamber, in minutes, by the real one's code.

The loop, the core, the profile engine and the journal are the daemon's own; only the clock and
the hardware behind the ports are simulated. In the middle of it the vessel probe's plug comes
loose, so that there is something to see of probe health, fail-safe and alarms.

What can be known to fail is found before the batch runs, not after it.
"""

from __future__ import annotations

import importlib.util
import os
import signal
import sqlite3
import sys
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from types import FrameType

import click

from fermd.cli.demo_batch import DemoBatch, planned_length_s
from fermd.cli.demo_screen import DemoScreen, LineScreen, TerminalScreen
from fermd.cli.demo_site import demo_site
from fermd.cli.exits import Failure
from fermd.config.profile_file import find_profile, load_profile
from fermd.config.site import SiteFile
from fermd.control.steps import Profile
from fermd.review import figures as review
from fermd.review.invariants import violations
from fermd.review.picture import ENDINGS, PictureError, draw
from fermd.review.record import read_record
from fermd.review.summary import summary

EXAMPLES = """\b
Examples:
  fermd demo
  fermd demo --profile ale-free-rise --speed 3600
  fermd demo --speed 1 --journal evening.db
  fermd demo --fast --picture batch.png
"""

WHOLE_BATCH_S = 110.0
"""How long a whole batch takes by default, s of real time."""


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
    planned = load_profile(find_profile(profile))
    record = journal or Path(f"fermd-demo-{time.strftime('%Y%m%d-%H%M%S')}.db")
    _check_journal(record)
    drawn = picture or record.with_name(record.name + ".svg")
    _check_picture(drawn, asked_for=picture is not None)
    pace = None if fast else speed or max(1.0, planned_length_s(planned) / WHOLE_BATCH_S)
    site = demo_site(record)
    screen = TerminalScreen() if sys.stdout.isatty() else LineScreen()
    batch, ended_by = run_batch(site, planned, pace, seed, screen)
    if ended_by is not None:
        _tell_of_end(site, record)
        sys.exit(128 + ended_by)
    if batch.refused:
        _leave_one_file(record)
        raise Failure(f"{profile}: the chamber refuses it: {batch.refused}", os.EX_CONFIG)
    sys.exit(_look_back(site, record, drawn, batch.finished))


def run_batch(
    site: SiteFile, profile: Profile, pace: float | None, seed: int, screen: DemoScreen
) -> tuple[DemoBatch, int | None]:
    """Run a batch from pitching to the final hold; also returns the signal that ended it."""
    batch = DemoBatch(site, profile, pace, seed, screen)
    with _ended_by_signals(batch) as ended_by:
        batch.run()
    return batch, next(iter(ended_by), None)


@contextmanager
def _ended_by_signals(batch: DemoBatch) -> Iterator[list[int]]:
    """Let Ctrl-C and kill end the batch as the daemon would be ended: relays off, record closed."""
    seen: list[int] = []

    def end(number: int, frame: FrameType | None) -> None:  # noqa: ARG001 - the signal's form
        seen.append(number)
        batch.stop()

    kept = {number: signal.signal(number, end) for number in (signal.SIGINT, signal.SIGTERM)}
    try:
        yield seen
    finally:
        for number, handler in kept.items():
            signal.signal(number, handler)


def _check_journal(record: Path) -> None:
    if record.exists():
        why = f"{record}: is there already; name another journal, or remove it"
        raise Failure(why, os.EX_CANTCREAT)
    _check_folder(record)


def _check_picture(picture: Path, *, asked_for: bool) -> None:
    if picture.suffix.lower() not in ENDINGS:
        raise click.UsageError(f"--picture {picture}: must end in one of {', '.join(ENDINGS)}")
    _check_folder(picture)
    if picture.is_dir():
        raise Failure(f"{picture}: is a folder; name a file", os.EX_CANTCREAT)
    if asked_for and importlib.util.find_spec("matplotlib") is None:
        why = f"--picture {picture}: needs matplotlib: pip install matplotlib"
        raise Failure(why, os.EX_UNAVAILABLE)


def _check_folder(file: Path) -> None:
    folder = file.absolute().parent
    if not folder.is_dir():
        raise Failure(f"{file}: there is no folder {folder}; make it first", os.EX_CANTCREAT)
    if not os.access(folder, os.W_OK | os.X_OK):
        why = f"{file}: nothing can be written into {folder}; name another place"
        raise Failure(why, os.EX_CANTCREAT)


def _tell_of_end(site: SiteFile, record: Path) -> None:
    try:
        told = read_record(record, site.settings.chambers[0].name)
    except LookupError:
        return
    click.echo(summary(review.figures(told, site.settings.chambers[0].vessel_probe.name)))
    click.echo(f"journal:  {record}")
    click.echo("ended before the final hold, with every relay off", err=True)
    _leave_one_file(record)


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
    broken = violations(record, site.settings, site.sample_period_s)
    for violation in broken:
        click.echo(f"BROKEN:   {violation}", err=True)
    if not broken:
        click.echo("promises: all kept, by the journal's own rows")
    if not finished:
        click.echo("the batch was ended before its final hold", err=True)
    _leave_one_file(record)
    return os.EX_OK if finished and not broken else os.EX_SOFTWARE


def _leave_one_file(record: Path) -> None:
    """Let SQLite take away the companions that readers have left beside the journal."""
    with closing(sqlite3.connect(record)) as connection:
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
