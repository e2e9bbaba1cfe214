"""`fermd probes`: which probes there are, and what they read.

Works before there is a site file and while no daemon runs: the bus is then read directly. With
the daemon running its readings are shown, and probes without a name are read beside it (the
kernel lets one read through at a time, so that neither disturbs the other).
"""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from fermd.cli.command import Command
from fermd.cli.options import (
    FILE,
    SOCKET_VARIABLE,
    USUAL_SITE,
    fahrenheit_option,
    json_option,
    site_option,
)

if TYPE_CHECKING:
    from fermd.config.site import SiteFile
    from fermd.control.wording import Unit

Plain = dict[str, Any]


@click.command(
    cls=Command,
    examples=[
        ("fermd probes", "all probes, with names if there is a site file"),
        ("fermd probes --root ./bus/w1/devices", "read another tree, without the daemon"),
        ("fermd probes --json", "with every counter, for a program"),
    ],
)
@site_option
@click.option(
    "--socket",
    metavar="PATH",
    type=FILE,
    envvar=SOCKET_VARIABLE,
    help="The daemon's socket.",
)
@click.option(
    "--root",
    metavar="FOLDER",
    type=FILE,
    help="Read the probes in this folder of the kernel's, without the daemon. "
    "[usually /sys/bus/w1/devices]",
)
@fahrenheit_option
@json_option
def command(
    site: Path | None, socket: Path | None, root: Path | None, unit: Unit, as_json: bool
) -> None:
    """List the probes and read them.

    To tell probes apart, take one into your hand and look again: a name in the site file belongs
    to the id that has become warmer.
    """
    from fermd.cli.exits import Failure
    from fermd.cli.probe_listing import listing, shown_rows
    from fermd.cli.screen import cleaned, show, show_json, table
    from fermd.hardware.w1_tree import KERNEL_TREE, explain_absence

    loaded = _site(site)
    place = root or (loaded.w1_root if loaded is not None else KERNEL_TREE)
    reported = None if root is not None else _from_daemon(socket, site)
    found = listing(loaded, place, reported)
    if as_json:
        show_json(found)
    elif found:
        head = ("id", "name", "role", "reads", "state")
        show(table(head, shown_rows(cleaned(found), unit)))
    if not found:
        why = explain_absence(place) or f"{place} shows no probe"
        raise Failure(why, os.EX_UNAVAILABLE)


def _site(given: Path | None) -> SiteFile | None:
    """The site file, for names; none is needed, but one that is named must be good."""
    from fermd.cli.exits import complain, told
    from fermd.config.errors import ConfigError
    from fermd.config.site_file import load_site

    path = given or USUAL_SITE
    if given is None and not path.exists():
        return None
    try:
        return load_site(path)
    except ConfigError as error:
        if given is not None:
            raise
        complain(told(f"{path} is not used for names: {error.faults[0]}"))
        return None


def _from_daemon(socket: Path | None, site: Path | None) -> list[Plain] | None:
    """What the daemon says of its probes; None if it is not running."""
    from fermd.cli.client import Daemon, socket_path
    from fermd.cli.exits import Failure

    path = socket_path(socket, site if site is None or site.exists() else None)
    try:
        return Daemon(path).probes()
    except Failure as failure:
        if socket is None and failure.code in (os.EX_UNAVAILABLE, os.EX_NOPERM):
            return None
        raise
