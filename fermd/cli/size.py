"""`fermd size`: is the chamber big enough for this batch, with the working shown."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from fermd.cli.command import Command
from fermd.cli.options import json_option
from fermd.cli.plan_options import Said, plan_options

if TYPE_CHECKING:
    from fermd.cli.plan_setup import Planned
    from fermd.planning.sizing import Case


@click.command(
    cls=Command,
    examples=[
        ("fermd size lager-diacetyl-rest", "cooling and heating, needed and there"),
        (
            "fermd size lager-diacetyl-rest --volume 40 --original 1.060 --room 30 --cooler 150",
            "a larger and stronger batch, in a hot room, with a compressor of 150 W",
        ),
    ],
)
@plan_options
@json_option
def command(said: Said, as_json: bool) -> None:
    """Say whether the chamber is big enough, with the working shown.

    PROFILE is a name from `fermd profiles`, or a file. For each situation that asks the most of
    cooling and of heating: leak, heat of the yeast, the speed of the ramp, and what the chamber
    has for it, line by line, in watts.
    """
    from fermd.cli.plan_setup import set_up
    from fermd.planning.heat import heat_along
    from fermd.planning.sizing import size

    planned = set_up(said)
    line = planned.timeline()
    heat = heat_along(line, planned.plan.batch.fermentation())
    cases = size(line, heat, planned.plan.chamber, planned.plan.room)
    if as_json:
        _show_json(planned, cases)
    else:
        _show(planned, cases)


def _show(planned: Planned, cases: tuple[Case, ...]) -> None:
    from fermd.cli.plan_lines import head_lines, listed, show_lines
    from fermd.control.wording import Unit

    show_lines(head_lines(planned, Unit.CELSIUS))
    for case in cases:
        show_lines(["", *_case_lines(case)])
    show_lines(listed("Assumed", [f"{words}." for words in planned.assumed]))


def _case_lines(case: Case) -> list[str]:
    from fermd.cli.plan_lines import wrapped
    from fermd.control.settings import Duty

    name = "Cooling" if case.duty is Duty.COOL else "Heating"
    lines = [f"{name} {case.what}:"]
    for term in (*case.terms, case.has):
        first = f"  {term.name:<12}{term.watts:7.1f} W  "
        lines += wrapped(term.working, first, " " * len(first))
    return [*lines, *wrapped(_verdict(case), "  ", "  ")]


def _verdict(case: Case) -> str:
    if case.needed_w <= 0.0:
        return "Nothing is needed: left alone, it goes that way by itself."
    words = f"Needs {case.needed_w:.0f} W of {case.has.watts:.0f} W"
    if case.has.watts <= 0.0:
        return f"{words}: it cannot be done."
    words += f": {case.load:.0%}"
    if case.load > 1.0:
        return f"{words}. Too small: the beer will not follow."
    if case.is_tight:
        return f"{words}. Tight: no room for an open door or a hotter day."
    return f"{words}."


def _show_json(planned: Planned, cases: tuple[Case, ...]) -> None:
    from dataclasses import asdict
    from math import isfinite

    from fermd.cli.plan_lines import plain_plan
    from fermd.cli.screen import show_json

    show_json(
        plain_plan(planned)
        | {
            "cases": [
                asdict(case)
                | {
                    "step": case.step + 1,
                    "needed_w": case.needed_w,
                    "load": case.load if isfinite(case.load) else None,
                    "tight": case.is_tight,
                }
                for case in cases
            ]
        }
    )
