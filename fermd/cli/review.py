"""`fermd review`: what became of a batch, from the journal's file alone."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Final

import click

from fermd.cli.command import Command
from fermd.cli.options import (
    FILE,
    Temperature,
    fahrenheit_option,
    json_option,
    site_option,
)

if TYPE_CHECKING:
    from fermd.control.wording import Unit

LARGEST_BAND_C: Final = 10.0


@click.command(
    cls=Command,
    examples=[
        ("fermd review", "the newest batch, running or not"),
        ("fermd review --list", "which batches there are, and their numbers"),
        ("fermd review --batch 3 --html batch-3.html", "batch 3 as a page with pictures"),
        ("fermd review --batch 3 --batch 5 --html both.html", "two batches laid over each other"),
        ("fermd review --journal old.db --journal new.db", "the newest batch of each journal"),
        ("fermd review --from 2026-03-06 --to 2026-03-09T12:00", "any span, batch or not"),
        ("fermd review --watts fridge=90 --watts belt=30 --price-per-kwh 0.31", "with its cost"),
        ("fermd review --volume 20 --limit 22", "heat in watts; degree-hours above 22 °C"),
        ("fermd review --picture batch.png", "the picture alone"),
    ],
)
@click.option(
    "--batch",
    "numbers",
    type=click.IntRange(1, 1_000_000),
    multiple=True,
    metavar="NUMBER",
    help="This batch; several are laid over each other. Else the newest.",
)
@click.option("--list", "listed", is_flag=True, help="List the batches of the journal.")
@click.option("--from", "from_text", metavar="TIME", help="From this time on, batch or not.")
@click.option("--to", "to_text", metavar="TIME", help="Up to this time; else to the end.")
@click.option("-c", "--chamber", metavar="NAME", help="The newest batch (or a span) of this one.")
@click.option(
    "--journal",
    "journals",
    metavar="FILE",
    type=FILE,
    multiple=True,
    help="This journal in place of the site's; several are laid over each other.",
)
@site_option
@click.option("--html", "page", metavar="FILE", type=FILE, help="Write the page with pictures.")
@click.option(
    "--picture", metavar="FILE", type=FILE, help="Write the picture alone: .svg, .png or .pdf."
)
@click.option(
    "--band",
    "band_c",
    type=click.FloatRange(0.05, LARGEST_BAND_C),
    default=0.5,
    show_default=True,
    metavar="DEGREES",
    help="Nearer to the target than this counts as held, °C.",
)
@click.option(
    "--limit",
    "limit_c",
    type=Temperature(),
    metavar="TEMPERATURE",
    help="Count the degree-hours above this.",
)
@click.option(
    "--watts",
    multiple=True,
    metavar="OUTPUT=WATTS",
    help="What an output takes while it is on; without it no energy is told.",
)
@click.option(
    "--price-per-kwh", type=click.FloatRange(0.0, 1000.0), metavar="PRICE", help="For the cost."
)
@click.option(
    "--volume",
    "volume_l",
    type=click.FloatRange(0.5, 100_000.0),
    metavar="LITRES",
    help="Beer in the vessel: gives the heat of fermentation in watts.",
)
@click.option("--vessel-probe", metavar="NAME", help="The probe in the beer, if it is not found.")
@click.option("--air-probe", metavar="NAME", help="The probe in the air, if it is not found.")
@fahrenheit_option
@json_option
def command(
    numbers: tuple[int, ...],
    listed: bool,
    from_text: str | None,
    to_text: str | None,
    chamber: str | None,
    journals: tuple[Path, ...],
    site: Path | None,
    page: Path | None,
    picture: Path | None,
    band_c: float,
    limit_c: float | None,
    watts: tuple[str, ...],
    price_per_kwh: float | None,
    volume_l: float | None,
    vessel_probe: str | None,
    air_probe: str | None,
    unit: Unit,
    as_json: bool,
) -> None:
    """Review a batch: how it was held, what disturbed it, what it cost.

    Reads the journal's file and changes nothing; the daemon may run or not. Causes are found in
    the journal alone and are what it shows, which may be wrong. Hours count from pitching. TIME is
    as 2026-03-06 or 2026-03-06T18:00, in the site's time zone, or this machine's without a site
    file.
    """
    from fermd.cli.review_choice import Asked, chosen, list_batches
    from fermd.cli.review_output import show_reviews
    from fermd.cli.review_values import watts_of
    from fermd.review.reviewing import Wishes

    asked = Asked(numbers, from_text, to_text, chamber, journals, site, vessel_probe, air_probe)
    asked.check()
    if listed:
        list_batches(asked, as_json=as_json)
        return
    wishes = Wishes(
        band_c=band_c,
        limit_c=limit_c,
        watts=watts_of(watts),
        price_per_kwh=price_per_kwh,
        volume_l=volume_l,
        zone=asked.zone(),
    )
    reviews = chosen(asked, wishes)
    show_reviews(reviews, unit, page=page, picture=picture, as_json=as_json)
