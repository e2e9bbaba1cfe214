"""`fermd export`: a profile as a fermentation in BeerJSON."""

from __future__ import annotations

from pathlib import Path

import click

from fermd.cli.command import Command
from fermd.cli.options import FILE
from fermd.cli.start import complete_profile


@click.command(
    "export",
    cls=Command,
    examples=[
        ("fermd export ale-free-rise > ale.json", "a profile that comes with fermd"),
        ("fermd export ./my-lager.toml > my-lager.json", "the one in this file"),
    ],
)
@click.argument("profile", shell_complete=complete_profile)
@click.option(
    "--folder",
    type=FILE,
    help="Look for profiles of your own in this folder. [usually /etc/fermd/profiles]",
)
def command(profile: str, folder: Path | None) -> None:
    """Write a profile as BeerJSON.

    PROFILE is a name from `fermd profiles`, or a file (with a slash in its name or .toml at its
    end). The document goes to standard output. What BeerJSON cannot say goes to standard error; it
    also stands in the descriptions of the steps, for people.
    """
    import json

    from fermd.cli.exits import complain
    from fermd.cli.profile_folders import own_folders
    from fermd.cli.screen import clean
    from fermd.config.profile_file import find_profile, load_profile
    from fermd.exchange.beerjson_out import to_beerjson

    document, left_out = to_beerjson(load_profile(find_profile(profile, own_folders(folder))))
    # As ASCII, which is UTF-8 whatever the terminal's encoding: the file is for other programs.
    print(json.dumps(document, indent=2))
    if left_out:
        complain(f"fermd: {len(left_out)} that BeerJSON has no field for:")
    for one in left_out:
        complain(f"  {clean(one)}")
