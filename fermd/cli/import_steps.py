"""`fermd import`: a profile from a recipe in BeerJSON or BeerXML."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from fermd.cli.command import Command
from fermd.cli.options import FILE, json_option

if TYPE_CHECKING:
    from fermd.exchange.carried import Carried


@click.command(
    "import",
    cls=Command,
    examples=[
        ("fermd import recipe.json > my-ale.toml", "the fermentation of the recipe in this file"),
        ('fermd import recipes.xml --name "My Ale" > my-ale.toml', "one recipe of several"),
        ("fermd check ./my-ale.toml", "then see whether it fits the chambers of your site"),
    ],
)
@click.argument("document", metavar="FILE", type=FILE)
@click.option(
    "--name",
    metavar="NAME",
    help="Which fermentation, if there are several: the recipe's name, or its number.",
)
@json_option
def command(document: Path, name: str | None, as_json: bool) -> None:
    """Make a profile from a recipe in BeerJSON or BeerXML.

    The profile goes to standard output. What could not be carried over, or not as it stands, goes
    to standard error and, as comments, to the top of the profile: read it before you start the
    profile.
    """
    from fermd.cli.screen import cleaned, show_json
    from fermd.exchange.documents import load_document

    carried = load_document(document, name)
    text = _text(carried, document)
    if as_json:
        told = [{"where": one.where, "what": one.what, "why": one.why} for one in carried.left_out]
        show_json(
            {
                "file": cleaned(str(document)),
                "profile": carried.profile.name,
                "profile_toml": text,
                "left_out": cleaned(told),
            }
        )
        return
    print(text, end="")
    _complain(carried)


def _text(carried: Carried, document: Path) -> str:
    from fermd.exchange.profile_text import profile_text

    remarks = [f"From {document.name}."]
    if carried.left_out:
        remarks.append("Not carried over as it stands:")
        remarks += [f"- {one}" for one in carried.left_out]
    return profile_text(carried.profile, remarks)


def _complain(carried: Carried) -> None:
    from fermd.cli.exits import complain
    from fermd.cli.screen import clean

    if carried.left_out:
        complain(f"fermd: {len(carried.left_out)} not carried over as it stands:")
    for one in carried.left_out:
        complain(f"  {clean(one)}")
