"""`fermd skip`: go to the profile's next step now."""

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
        ("fermd skip", "leave the present step, in the only chamber"),
        ("fermd skip --chamber lager", "in this one of several"),
    ],
)
@daemon_options
@chamber_option
@why_option
@json_option
def command(daemon: Daemon, chamber: str | None, why: str | None, as_json: bool) -> None:
    """Go to the profile's next step now.

    A ramp that is skipped leaves the target where it has come to. To go to another step, or back:
    `fermd goto`.
    """
    from fermd.cli.ordering import order

    order(
        daemon,
        chamber,
        {"command": "skip-step"},
        as_json=as_json,
        why=why,
        done="went to the next step",
    )
