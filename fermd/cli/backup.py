"""`fermd backup`: a copy of the journal, made while the daemon goes on writing."""

from __future__ import annotations

import os
import time
from collections.abc import Callable
from pathlib import Path

import click

from fermd.cli.command import Command
from fermd.cli.journal_place import Place, journal_options
from fermd.cli.options import FILE, json_option


@click.command(
    cls=Command,
    examples=[
        ("fermd backup /mnt/stick/fermd", "into this folder, under the present time"),
        ("fermd backup ~/journal-before-update.db", "as this file, replacing an earlier one"),
        ("fermd backup", "as the calendar does: into the site file's backup_folder"),
    ],
)
@click.argument("to", required=False, type=FILE, metavar="[PATH]")
@journal_options
@json_option
def command(to: Path | None, place: Callable[[], Place], as_json: bool) -> None:
    """Copy the journal while it is in use.

    PATH is a folder (the copy is named after the present time) or a file. The copy is whole and
    checked, or not there. Without PATH it goes where the site file's [keeping] says, and old ones
    are thinned out as that says. A copy is an ordinary SQLite file; `fermd restore` puts it back.
    """
    from fermd.cli.exits import Failure
    from fermd.cli.screen import say, show_json
    from fermd.config.zone_calendar import ZoneCalendar
    from fermd.journal.backup import BackupFailed, back_up
    from fermd.journal.rotation import backup_name
    from fermd.service.backups import back_up_into, thin_out

    found = place()
    folder = None if found.site is None else found.site.keeping.backup_folder
    if to is None and folder is None:
        raise click.UsageError(
            "Missing argument 'PATH': the site file names no backup_folder in [keeping]"
        )
    now_s, deleted = time.time(), 0
    if not found.journal.exists():
        raise Failure(f"{found.journal}: there is no journal to copy", os.EX_NOINPUT)
    try:
        if to is None and folder is not None and found.site is not None:
            copy = folder / backup_name(now_s)
            size = back_up_into(folder, found.journal, now_s)
            deleted = thin_out(folder, found.site.keeping, ZoneCalendar(found.zone))
        else:
            target = to or Path()
            copy = target / backup_name(now_s) if target.is_dir() else target
            size = back_up(found.journal, copy)
    except BackupFailed as error:
        raise Failure(str(error), os.EX_CANTCREAT) from error
    if as_json:
        show_json({"copy": str(copy), "bytes": size, "deleted_old_ones": deleted})
    else:
        say(f"{copy}: {size / 1e6:.1f} MB")
