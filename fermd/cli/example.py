"""`fermd example`: a site file to start from."""

from __future__ import annotations

import click

from fermd.cli.command import Command


@click.command(
    cls=Command,
    examples=[
        ("fermd example > fermd.toml", "every key with its meaning and its default"),
        ("fermd example --short > fermd.toml", "one chamber with a fridge and a heat belt"),
    ],
)
@click.option("--short", is_flag=True, help="Only what a chamber needs, without explanations.")
def command(short: bool) -> None:
    """Print a site file to start from.

    Put in the ids of your own probes (`fermd probes` lists them) and the pins of your own relays;
    then `fermd check --site fermd.toml` says what is still wrong.
    """
    from fermd.config.example import SHORT_SITE, example_site

    print(SHORT_SITE if short else example_site(), end="")
