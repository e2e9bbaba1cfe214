"""`fermd extract`: a span of the record as CSV or Parquet."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final
from zoneinfo import ZoneInfo

import click
from click.shell_completion import CompletionItem

from fermd.cli.command import Command
from fermd.cli.journal_place import Place, journal_options
from fermd.cli.options import FILE

if TYPE_CHECKING:
    from fermd.journal.extract import Extract

FORMATS: Final = ("csv", "parquet")


class LocalTime(click.ParamType[datetime]):
    """A local time: `2026-07-04`, `"2026-07-04 18:00"`."""

    name = "time"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> datetime:
        """Return it without a zone, as it was written."""
        if isinstance(value, datetime):
            return value
        try:
            found = datetime.fromisoformat(str(value).strip())
        except ValueError:
            found = None
        if found is None or found.tzinfo is not None:
            from fermd.cli.catalogue import printable

            self.fail(
                f"'{printable(str(value))}': must be a local time, such as 2026-07-04 or "
                '"2026-07-04 18:00"',
                param,
                ctx,
            )
        return found


def _complete_what(
    ctx: click.Context,  # noqa: ARG001 - click's signature
    param: click.Parameter,  # noqa: ARG001
    incomplete: str,
) -> list[CompletionItem]:
    from fermd.journal.described import RELATIONS
    from fermd.journal.extract import SHORT_NAMES

    return [
        CompletionItem(name) for name in (*SHORT_NAMES, *RELATIONS) if name.startswith(incomplete)
    ]


@click.command(
    "extract",
    cls=Command,
    examples=[
        ("fermd extract readings --from 2026-07-04 > july.csv", "everything since that day"),
        (
            'fermd extract minutes --from 2026-07-04 --to "2026-07-18 18:00" --chamber lager '
            "--out batch.parquet",
            "two weeks of one chamber as Parquet",
        ),
        ("fermd extract events --journal copy.db --out events.csv", "from a backup"),
        ("fermd extract --list", "what there is: every table, view and column"),
    ],
)
@click.argument("what", required=False, shell_complete=_complete_what)
@click.option("--from", "since", type=LocalTime(), metavar="TIME", help="From this local time on.")
@click.option(
    "--to", "until", type=LocalTime(), metavar="TIME", help="Up to this local time, not with it."
)
@click.option(
    "-c", "--chamber", metavar="NAME", help="Only this chamber; of events also the whole site's."
)
@click.option("--out", type=FILE, metavar="FILE", help="Into this file. [otherwise: shown, as CSV]")
@click.option(
    "--format",
    "form",
    type=click.Choice(FORMATS),
    help="[otherwise: by the end of the file's name, or csv]",
)
@click.option("--overwrite", is_flag=True, help="Replace a file that is there already.")
@click.option("--list", "only_list", is_flag=True, help="Say what there is, with its meaning.")
@journal_options
def command(
    what: str | None,
    since: datetime | None,
    until: datetime | None,
    chamber: str | None,
    out: Path | None,
    form: str | None,
    overwrite: bool,
    only_list: bool,
    place: Callable[[], Place],
) -> None:
    """Write a span of the record as CSV or Parquet.

    WHAT is readings, minutes, quarter-hours, events, outputs, alarms, or any table or view of the
    journal by its name. Times are those of the site's zone (without a site file: UTC); a time that
    the clocks show twice is its first. Days and hours are taken whole if they begin in the span.
    Works on the journal while the daemon runs, and on any copy.
    """
    if only_list:
        _list()
        return
    if what is None:
        raise click.UsageError("Missing argument 'WHAT'; see `fermd extract --list`")
    from fermd.journal.extract import Extract

    relation = _relation(what)
    found = place()
    if since is not None and until is not None and not since < until:
        raise click.UsageError(f"--to = '{until}': must be after --from, which is {since}")
    wanted = Extract(
        relation, _utc_s(since, found.zone), _utc_s(until, found.zone), chamber, found.zone
    )
    form = form or ("parquet" if out is not None and out.suffix == ".parquet" else "csv")
    if out is None:
        if form == "parquet":
            raise click.UsageError("--format = 'parquet': needs --out FILE; it is not text")
        _to_stdout(found.journal, wanted)
    else:
        _to_file(found.journal, wanted, out, form, overwrite)


def _relation(what: str) -> Any:
    from fermd.cli.catalogue import printable
    from fermd.journal.described import RELATIONS
    from fermd.journal.extract import SHORT_NAMES, relation_named

    try:
        return relation_named(what)
    except KeyError:
        import difflib

        close = difflib.get_close_matches(what[:60], (*SHORT_NAMES, *RELATIONS), n=1)
        meant = f"did you mean {close[0]}?" if close else f"there are {', '.join(SHORT_NAMES)}"
        raise click.UsageError(
            f"'{printable(what)}': no such table or view; {meant} (`fermd extract --list`)"
        ) from None


def _utc_s(local: datetime | None, zone: ZoneInfo) -> float | None:
    return None if local is None else local.replace(tzinfo=zone).timestamp()


def _to_stdout(journal: Path, wanted: Extract) -> None:
    from fermd.cli.exits import Failure
    from fermd.journal.csv_out import write_csv
    from fermd.journal.extract import extracted
    from fermd.journal.reader import JournalUnreadable

    if hasattr(sys.stdout, "reconfigure"):
        # The file is for other programs: UTF-8 whatever the terminal has, and ends of lines as
        # they are.
        sys.stdout.reconfigure(encoding="utf-8", newline="", errors="strict")
    header = [column.name for column in wanted.columns]
    try:
        with extracted(journal, wanted) as rows:
            write_csv(header, rows, sys.stdout)
    except JournalUnreadable as error:
        raise Failure(str(error), _code(journal)) from error


def _to_file(journal: Path, wanted: Extract, out: Path, form: str, overwrite: bool) -> None:
    from fermd.cli.exits import Failure
    from fermd.cli.screen import say
    from fermd.journal.csv_out import write_csv
    from fermd.journal.extract import extracted
    from fermd.journal.parquet_out import NoParquetLibrary, write_parquet
    from fermd.journal.reader import JournalUnreadable

    if out.exists() and (not overwrite or (journal.exists() and out.samefile(journal))):
        what = "is the journal itself" if overwrite else "is there already"
        remedy = "name another file" if overwrite else "name another file, or say --overwrite"
        raise Failure(f"{out}: {what}; {remedy}", os.EX_CANTCREAT)
    part = out.with_name(out.name + ".part")
    try:
        with extracted(journal, wanted) as rows:
            if form == "parquet":
                count = write_parquet(wanted.columns, rows, part, wanted.zone)
            else:
                with part.open("w", encoding="utf-8", newline="") as file:
                    count = write_csv([column.name for column in wanted.columns], rows, file)
        part.replace(out)
    except JournalUnreadable as error:
        raise Failure(str(error), _code(journal)) from error
    except NoParquetLibrary as error:
        raise Failure(str(error), os.EX_UNAVAILABLE) from error
    except OSError as error:
        raise Failure(f"{out}: cannot be written: {error.strerror}", os.EX_CANTCREAT) from error
    finally:
        part.unlink(missing_ok=True)
    say(f"{out}: {count} rows")


def _code(journal: Path) -> int:
    return os.EX_DATAERR if journal.exists() else os.EX_NOINPUT


def _list() -> None:
    from fermd.journal.described import RELATIONS
    from fermd.journal.extract import SHORT_NAMES

    short = {full: name for name, full in SHORT_NAMES.items()}
    for relation in RELATIONS.values():
        also = f", also called {short[relation.name]}" if relation.name in short else ""
        print(f"{relation.name} ({relation.kind}{also}): {relation.meaning}")
        for one in relation.columns:
            unit = f" [{one.unit}]" if one.unit else ""
            print(f"  {one.name}{unit}: {one.meaning}")
