"""`fermd off`: no target for a chamber, so that neither heat nor cooling is called for."""

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
        ("fermd off", "switch the only chamber off"),
        ("fermd off --chamber lager", "this one of several"),
    ],
)
@daemon_options
@chamber_option
@json_option
def command(daemon: Daemon, chamber: str | None, as_json: bool) -> None:
    """Switch a chamber off: no target, no heat, no cooling.

    The probes are still read and recorded. A running profile is paused; `fermd resume` goes on
    with it, `fermd target` sets a target by hand. A compressor that has just started may run on
    for its minimum run time.
    """
    from fermd.cli.ordering import order

    order(daemon, chamber, {"command": "switch-off"}, as_json=as_json, done="switched off")
