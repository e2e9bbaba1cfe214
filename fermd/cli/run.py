"""`fermd run`: be in charge of a site until told to stop. What the service runs."""

from __future__ import annotations

import logging
import os
import sys
from collections.abc import Callable
from contextlib import AbstractContextManager
from pathlib import Path

import click

from fermd.cli.options import FILE
from fermd.config.errors import ConfigError
from fermd.config.site import SiteFile
from fermd.config.site_file import load_site
from fermd.hardware.ports import RelayError
from fermd.service.board import site_ports
from fermd.service.hold import Ports, hold
from fermd.service.logs import logging_to_system
from fermd.service.notify import ServiceManager
from fermd.service.ownership import OwnershipError
from fermd.web.errors import SocketInUseError

log = logging.getLogger(__name__)

EXAMPLES = """\b
Examples:
  fermd run --site /etc/fermd/fermd.toml
  fermd check --site fermd.toml && fermd run --site fermd.toml
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
    """Take charge of a site until stopped (what the service runs).

    Stops with every relay off at SIGTERM or Ctrl-C; reads the site file again at SIGHUP.
    """
    sys.exit(serve(site))


OpenPorts = Callable[[SiteFile], AbstractContextManager[Ports]]


def serve(path: Path, open_ports: OpenPorts = site_ports) -> int:
    """Run the daemon for a site file; returns the exit code (sysexits).

    `open_ports` opens what the loop is plugged into: the board or the trial that the site file
    asks for, unless a test brings its own.
    """
    with logging_to_system():
        try:
            site = load_site(path)
            with open_ports(site) as ports, hold(site, ports):
                # Loaded with the relays off: it takes most of the time of a start.
                from fermd.broker.serving import on_broker
                from fermd.messages.interface import to_people
                from fermd.service.daemon import Daemon
                from fermd.web.serving import on_network, on_socket

                manager = ServiceManager.from_environment()
                interfaces = [on_socket(site), on_network(site), on_broker(site), to_people(site)]
                Daemon(site, ports, manager, interfaces).run()
        except ConfigError as error:
            return _failed(error, error.exit_code)
        except OwnershipError as error:
            return _failed(error, error.exit_code)
        except (RelayError, SocketInUseError) as error:
            return _failed(error, os.EX_UNAVAILABLE)
        except Exception:
            log.critical("fermd ends by a fault of its own, with its relays off", exc_info=True)
            return os.EX_SOFTWARE
    return os.EX_OK


def _failed(error: Exception, code: int) -> int:
    click.echo(str(error), err=True)
    return code
