"""`fermd pause`: hold the target where it is and stop the profile's clock."""

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
        ("fermd pause", "hold the target where it is, in the only chamber"),
        ("fermd pause --chamber lager", "in this one of several"),
    ],
)
@daemon_options
@chamber_option
@why_option
@json_option
def command(daemon: Daemon, chamber: str | None, why: str | None, as_json: bool) -> None:
    """Pause the profile and hold the target where it is.

    The step's clock stands still until `fermd resume`. Protection and limits go on.
    """
    from fermd.cli.ordering import order

    order(
        daemon,
        chamber,
        {"command": "pause-profile"},
        as_json=as_json,
        why=why,
        done="the profile is paused; `fermd resume` goes on with it",
    )
