"""`fermd confirm`: the word that a waiting step waits for."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from fermd.cli.command import Command
from fermd.cli.options import chamber_option, daemon_options, json_option

if TYPE_CHECKING:
    from fermd.cli.client import Daemon


@click.command(
    cls=Command,
    examples=[
        ("fermd confirm", "done, go on: in the only chamber"),
        ("fermd confirm --chamber lager", "in this one of several"),
    ],
)
@daemon_options
@chamber_option
@json_option
def command(daemon: Daemon, chamber: str | None, as_json: bool) -> None:
    """Give the word that a waiting step waits for.

    `fermd status` shows what the step asks of a person. Any other step refuses it.
    """
    from fermd.cli.ordering import order

    order(
        daemon,
        chamber,
        {"command": "confirm-step"},
        as_json=as_json,
        done="confirmed; the profile goes on with its next step",
    )
