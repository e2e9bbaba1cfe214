"""`fermd repair`: one sound journal from what is damaged or was set aside."""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from fermd.cli.command import Command
from fermd.cli.journal_place import Place, journal_options
from fermd.cli.options import FILE, json_option, yes_option

if TYPE_CHECKING:
    from fermd.journal.salvage import Carried


@click.command(
    cls=Command,
    examples=[
        ("fermd repair --check", "only say what is wrong, if anything; the daemon may run"),
        ("fermd repair", "make one sound journal of it, after a question (daemon stopped)"),
        (
            "fermd repair --journal damaged.db --to mended.db",
            "carry what is readable of this file into a new one, and change nothing else",
        ),
    ],
)
@click.option("--check", "only_check", is_flag=True, help="Only say what is wrong.")
@click.option("--to", type=FILE, metavar="FILE", help="Into this new file; nothing is replaced.")
@journal_options
@yes_option
@json_option
def command(
    only_check: bool,
    to: Path | None,
    place: Callable[[], Place],
    yes: bool,
    as_json: bool,
) -> None:
    """Check the journal, and carry what is readable into a new one.

    What the daemon had set aside, and the journal itself, become one record: every row that can be
    read, through SQLite or from the bytes of its page. The files that it was made from are kept.
    What cannot be saved is counted; a flipped byte within a number cannot be noticed at all.
    """
    from fermd.cli.exits import ANSWERED_NO, Failure
    from fermd.cli.journal_hold import held
    from fermd.cli.screen import sure
    from fermd.journal.repairing import RepairFailed, carry_into, faults_of, files_of, repair

    found = place()
    files = files_of(found.journal)
    if not files:
        raise Failure(f"{found.journal}: there is no journal; check the path", os.EX_NOINPUT)
    if only_check:
        _tell_check({path: faults_of(path) for path in files}, as_json)
        return
    try:
        if to is not None:
            _tell(to, carry_into(files, to), (), as_json)
            return
        with held(found):
            if files == [found.journal] and not faults_of(found.journal):
                _tell_check({found.journal: []}, as_json)
                return
            question = (
                f"Make one journal of {len(files)} file(s) at {found.journal}, and keep them?"
            )
            if not sure(question, yes):
                raise click.exceptions.Exit(ANSWERED_NO)
            done = repair(found.journal, time.time())
    except RepairFailed as error:
        raise Failure(str(error), os.EX_DATAERR) from error
    _tell(done.journal, done.carried, done.kept, as_json)


def _tell_check(faults: dict[Path, list[str]], as_json: bool) -> None:
    from fermd.cli.screen import clean, show_json

    if as_json:
        show_json({str(path): found for path, found in faults.items()})
    else:
        for path, found in faults.items():
            print(clean(f"{path}: {'; '.join(found) or 'sound'}"))
    if any(faults.values()):
        raise click.exceptions.Exit(os.EX_DATAERR)


def _tell(journal: Path, carried: Sequence[Carried], kept: Sequence[Path], as_json: bool) -> None:
    from fermd.cli.screen import clean, show_json

    if as_json:
        files = [_plain(one) for one in carried]
        show_json({"journal": str(journal), "files": files, "kept": [str(one) for one in kept]})
        return
    for one in carried:
        counts = ", ".join(f"{count} of {table}" for table, count in sorted(one.rows.items()))
        print(clean(f"{one.path.name}: carried over {counts or 'nothing'}"))
        for fault in one.faults:
            print(clean(f"  found wrong: {fault}"))
        if one.by_bytes:
            print(f"  {one.by_bytes} rows were read from the bytes of their pages")
        if one.senseless or one.refused:
            print(
                f"  not to be saved: {one.senseless} places where a row should be, "
                f"{one.refused} rows that make no sense"
            )
    for path in kept:
        print(clean(f"kept: {path}"))
    print(clean(f"{journal}: made anew"))


def _plain(one: Carried) -> dict[str, Any]:
    return {
        "file": str(one.path),
        "rows": dict(one.rows),
        "rows_by_bytes": one.by_bytes,
        "unreadable_places": one.senseless,
        "rows_without_sense": one.refused,
        "faults": list(one.faults),
    }
