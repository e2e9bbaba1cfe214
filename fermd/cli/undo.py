"""`fermd undo`: put a changed profile back to its plan."""

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
        ("fermd undo", "in the only chamber"),
        ("fermd undo --chamber lager", "in this one of several"),
    ],
)
@daemon_options
@chamber_option
@why_option
@json_option
def command(daemon: Daemon, chamber: str | None, why: str | None, as_json: bool) -> None:
    """Undo every change to the running profile.

    The profile goes on as it was started, at the step that it has come to.
    """
    from fermd.cli.ordering import order

    order(
        daemon,
        chamber,
        {"command": "return-to-plan"},
        as_json=as_json,
        why=why,
        done="the profile is as it was started",
    )
