"""`fermd restore`: a backup in the journal's place."""

from __future__ import annotations

import os
import time
from collections.abc import Callable
from pathlib import Path

import click

from fermd.cli.command import Command
from fermd.cli.journal_place import Place, journal_options
from fermd.cli.options import FILE, json_option, yes_option


@click.command(
    cls=Command,
    examples=[
        (
            "fermd restore /mnt/stick/fermd/journal-20260704T015000Z.db",
            "put this backup in place of the site's journal, after a question",
        ),
        (
            "fermd restore copy.db --with-chambers --yes",
            "on a new card: targets and profiles go on as they were in the backup",
        ),
        (
            "fermd restore copy.db --check",
            "only say whether the backup is sound",
        ),
    ],
)
@click.argument("backup", type=FILE)
@click.option("--check", "only_check", is_flag=True, help="Only check the backup.")
@click.option(
    "--with-chambers",
    is_flag=True,
    help="Targets and profiles go on from the backup, too, not from the journal that is there.",
)
@journal_options
@yes_option
@json_option
def command(
    backup: Path,
    only_check: bool,
    with_chambers: bool,
    place: Callable[[], Place],
    yes: bool,
    as_json: bool,
) -> None:
    """Put a backup in the journal's place.

    The daemon must be stopped. The backup is read in full first. The journal that was there is kept
    under another name, and what its chambers were doing goes on. Compressors wait at the next start
    as after a power cut.
    """
    from fermd.cli.exits import ANSWERED_NO, Failure
    from fermd.cli.journal_hold import held
    from fermd.cli.screen import say, show_json, sure
    from fermd.journal.restoring import RestoreFailed, check_backup, restore

    if not backup.exists():
        raise Failure(f"{backup}: there is no such file; check the path", os.EX_NOINPUT)
    try:
        if only_check:
            check_backup(backup)
            say(f"{backup}: sound")
            return
        found = place()
        question = (
            f"Put {backup} in the place of {found.journal}, which is kept under another name?"
        )
        with held(found):
            check_backup(backup)
            if not sure(question, yes):
                raise click.exceptions.Exit(ANSWERED_NO)
            done = restore(backup, found.journal, time.time(), with_chambers=with_chambers)
    except RestoreFailed as error:
        raise Failure(str(error), os.EX_DATAERR) from error
    if as_json:
        kept = None if done.kept_as is None else str(done.kept_as)
        chambers = [name for name in done.chambers if name]
        show_json({"journal": str(done.journal), "kept_as": kept, "going_on": chambers})
        return
    say(f"{done.journal}: restored")
    if done.kept_as is not None:
        say(f"what was there is kept as {done.kept_as}")
