"""`fermd resume`: go on with the paused profile where it was."""

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
        ("fermd resume", "go on in the only chamber"),
        ("fermd resume --chamber lager", "in this one of several"),
    ],
)
@daemon_options
@chamber_option
@why_option
@json_option
def command(daemon: Daemon, chamber: str | None, why: str | None, as_json: bool) -> None:
    """Go on with the paused profile.

    It goes on where it was, and a target that was set by hand meanwhile ends.
    """
    from fermd.cli.ordering import order

    order(
        daemon,
        chamber,
        {"command": "resume-profile"},
        as_json=as_json,
        why=why,
        done="the profile goes on",
    )
