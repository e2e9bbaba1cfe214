"""`fermd password`: set the password of the page on the network."""

from __future__ import annotations

import os
import sys
from pathlib import Path

import click

from fermd.cli.command import Command
from fermd.cli.options import USUAL_SITE, site_option


@click.command(
    cls=Command,
    examples=[
        ("fermd password", "asks twice, and shows nothing of it"),
        ("fermd password --site fermd.toml", "for this site file; from a pipe it takes one line"),
    ],
)
@site_option
def command(site: Path | None) -> None:
    """Set the password of the page on the network.

    It is kept as a hash, in the file that the [web] table of the site file names, which nobody but
    its owner may read. A new password logs everybody out. Until one is set, nothing is served to
    the network.
    """
    from fermd.cli.exits import Failure
    from fermd.cli.screen import say
    from fermd.config.site_file import load_site
    from fermd.config.web import WebSettings
    from fermd.web.passwords import LONGEST_CHARS, SHORTEST_CHARS, write_password

    web = load_site(site or USUAL_SITE).web
    path = (web or WebSettings()).password_file
    try:
        write_password(path, _asked())
    except ValueError as error:
        why = f"must have {SHORTEST_CHARS} to {LONGEST_CHARS} characters"
        raise Failure(f"the password {why}; nothing was changed", os.EX_DATAERR) from error
    except OSError as error:
        why = error.strerror or str(error)
        raise Failure(
            f"{path}: cannot be written ({why}); its folder must exist and belong to the user that "
            "the daemon runs as: try it with sudo",
            os.EX_CANTCREAT,
        ) from error
    say(f"{path}: the password is set. Whoever was logged in is logged out.")
    if web is None:
        say('There is no [web] table in the site file yet: add one with listen = "0.0.0.0:8080".')


def _asked() -> str:
    if not sys.stdin.isatty():
        return sys.stdin.readline().rstrip("\r\n")
    password: str = click.prompt("New password", hide_input=True, confirmation_prompt="Once more")
    return password
