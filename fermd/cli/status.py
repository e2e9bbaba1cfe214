"""`fermd status`: one screen that answers what a brewer asks.

In this order: is everything all right, where is the beer and where should it be, what is on and
why, what comes next and when; then alarms, and how old all of this is.
"""

from __future__ import annotations

import time
from typing import TYPE_CHECKING, Any, Final

import click

from fermd.cli.command import Command
from fermd.cli.options import chamber_option, daemon_options, fahrenheit_option, json_option

if TYPE_CHECKING:
    from rich.console import RenderableType

    from fermd.cli.client import Daemon
    from fermd.control.wording import Unit

WATCH_EVERY_S: Final = 2.0
"""A reading comes every 10 s by default; a command is seen sooner than that."""


@click.command(
    cls=Command,
    examples=[
        ("fermd status", "everything, on one screen"),
        ("fermd status --watch --fahrenheit", "the same, kept up to date, in °F"),
        ("fermd status --chamber lager", "one of several chambers"),
        ("fermd status --json", "numbers and words, for a program"),
    ],
)
@daemon_options
@chamber_option
@click.option("--watch", is_flag=True, help="Keep it up to date until Ctrl-C.")
@fahrenheit_option
@json_option
def command(daemon: Daemon, chamber: str | None, watch: bool, unit: Unit, as_json: bool) -> None:
    """Show what every chamber does and why.

    The answer comes from the running daemon's memory and disturbs nothing. It ends with exit code
    0 whatever the chambers do; a program reads `alarms` in the JSON.
    """
    from fermd.cli.options import chosen_chamber
    from fermd.cli.screen import on_terminal, show, show_json

    if watch and (as_json or not on_terminal()):
        raise click.UsageError("--watch: only for a terminal; leave it out here.")
    status = daemon.status()
    name = None if chamber is None else chosen_chamber(daemon, chamber, status)
    if as_json:
        show_json(only(status, name))
    elif watch:
        _watch(daemon, name, unit)
    else:
        show(*screen(only(status, name), unit))


def only(status: dict[str, Any], name: str | None) -> dict[str, Any]:
    """The same status with one chamber alone, if one is named."""
    if name is None:
        return status
    return status | {"chambers": {name: status["chambers"][name]}}


def screen(status: dict[str, Any], unit: Unit) -> list[RenderableType]:
    """A whole status for people."""
    from fermd.cli.screen import cleaned
    from fermd.cli.status_lines import age, board_lines, chamber_parts

    shown = cleaned(status)
    parts: list[RenderableType] = []
    for name, chamber in shown["chambers"].items():
        parts += [*chamber_parts(name, chamber, shown, unit), ""]
    return [*parts, *board_lines(shown), age(shown)]


def _watch(daemon: Daemon, name: str | None, unit: Unit) -> None:
    from rich.console import Group
    from rich.live import Live

    from fermd.cli.screen import console

    with Live(console=console(), screen=True, auto_refresh=False) as live:
        while True:
            shown = screen(only(daemon.status(), name), unit)
            live.update(Group(*shown, "Ctrl-C ends this."), refresh=True)
            time.sleep(WATCH_EVERY_S)
