"""`fermd target`: hold a temperature by hand."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from fermd.cli.command import Command
from fermd.cli.options import (
    Temperature,
    chamber_option,
    daemon_options,
    fahrenheit_option,
    json_option,
)

if TYPE_CHECKING:
    from fermd.cli.client import Daemon
    from fermd.control.wording import Unit


@click.command(
    cls=Command,
    negative_numbers=True,
    examples=[
        ("fermd target 10", "hold 10 °C, in the only chamber"),
        ("fermd target 68F --chamber ale", "hold 68 °F in this one of several"),
        ("fermd target -1", "below zero needs nothing special"),
    ],
)
@click.argument("temperature", type=Temperature())
@daemon_options
@chamber_option
@fahrenheit_option
@json_option
def command(
    daemon: Daemon, temperature: float, chamber: str | None, unit: Unit, as_json: bool
) -> None:
    """Set a target by hand.

    TEMPERATURE is in °C, or in °F with an F behind it. A running profile is paused; `fermd resume`
    goes on with it. The daemon refuses what would freeze the beer, and says what is allowed.
    """
    from fermd.cli.ordering import order
    from fermd.control import wording

    target_c = round(temperature, 4)
    order(
        daemon,
        chamber,
        {"command": "set-target", "target_c": target_c},
        as_json=as_json,
        done=f"{wording.temperature(target_c, unit)} is the target from now on",
        unit=unit,
    )
