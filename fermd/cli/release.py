"""`fermd release`: every relay off. What the service manager runs after the daemon has ended."""

from __future__ import annotations

import os
import sys
from pathlib import Path

import click

from fermd.cli.options import FILE
from fermd.config.errors import ConfigError
from fermd.config.site_file import load_site
from fermd.hardware.pin_factories import PinSource
from fermd.hardware.ports import RelayError
from fermd.hardware.release import release_lines
from fermd.service.board import pins_of
from fermd.service.hold import lock_path
from fermd.service.ownership import Ownership, OwnershipError

EXAMPLES = """\b
Examples:
  fermd release --site /etc/fermd/fermd.toml
"""


@click.command(epilog=EXAMPLES)
@click.option(
    "--site",
    type=FILE,
    envvar="FERMD_SITE",
    default=Path("/etc/fermd/fermd.toml"),
    show_default=True,
    help="The site file.",
)
def command(site: Path) -> None:
    """Drive every relay of a site off and leave it off.

    Refuses, and touches nothing, while a running fermd owns the hardware.
    """
    sys.exit(release(site))


def release(path: Path, pins: PinSource | None = None) -> int:
    """Release the relays of a site file; returns the exit code (sysexits).

    `pins` opens what drives the pins, if not what the site file names.
    """
    try:
        site = load_site(path)
        if site.simulated is not None:
            click.echo("the site is simulated: there is no relay to release")
            return os.EX_OK
        with Ownership(lock_path(site)):
            released = release_lines(site.relays, pins or pins_of(site))
    except (ConfigError, OwnershipError) as error:
        click.echo(str(error), err=True)
        return error.exit_code
    except RelayError as error:
        click.echo(str(error), err=True)
        return os.EX_UNAVAILABLE
    click.echo(f"off: {', '.join(released)}")
    return os.EX_OK
