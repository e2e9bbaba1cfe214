"""Which batch is meant, and its reading from the journal."""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime, tzinfo
from pathlib import Path

import click
from sqlite_utils import Database

from fermd.cli.catalogue import printable
from fermd.cli.exits import Failure
from fermd.cli.options import USUAL_SITE
from fermd.cli.review_values import moment_of
from fermd.cli.screen import clean, say, show, show_json, table
from fermd.config.site import SiteFile
from fermd.config.site_file import load_site
from fermd.review.batches import Batch, read_batches, read_chambers, read_ends
from fermd.review.course import Course, JournalNotForReview, opened, read_course
from fermd.review.overlay_chart import MOST_TOGETHER
from fermd.review.plain import batch_plain
from fermd.review.reviewing import Review, Wishes, review_of
from fermd.review.roles import Roles
from fermd.review.time_axis import TimeAxis, read_time_axis

AFTER_RECORD_S = 1.0


@dataclass(slots=True)
class Asked:
    """What the command line names."""

    numbers: Sequence[int]
    from_text: str | None
    to_text: str | None
    chamber: str | None
    journals: Sequence[Path]
    site_path: Path | None
    vessel_probe: str | None
    air_probe: str | None
    _site: SiteFile | None = field(default=None, init=False)

    def check(self) -> None:
        """Refuse what contradicts itself. Raises UsageError, or ConfigError for a site file."""
        spanned = self.from_text is not None or self.to_text is not None
        if spanned and self.numbers:
            raise click.UsageError("--batch and --from/--to: name a batch or a span, not both")
        if len(self.journals) > 1 and len(self.numbers) not in (0, len(self.journals)):
            raise click.UsageError(
                f"--batch: with {len(self.journals)} journals name one batch for each of them, in "
                "their order, or none for the newest of each"
            )
        most = max(len(self.numbers), len(self.journals))
        if most > MOST_TOGETHER:
            raise click.UsageError(
                f"--batch: at most {MOST_TOGETHER} batches can be told apart in one picture, and "
                f"{most} are named"
            )
        if self.site_path is not None or (not self.journals and USUAL_SITE.exists()):
            self._site = load_site(self.site_path or USUAL_SITE)

    def zone(self) -> tzinfo:
        """The brewer's time zone: the site's, or this machine's."""
        if self._site is not None:
            return self._site.zone
        return datetime.now(UTC).astimezone().tzinfo or UTC

    def paths(self) -> list[Path]:
        """The journals that are meant."""
        if self.journals:
            return list(self.journals)
        if self._site is not None:
            return [self._site.journal_path]
        from dataclasses import fields

        from fermd.config.site import BoardSettings

        usual = {each.name: each.default for each in fields(BoardSettings)}
        return [Path(str(usual["journal_path"]))]

    def roles(self, chamber: str, names: Sequence[str]) -> Roles | None:
        """Which probe is where, as far as it is said; None: it is to be found in the journal."""
        for option, name in (
            ("--vessel-probe", self.vessel_probe),
            ("--air-probe", self.air_probe),
        ):
            if name is not None and name not in names:
                raise click.UsageError(
                    f"{option} {printable(name)}: the journal has no such probe of {chamber}; "
                    f"there are {', '.join(names) or 'none'}"
                )
        vessel, air = self.vessel_probe, self.air_probe
        for one in () if self._site is None else self._site.settings.chambers:
            if one.name == chamber and one.vessel_probe.name in names:
                vessel = vessel or one.vessel_probe.name
                if one.air_probe is not None and one.air_probe.name in names:
                    air = air or one.air_probe.name
        return None if vessel is None else Roles(vessel, air)


@contextmanager
def _journal(path: Path) -> Iterator[tuple[Database, TimeAxis]]:
    if not path.exists():
        raise Failure(
            f"{path}: there is no journal; name one with --journal, or its site file with --site",
            os.EX_NOINPUT,
        )
    try:
        with opened(path) as db:
            yield db, read_time_axis(db)
    except JournalNotForReview as error:
        raise Failure(str(error), os.EX_IOERR) from error
    except LookupError as error:
        raise Failure(
            f"{path}: {error.args[0]}; there is nothing to review yet", os.EX_NOINPUT
        ) from error


def list_batches(asked: Asked, *, as_json: bool) -> None:
    """Show the batches of each journal."""
    found: list[tuple[Path, Batch]] = []
    for path in asked.paths():
        with _journal(path) as (db, axis):
            found += [
                (path, one)
                for one in read_batches(db, axis)
                if asked.chamber in (None, one.chamber)
            ]
    if as_json:
        show_json([{"journal": str(path), **batch_plain(one)} for path, one in found])
        return
    if not found:
        say("No batch: no profile has been started. Any span can be reviewed: --from, --to.")
        return
    zone = asked.zone()
    rows = [
        (
            str(one.number),
            clean(one.chamber),
            _day(one.start_s, zone),
            f"{(one.end_s - one.start_s) / 86400.0:.1f} d",
            one.ended.value,
            clean(one.profile),
        )
        for _, one in found
    ]
    show(table(("batch", "chamber", "from", "lasted", "ended", "profile"), rows))


def _day(at_s: float, zone: tzinfo) -> str:
    try:
        return f"{datetime.fromtimestamp(at_s, zone):%Y-%m-%d %H:%M}"
    except (OverflowError, ValueError, OSError):
        return "at no known time"


def chosen(asked: Asked, wishes: Wishes) -> list[Review]:
    """Review what is meant; one value for each batch, in the order of the command line."""
    reviews: list[Review] = []
    paths = asked.paths()
    for place, path in enumerate(paths):
        numbers = asked.numbers if len(paths) == 1 else asked.numbers[place : place + 1]
        with _journal(path) as (db, axis):
            for batch, course in _courses(asked, path, db, axis, numbers):
                reviews.append(review_of(course, path, batch, wishes))
    for name in wishes.watts:
        known = dict.fromkeys(one.output for review in reviews for one in review.outputs)
        if name not in known:
            raise click.UsageError(
                f"--watts {printable(name)}: no such output ran; there are "
                f"{', '.join(known) or 'none'}"
            )
    return reviews


def _courses(
    asked: Asked, path: Path, db: Database, axis: TimeAxis, numbers: Sequence[int]
) -> Iterator[tuple[Batch | None, Course]]:
    batches = read_batches(db, axis)
    spanned = asked.from_text is not None or asked.to_text is not None
    chamber = asked.chamber
    if chamber is not None and chamber not in (there := read_chambers(db)):
        raise click.UsageError(
            f"--chamber {printable(chamber)}: {path} has no such chamber; there are "
            f"{', '.join(there) or 'none'}"
        )
    if numbers:
        for number in numbers:
            yield _course(asked, db, axis, _numbered(batches, number, chamber, path))
        return
    ours = [one for one in batches if chamber in (None, one.chamber)]
    if ours and not spanned:
        yield _course(asked, db, axis, ours[-1])
        return
    yield None, _span(asked, path, db, axis, chamber)


def _numbered(batches: Sequence[Batch], number: int, chamber: str | None, path: Path) -> Batch:
    if number > len(batches):
        there = f"1 to {len(batches)}" if batches else "none"
        raise click.UsageError(
            f"--batch {number}: {path} has no such batch; there are {there} (see --list)"
        )
    found = batches[number - 1]
    if chamber not in (None, found.chamber):
        raise click.UsageError(
            f"--batch {number}: is in the chamber {found.chamber}, not {printable(str(chamber))}"
        )
    return found


def _course(asked: Asked, db: Database, axis: TimeAxis, batch: Batch) -> tuple[Batch, Course]:
    return batch, _read(asked, db, axis, batch.chamber, batch.start_s, batch.end_s)


def _span(asked: Asked, path: Path, db: Database, axis: TimeAxis, chamber: str | None) -> Course:
    chambers = read_chambers(db)
    if chamber is None and len(chambers) != 1:
        raise click.UsageError(
            f"--chamber: say which chamber is meant; there are {', '.join(chambers) or 'none'}"
        )
    first_s, last_s = read_ends(db, axis)
    from_s = moment_of("--from", asked.from_text, asked.zone())
    to_s = moment_of("--to", asked.to_text, asked.zone())
    start_s = max(first_s, first_s if from_s is None else from_s)
    end_s = min(last_s, last_s if to_s is None else to_s)
    if end_s <= start_s:
        zone = asked.zone()
        raise click.UsageError(
            f"--from, --to: nothing of {path} lies in that span; it has "
            f"{_day(first_s, zone)} to {_day(last_s, zone)}"
        )
    return _read(asked, db, axis, chamber or chambers[0], start_s, end_s)


def _read(
    asked: Asked, db: Database, axis: TimeAxis, chamber: str, start_s: float, end_s: float
) -> Course:
    names = [
        name
        for (name,) in db.execute(
            "SELECT probe FROM probes WHERE chamber = ? ORDER BY probe_key", [chamber]
        ).fetchall()
    ]
    course = read_course(db, axis, chamber, start_s, end_s, asked.roles(chamber, names))
    if not course.probes:
        raise LookupError(f"has no reading of {chamber} in that span")
    return course
