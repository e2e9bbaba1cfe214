"""`fermd rehearse`: a whole batch in seconds, by the real core on a simulated chamber."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from fermd.cli.command import Command
from fermd.cli.options import FILE, fahrenheit_option, json_option
from fermd.cli.plan_options import Said, plan_options

if TYPE_CHECKING:
    from fermd.cli.plan_setup import Planned
    from fermd.control.wording import Unit
    from fermd.planning.outcome import Rehearsal
    from fermd.planning.timeline import Timeline


@click.command(
    cls=Command,
    examples=[
        ("fermd rehearse lager-diacetyl-rest", "how would this site do?"),
        (
            "fermd rehearse lager-diacetyl-rest --room 28 --swing 6 --tariff 0.30 --currency EUR",
            "in a hot garage, and what does it cost?",
        ),
        (
            "fermd rehearse ale-free-rise --room-file garage.csv --lag 6h --picture ale.svg",
            "with last year's temperatures, behind the garage's walls, as a picture",
        ),
    ],
)
@plan_options
@click.option("--tariff", type=click.FloatRange(0.0, 1000.0), help="Price of a kWh.")
@click.option("--currency", default="", metavar="TEXT", help="What the price is in: EUR.")
@click.option("--picture", type=FILE, help="Also draw it; ends in .svg, .png or .pdf.")
@fahrenheit_option
@json_option
@click.pass_context
def command(
    ctx: click.Context,
    said: Said,
    tariff: float | None,
    currency: str,
    picture: Path | None,
    unit: Unit,
    as_json: bool,
) -> None:
    """Rehearse a whole batch on a simulated chamber.

    PROFILE is a name from `fermd profiles`, or a file. The site's own settings and the real core
    decide; chamber, room and yeast are a model. It takes seconds and touches no relay.
    """
    from fermd.cli.plan_setup import check_picture, set_up
    from fermd.planning.errors import PlanError
    from fermd.planning.estimate import estimate_from
    from fermd.planning.picture import draw_rehearsal
    from fermd.planning.rehearsal import rehearse

    if picture is not None:
        check_picture(picture)
    planned = set_up(said)
    try:
        seen = rehearse(planned.plan)
    except PlanError as error:
        raise click.UsageError(str(error)) from error
    line = planned.timeline(estimate_from(seen, planned.plan.profile))
    if as_json:
        _show_json(planned, line, seen, tariff, currency)
    else:
        _show(planned, line, seen, tariff, currency, unit)
    if picture is not None:
        draw_rehearsal(line, seen, picture, planned.zone, unit)
        if not as_json:
            print(f"\npicture: {picture}")
    ctx.exit(os.EX_SOFTWARE if seen.broken else os.EX_OK)


def _show(
    planned: Planned,
    line: Timeline,
    seen: Rehearsal,
    tariff: float | None,
    currency: str,
    unit: Unit,
) -> None:
    from fermd.cli.exits import complain
    from fermd.cli.plan_lines import (
        date,
        full_date,
        head_lines,
        listed,
        show_lines,
        step_name,
        wrapped,
    )
    from fermd.cli.screen import clean, show, table
    from fermd.control.wording import difference, span
    from fermd.planning import report

    zone, profile = planned.zone, planned.plan.profile

    def when(utc_s: float) -> str:
        return date(utc_s, zone)

    show_lines([*head_lines(planned, unit), ""])
    rows = [
        (
            step_name(step.index, step.name or step.kind),
            when(step.entered_utc_s),
            "never" if step.there_utc_s is None else when(step.there_utc_s),
            f"{step.in_band_share:.0%}",
            f"+{difference(step.over_c, unit)[:-3]}",
            f"-{difference(step.under_c, unit)}",
        )
        for step in seen.steps
    ]
    show(table(("step", "begins", "beer there", "held", "over", "under"), rows))
    told = [("beer", report.beer_words(seen, unit))]
    if _comes_down(planned):
        words = report.coldest_words(
            seen, _target_comes(line, seen), lambda s: full_date(s, zone), unit
        )
        told.append(("coldest", words))
    told += [(report.output_name(u), report.output_words(u, seen.lasted_s)) for u in seen.outputs]
    told.append(("energy", report.energy_words(seen, tariff, clean(currency))))
    print()
    for name, words in told:
        show_lines(wrapped(f"{name}: {words}.", "", "  "))
    behind = [report.shortfall_words(one, profile, when, unit) + "." for one in seen.shortfalls]
    show_lines(listed("Does not keep up", behind))
    if not seen.finished:
        last = seen.steps[-1]
        words = (
            f"step {last.index + 1} never ends: given up after {span(seen.lasted_s)}. It waits "
            "for a temperature that the beer does not come to."
        )
        show_lines(listed("Does not end", [words]))
    show_lines(listed("Alarms", [f"{words}." for words in report.alarm_words(seen, when)]))
    show_lines(listed("Assumed", [f"{words}." for words in _assumed(planned)]))
    for broken in seen.broken:
        complain(f"BROKEN: {when(planned.plan.start_utc_s + broken.mono_s)}: {broken}")
    if not seen.broken:
        show_lines(["", "Protection kept all its promises, as a witness of its own has seen."])


def _comes_down(planned: Planned) -> bool:
    """Whether the profile has a way down at all."""
    from fermd.control.steps import coldest_target_c

    temps_c = [planned.plan.start_c, *(coldest_target_c(s) for s in planned.plan.profile.steps)]
    return min(temps_c) < max(temps_c[: temps_c.index(min(temps_c)) + 1]) - 1.0


def _target_comes(line: Timeline, seen: Rehearsal) -> float | None:
    """When the target itself comes to its coldest."""
    coldest_c = seen.coldest.target_c
    return next((c.utc_s for c in line.corners if c.cool_c <= coldest_c + 1e-9), None)


def _assumed(planned: Planned) -> list[str]:
    found = list(planned.assumed)
    if planned.room_file is not None and planned.room_file.gaps:
        gaps = planned.room_file.gaps
        longest_h = max(gap.to_utc_s - gap.from_utc_s for gap in gaps) / 3600.0
        found.append(
            f"{planned.room_file.file}: {len(gaps)} gaps, the longest of {longest_h:.1f} h, are "
            "bridged by straight lines"
        )
    return found


def _show_json(
    planned: Planned, line: Timeline, seen: Rehearsal, tariff: float | None, currency: str
) -> None:
    from dataclasses import asdict

    from fermd.cli.plan_lines import plain_plan
    from fermd.cli.screen import show_json
    from fermd.planning.telling import iso

    zone = planned.zone

    def when(utc_s: float | None) -> str | None:
        return None if utc_s is None else iso(utc_s, zone)

    plain: dict[str, Any] = plain_plan(planned) | {
        "assumed": _assumed(planned),
        "finished": seen.finished,
        "lasted_s": seen.lasted_s,
        "in_band_share": seen.in_band_share,
        "over_c": seen.over_c,
        "under_c": seen.under_c,
        "coldest": {
            "target_c": seen.coldest.target_c,
            "at": when(seen.coldest.utc_s),
            "target_at": when(_target_comes(line, seen)),
        },
        "energy_kwh": seen.kwh,
        "cost": None if tariff is None else seen.kwh * tariff,
        "currency": currency,
        "outputs": [asdict(use) | {"kwh": use.kwh} for use in seen.outputs],
        "steps": [
            asdict(step)
            | {
                "step": step.index + 1,
                "entered": when(step.entered_utc_s),
                "there": when(step.there_utc_s),
            }
            for step in seen.steps
        ],
        "shortfalls": [
            asdict(one) | {"step": one.step + 1, "begins": when(one.begins_utc_s)}
            for one in seen.shortfalls
        ],
        "alarms": [asdict(one) | {"at": when(one.utc_s)} for one in seen.alarms],
        "broken": [str(one) for one in seen.broken],
    }
    show_json(plain)
