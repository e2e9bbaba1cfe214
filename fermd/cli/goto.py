"""`fermd goto`: go to a step of the profile now."""

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
        ("fermd goto 3", "the third step, in the only chamber"),
        ("fermd goto 1 --chamber lager", "begin again, in this chamber"),
    ],
)
@click.argument("step", type=click.IntRange(1, 1000))
@daemon_options
@chamber_option
@why_option
@json_option
def command(daemon: Daemon, step: int, chamber: str | None, why: str | None, as_json: bool) -> None:
    """Go to a step of the profile now, forward or back.

    STEP is its number in `fermd profiles NAME`, from 1. A ramp begins where the beer is.
    """
    from fermd.cli.ordering import order

    order(
        daemon,
        chamber,
        {"command": "go-to-step", "step": step},
        as_json=as_json,
        why=why,
        done=f"went to step {step}",
    )
