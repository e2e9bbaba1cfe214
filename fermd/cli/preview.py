"""`fermd preview`: a profile on the calendar, with what to beware of, before it is started."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from fermd.cli.command import Command
from fermd.cli.options import FILE, fahrenheit_option, json_option
from fermd.cli.plan_options import Said, plan_options

if TYPE_CHECKING:
    from fermd.cli.plan_setup import Planned
    from fermd.control.wording import Unit
    from fermd.planning.timeline import Segment, Timeline


@click.command(
    cls=Command,
    examples=[
        ("fermd preview lager-diacetyl-rest", "what would happen if it were started now"),
        (
            'fermd preview lager-diacetyl-rest --start "fri 18:00" --original 1.052 --final 1.012',
            "next Friday, with this beer",
        ),
        (
            "fermd preview cold-crash --vessel 27 --volume 20 --beer 19 --picture crash.svg",
            "how much air does the airlock draw in? with a picture",
        ),
    ],
)
@plan_options
@click.option("--picture", type=FILE, help="Also draw it; ends in .svg, .png or .pdf.")
@fahrenheit_option
@json_option
def command(said: Said, picture: Path | None, unit: Unit, as_json: bool) -> None:
    """Show a profile on the calendar, and what to beware of.

    PROFILE is a name from `fermd profiles`, or a file. What the chamber would refuse at the start
    is refused here as well. Dates that depend on the beer or on a person are estimates, and marked
    with a ~: they come from a quick rehearsal.
    """
    from fermd.cli.plan_setup import check_picture, set_up
    from fermd.planning.errors import PlanError
    from fermd.planning.picture import draw_plan
    from fermd.planning.telling import told_cautions

    if picture is not None:
        check_picture(picture)
    planned = set_up(said)
    try:
        found = planned.estimate()
    except PlanError as error:
        raise click.UsageError(str(error)) from error
    line = planned.timeline(found)
    cautions = told_cautions(planned.plan, line, found, unit)
    if as_json:
        _show_json(planned, line, cautions)
    else:
        _show(planned, line, cautions, unit)
    if picture is not None:
        draw_plan(line, picture, planned.zone, unit)
        if not as_json:
            print(f"\npicture: {picture}")


def _show(
    planned: Planned, line: Timeline, cautions: list[tuple[dict[str, Any], str]], unit: Unit
) -> None:
    from fermd.cli.plan_lines import full_date, head_lines, listed, show_lines
    from fermd.cli.screen import show, table
    from fermd.control.wording import span
    from fermd.planning.chart import chart

    zone = planned.zone
    show_lines([*head_lines(planned, unit), ""])
    rows = [_row(segment, zone, unit) for segment in line.segments]
    show(table(("step", "begins", "target", "takes"), rows))
    about = "" if line.is_sure else "about "
    whole = (
        f"In all {about}{span(line.lasts_s)}, until {about}{full_date(line.end_utc_s, zone)}."
        if line.lasts_s > 0.0
        else "It has no end: it holds until you stop it."
    )
    show_lines(["", whole, "", *chart(line.corners, zone, unit)])
    notes = [f"start: {planned.start_note}."] if planned.start_note else []
    notes += [f"step {s.index + 1}: {s.note}." for s in line.segments if s.note]
    if line.clock_changes:
        notes += [
            f"{words}: steps that last hours or days are not changed by it, times of day are "
            "those of the clock on the wall."
            for _, words in line.clock_changes
        ]
    show_lines(listed("Clocks", notes))
    show_lines(listed("Beware", [words for _, words in cautions]))
    show_lines(listed("Assumed", [f"{words}." for words in planned.assumed]))


def _row(segment: Segment, zone: Any, unit: Unit) -> tuple[str, str, str, str]:
    from fermd.cli.plan_lines import date, step_name

    named = step_name(segment.index, segment.step.name or segment.step.kind)
    mark = " " if segment.begin_is_sure else "~"
    begins = mark + date(segment.begins_utc_s, zone)
    return named, begins, _target(segment, unit), _takes(segment)


def _target(segment: Segment, unit: Unit) -> str:
    from fermd.control.progress import leaves_c
    from fermd.control.steps import FreeRise, Ramp, Schedule
    from fermd.control.wording import temperature

    step = segment.step
    match step:
        case Ramp():
            low = temperature(segment.entry_c, unit).split()[0]
            return f"{low} to {temperature(step.to_c, unit)}"
        case FreeRise():
            low = temperature(step.floor_c, unit).split()[0]
            return f"{low} to {temperature(step.ceiling_c, unit)}"
        case Schedule():
            return "by the calendar"
        case _:
            return temperature(leaves_c(step), unit)


def _takes(segment: Segment) -> str:
    from math import inf

    from fermd.control.settings import HOUR_S
    from fermd.control.steps import FreeRise, HoldUntil, Jump, Soak, WaitForPerson
    from fermd.control.wording import span

    step = segment.step
    if segment.ends_utc_s == inf:
        return "no end"
    # An estimate is no better than the hour.
    about = span(max(60.0, round(segment.lasts_s / HOUR_S) * HOUR_S or segment.lasts_s))
    match step:
        case HoldUntil():
            return f"until {step.until}"
        case WaitForPerson():
            return f"when confirmed ~{about}"
        case Jump():
            return f"when there ~{about}"
        case FreeRise():
            return f"~{about} (of {span(step.for_s)})"
        case Soak() if segment.lasts_s > step.for_s + 1.0:
            return f"{span(step.for_s)} there ~{about}"
        case Soak():
            return f"{span(segment.lasts_s)} there"
        case _:
            return span(segment.lasts_s)


def _show_json(
    planned: Planned, line: Timeline, cautions: list[tuple[dict[str, Any], str]]
) -> None:
    from fermd.cli.plan_lines import plain_plan
    from fermd.cli.screen import show_json
    from fermd.planning.telling import plain_timeline

    show_json(
        plain_plan(planned)
        | plain_timeline(line, planned.zone)
        | {
            "start_note": planned.start_note or "",
            "cautions": [data | {"text": words} for data, words in cautions],
        }
    )
