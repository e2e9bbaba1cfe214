"""`fermd stop`: end the profile; its last target is held by hand from then on."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from fermd.cli.command import Command
from fermd.cli.options import chamber_option, daemon_options, json_option, yes_option

if TYPE_CHECKING:
    from fermd.cli.client import Daemon


@click.command(
    cls=Command,
    examples=[
        ("fermd stop", "end the profile of the only chamber, after a question"),
        ("fermd stop --chamber lager --yes", "without the question, as in a script"),
    ],
)
@daemon_options
@chamber_option
@yes_option
@json_option
@click.pass_context
def command(
    ctx: click.Context, daemon: Daemon, chamber: str | None, yes: bool, as_json: bool
) -> None:
    """End the profile and hold its last target.

    The profile's place is forgotten: to interrupt it only for a while use `fermd pause`. The
    chamber goes on holding its temperature; `fermd off` switches it off.
    """
    from fermd.cli.exits import ANSWERED_NO
    from fermd.cli.options import chosen_chamber
    from fermd.cli.ordering import order
    from fermd.cli.screen import clean, sure

    status = daemon.status()
    name = chosen_chamber(daemon, chamber, status)
    profile = status["chambers"][name]["profile"]
    if profile is not None:
        place = f"step {profile['step']} of {profile['steps']}"
        question = f"End profile {clean(profile['name'])} in chamber {name} at {place}?"
        if not sure(question, yes):
            ctx.exit(ANSWERED_NO)
    order(
        daemon,
        name,
        {"command": "stop-profile"},
        as_json=as_json,
        done="the profile is ended; its last target is held by hand",
    )
