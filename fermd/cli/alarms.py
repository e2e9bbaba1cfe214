"""`fermd alarms`: what wants a person, or has wanted one and is not cleared."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from fermd.cli.command import Command
from fermd.cli.options import chamber_option, daemon_options, json_option

if TYPE_CHECKING:
    from fermd.cli.client import Daemon

BOARD = ""
"""Stands for the board itself where a chamber's name would be."""


def standing(status: dict[str, Any]) -> list[dict[str, Any]]:
    """All alarms that are not cleared, those of the board first."""
    groups = {BOARD: status["alarms"]}
    groups |= {name: chamber["alarms"] for name, chamber in status["chambers"].items()}
    return [{"chamber": name} | alarm for name, alarms in groups.items() for alarm in alarms]


@click.command(
    cls=Command,
    examples=[
        ("fermd alarms", "everything that is not cleared"),
        ("fermd alarms --json", "for a program: an empty list if all is well"),
    ],
)
@daemon_options
@chamber_option
@json_option
def command(daemon: Daemon, chamber: str | None, as_json: bool) -> None:
    """List the alarms that are not cleared.

    Alarms of the board itself have a dash in place of the chamber. `fermd acknowledge` says that
    one has been seen.
    """
    from rich.text import Text

    from fermd.cli.options import chosen_chamber
    from fermd.cli.screen import STYLE_BY_SEVERITY, cleaned, say, show, show_json, table

    status = daemon.status()
    found = standing(status)
    if chamber is not None:
        name = chosen_chamber(daemon, chamber, status)
        found = [alarm for alarm in found if alarm["chamber"] == name]
    if as_json:
        show_json(found)
        return
    if not found:
        say("No alarms.")
        return
    rows = [
        (
            alarm["chamber"] or "-",
            alarm["alarm"],
            alarm["subject"] or "-",
            Text(alarm["words"], STYLE_BY_SEVERITY[alarm["severity"]]),
        )
        for alarm in cleaned(found)
    ]
    show(table(("chamber", "alarm", "subject", "what"), rows))
