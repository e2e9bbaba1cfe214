"""`fermd note`: something for the record, in the brewer's own words."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

import click

from fermd.cli.command import Command
from fermd.cli.options import chamber_option, daemon_options, json_option

if TYPE_CHECKING:
    from fermd.cli.client import Daemon


@click.command(
    cls=Command,
    examples=[
        ('fermd note "pitched 2 packs of yeast"', "for the only chamber"),
        ("fermd note --chamber lager dry hopped, 100 g", "quotes may be left out"),
        ("fermd note -", "take the note from standard input"),
    ],
)
@click.argument("words", nargs=-1, required=True)
@daemon_options
@chamber_option
@json_option
def command(daemon: Daemon, words: tuple[str, ...], chamber: str | None, as_json: bool) -> None:
    """Write a note into the journal.

    It stands there with the time and your login name, beside everything else that happened.
    """
    from fermd.cli.options import chosen_chamber, who
    from fermd.cli.screen import say, show_json

    text = " ".join(words)
    if words == ("-",):
        text = sys.stdin.read()
    # What a terminal in another encoding has typed may not be text at all.
    text = text.encode("utf-8", "replace").decode("utf-8").strip()
    if not text:
        raise click.UsageError("WORDS: the note is empty; say what there is to note.")
    name = chosen_chamber(daemon, chamber)
    daemon.note(name, who(), text)
    if as_json:
        show_json({"chamber": name, "note": text, "taken": True})
    else:
        say(f"{name}: noted.")
