"""`fermd cancel`: take back a planned start."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from fermd.cli.command import Command
from fermd.cli.options import chamber_option, daemon_options, json_option, why_option

if TYPE_CHECKING:
    from fermd.cli.client import Daemon


@click.command(
    cls=Command,
    examples=[
        ("fermd cancel", "in the only chamber"),
        ("fermd cancel --chamber lager", "in this one of several"),
    ],
)
@daemon_options
@chamber_option
@why_option
@json_option
def command(daemon: Daemon, chamber: str | None, why: str | None, as_json: bool) -> None:
    """Take back a planned start.

    What the chamber does at present goes on.
    """
    from fermd.cli.ordering import order

    order(
        daemon,
        chamber,
        {"command": "cancel-plan"},
        as_json=as_json,
        why=why,
        done="the planned start is taken back",
    )
