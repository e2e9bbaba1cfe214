"""`fermd extend`: make the present step longer or shorter."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from fermd.cli.command import Command
from fermd.cli.options import Span, chamber_option, daemon_options, json_option, why_option

if TYPE_CHECKING:
    from fermd.cli.client import Daemon


@click.command(
    cls=Command,
    negative_numbers=True,
    examples=[
        ("fermd extend 12h", "half a day more, in the only chamber"),
        ("fermd extend 1d12h --chamber lager", "a day and a half more"),
        ("fermd extend -6h", "six hours less"),
    ],
)
@click.argument("time", type=Span(signed=True))
@daemon_options
@chamber_option
@why_option
@json_option
def command(
    daemon: Daemon, time: float, chamber: str | None, why: str | None, as_json: bool
) -> None:
    """Make the present step longer or shorter.

    TIME is a number with a unit (s, min, h or d). A step that does not end by time (a ramp, a
    wait, a jump) refuses it.
    """
    from fermd.cli.ordering import order
    from fermd.control import wording

    how = "shorter" if time < 0 else "longer"
    order(
        daemon,
        chamber,
        {"command": "extend-step", "by_s": time},
        as_json=as_json,
        why=why,
        done=f"the present step is {wording.span(abs(time))} {how}",
    )
