"""`fermd log`: what happened, from the daemon or from the journal's own file."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import click

from fermd.cli.command import Command
from fermd.cli.options import (
    FILE,
    SITE_VARIABLE,
    SOCKET_VARIABLE,
    fahrenheit_option,
    json_option,
)

if TYPE_CHECKING:
    from fermd.control.wording import Unit

MOST: Final = 1000
"""The daemon gives no more at once."""

Plain = dict[str, Any]


@click.command(
    cls=Command,
    examples=[
        ("fermd log", "what happened last, the newest at the bottom"),
        ("fermd log --last 200 --chamber lager", "more of it, of one chamber and the board"),
        ("fermd log --journal ./journal.db", "from a journal's file, without the daemon"),
        ("fermd log --json", "for a program"),
    ],
)
@click.option(
    "--last",
    type=click.IntRange(1, MOST),
    default=50,
    show_default=True,
    metavar="COUNT",
    help=f"How many things to tell, at most {MOST}.",
)
@click.option("-c", "--chamber", metavar="NAME", help="Only this chamber, and the board itself.")
@click.option(
    "--journal",
    metavar="FILE",
    type=FILE,
    help="Read this journal, without the daemon.",
)
@click.option(
    "--socket",
    metavar="PATH",
    type=FILE,
    envvar=SOCKET_VARIABLE,
    help=f"The daemon's socket. [environment: {SOCKET_VARIABLE}]",
)
@click.option(
    "--site",
    metavar="FILE",
    type=FILE,
    envvar=SITE_VARIABLE,
    help=f"The site file, which names both. [environment: {SITE_VARIABLE}]",
)
@fahrenheit_option
@json_option
def command(
    last: int,
    chamber: str | None,
    journal: Path | None,
    socket: Path | None,
    site: Path | None,
    unit: Unit,
    as_json: bool,
) -> None:
    """Tell what happened.

    Asks the running daemon; if none runs, or for °F, reads the journal that the site file names.
    Times are those of this machine's time zone; one with a question mark was taken while the
    clock was not known to be set. A dash stands for the board itself.
    """
    from fermd.cli.log_lines import from_journal, lines
    from fermd.cli.screen import cleaned, say, show, show_json, table
    from fermd.control.wording import Unit

    if journal is not None:
        found = from_journal(journal, last, chamber, unit)
    elif unit is not Unit.CELSIUS:
        # The daemon words everything in °C.
        found = from_journal(_journal_path(site), last, chamber, unit)
    else:
        found = _from_daemon_or_journal(last, chamber, socket, site)
    if as_json:
        show_json(found)
    elif not found:
        say("Nothing has happened yet.")
    else:
        show(table(("when", "chamber", "what"), lines(cleaned(found))))


def _from_daemon_or_journal(
    last: int, chamber: str | None, socket: Path | None, site: Path | None
) -> list[Plain]:
    from fermd.cli.client import Daemon, socket_path
    from fermd.cli.exits import Failure
    from fermd.cli.log_lines import from_journal
    from fermd.control.wording import Unit

    daemon = Daemon(socket_path(socket, site))
    try:
        # Of one chamber there may be few among the last of all.
        found = daemon.events(last if chamber is None else MOST)
    except Failure as failure:
        if failure.code not in (os.EX_UNAVAILABLE, os.EX_NOPERM):
            raise
        journal = _journal_path(site)
        if not journal.exists():
            raise
        return from_journal(journal, last, chamber, Unit.CELSIUS)
    if chamber is not None:
        found = [one for one in found if one["chamber"] in ("", chamber)]
    # The newest comes first from the daemon; people read downward.
    return found[:last][::-1]


def _journal_path(site: Path | None) -> Path:
    """The journal that the site file names; without a site file, the usual one."""
    from fermd.cli.journal_place import find_place

    return find_place(None, site).journal
