"""`fermd note`: something for the record, in the brewer's own words or as a number."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, Any, Final

import click

from fermd.cli.command import Command
from fermd.cli.options import chamber_option, daemon_options, json_option

if TYPE_CHECKING:
    from fermd.cli.client import Daemon

KINDS: Final = ("gravity", "tasting", "dry-hop", "other")
"""As the daemon has them; it is the one that checks what belongs to each."""


@click.command(
    cls=Command,
    examples=[
        ('fermd note "pitched 2 packs of yeast"', "for the only chamber"),
        ("fermd note --chamber lager dry hopped, 100 g", "quotes may be left out"),
        ("fermd note --kind gravity --value 1.012", "a gravity; 3.1 would be °P"),
        ('fermd note --kind tasting --at "fri 18:00" butter gone', "what was so last Friday"),
        ("fermd note -", "take the note from standard input"),
    ],
)
@click.argument("words", nargs=-1)
@click.option(
    "--kind", type=click.Choice(KINDS), default="other", show_default=True, help="What it is about."
)
@click.option(
    "--value",
    type=float,
    metavar="NUMBER",
    help="A gravity (1.012, or °P), grams of hops, points for the taste.",
)
@click.option(
    "--at",
    metavar="TIME",
    help='The time that it is about, if not now: "18:00", "fri 18:00", "2026-12-04 18:00"; the '
    "last that there was, by the site's clock.",
)
@daemon_options
@chamber_option
@json_option
def command(
    daemon: Daemon,
    words: tuple[str, ...],
    kind: str,
    value: float | None,
    at: str | None,
    chamber: str | None,
    as_json: bool,
) -> None:
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
    if not text and value is None:
        raise click.UsageError(
            "WORDS: the note is empty; say what there is to note, or give a --value."
        )
    more: dict[str, Any] = {"kind": kind}
    if value is not None:
        more["value"] = value
    if at is not None:
        more["at"] = at
    name = chosen_chamber(daemon, chamber)
    daemon.note(name, who(), text, more)
    if as_json:
        show_json({"chamber": name, "note": text, **more, "taken": True})
    else:
        say(f"{name}: noted.")
