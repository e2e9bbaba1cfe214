"""`fermd change`: change the running profile."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from fermd.cli.command import Command
from fermd.cli.options import (
    FILE,
    Temperature,
    chamber_option,
    daemon_options,
    fahrenheit_option,
    json_option,
    why_option,
)

if TYPE_CHECKING:
    from fermd.cli.client import Daemon
    from fermd.control.wording import Unit


@click.command(
    cls=Command,
    examples=[
        ("fermd change --target 12", "the present step goes on at 12 °C"),
        ("fermd change --rest ./rest.toml", "after this step, the steps of that profile"),
        ("fermd undo", "back to the plan"),
    ],
)
@click.option("--target", type=Temperature(), help="Another target for the present step.")
@click.option("--rest", metavar="PROFILE", help="Other steps after the present one.")
@click.option("--folder", type=FILE, help="Look for profiles of your own in this folder.")
@daemon_options
@chamber_option
@fahrenheit_option
@why_option
@json_option
def command(
    daemon: Daemon,
    target: float | None,
    rest: str | None,
    folder: Path | None,
    chamber: str | None,
    unit: Unit,
    why: str | None,
    as_json: bool,
) -> None:
    """Change the running profile: this step's target, or the rest.

    What is past stays as it was, the change is in the journal with your name, and `fermd undo`
    puts the profile back. To make the step longer: `fermd extend`. To hold here until you say:
    `fermd pause`.
    """
    from fermd.cli.ordering import order
    from fermd.control import wording

    if (target is None) == (rest is None):
        raise click.UsageError("name what to change: either --target or --rest")
    if target is not None:
        target_c = round(target, 4)
        done = f"the step goes on at {wording.temperature(target_c, unit)}"
        what = {"command": "change-step-target", "target_c": target_c}
    else:
        from fermd.cli.profile_folders import own_folders
        from fermd.config.profile_file import find_profile, parse_profile
        from fermd.config.toml_file import read_text

        path = find_profile(rest or "", own_folders(folder))
        text = read_text(path)
        name = parse_profile(text, path).name
        done = f"after this step come those of {name}"
        what = {"command": "change-rest", "profile_toml": text}
    order(daemon, chamber, what, as_json=as_json, why=why, done=done, unit=unit)
