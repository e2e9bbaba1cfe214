"""What preview, rehearse and size show alike: the plan's head, its assumptions, dates, wrapping."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable
from datetime import datetime, tzinfo
from typing import TYPE_CHECKING, Any, Final

from fermd.cli.screen import clean
from fermd.control.wording import Unit, temperature
from fermd.planning.batch import gravity_words
from fermd.planning.telling import iso

if TYPE_CHECKING:
    from fermd.cli.plan_setup import Planned

COLUMNS: Final = 80
NAME_COLUMNS: Final = 19
"""Of a step's number and name in a table: the rest of a page's width is for dates and numbers."""


def date(utc_s: float, zone: tzinfo) -> str:
    """A local time as it stands in tables: `Fri 06 Mar 18:00`."""
    return f"{_to_the_minute(utc_s, zone):%a %d %b %H:%M}"


def full_date(utc_s: float, zone: tzinfo) -> str:
    """The same with its year."""
    return f"{_to_the_minute(utc_s, zone):%a %Y-%m-%d %H:%M}"


def step_name(index: int, name: str) -> str:
    """A step's number and name, cut to its column."""
    named = f"{index + 1} {clean(name)}"
    return named if len(named) <= NAME_COLUMNS else named[: NAME_COLUMNS - 1] + "…"


def wrapped(text: str, first: str = "- ", rest: str = "  ") -> list[str]:
    """A paragraph, broken to the width of a page."""
    return textwrap.wrap(
        clean(text),
        COLUMNS,
        initial_indent=first,
        subsequent_indent=rest,
        break_long_words=False,
        break_on_hyphens=False,
    )


def listed(head: str, items: Iterable[str]) -> list[str]:
    """A heading and what belongs under it; nothing if there is nothing."""
    lines = [line for item in items for line in wrapped(item)]
    return ["", head, *lines] if lines else []


def head_lines(planned: Planned, unit: Unit) -> list[str]:
    """Which profile, chamber, beer and start a plan is of."""
    plan, batch = planned.plan, planned.plan.batch
    chamber = plan.chamber.settings.name
    if batch.is_finished:
        beer = f"{batch.volume_l:g} l of finished beer of {gravity_words(batch.original_p)}"
    else:
        beer = (
            f"{batch.volume_l:g} l of {gravity_words(batch.original_p)} to "
            f"{gravity_words(batch.final_p)}, {batch.yeast.value} yeast"
        )
    beer += f", {batch.alcohol_v_percent:.1f} % by volume"
    start = full_date(plan.start_utc_s, planned.zone)
    return [
        *wrapped(f"{plan.profile.name}, in chamber {chamber}", "", ""),
        *wrapped(beer, "", ""),
        *wrapped(
            f"starts {start} ({planned.zone.key}), beer at {temperature(plan.start_c, unit)}",
            "",
            "",
        ),
    ]


def plain_plan(planned: Planned) -> dict[str, Any]:
    """The same for machines."""
    plan, batch = planned.plan, planned.plan.batch
    return {
        "profile": plan.profile.name,
        "file": str(planned.file),
        "chamber": plan.chamber.settings.name,
        "time_zone": planned.zone.key,
        "start": iso(plan.start_utc_s, planned.zone),
        "start_utc_s": plan.start_utc_s,
        "start_c": plan.start_c,
        "batch": {
            "volume_l": batch.volume_l,
            "vessel_l": batch.vessel_l,
            "original_p": batch.original_p,
            "final_p": batch.final_p,
            "yeast": batch.yeast.value,
            "closure": batch.closure.value,
            "finished": batch.is_finished,
            "alcohol_by_volume_percent": batch.alcohol_v_percent,
            "alcohol_by_weight_percent": batch.alcohol_w_percent,
        },
        "assumed": list(planned.assumed),
    }


def show_lines(lines: Iterable[str]) -> None:
    """Print lines as they are."""
    for line in lines:
        print(line)


def _to_the_minute(utc_s: float, zone: tzinfo) -> datetime:
    return datetime.fromtimestamp(round(utc_s / 60.0) * 60.0, zone)
