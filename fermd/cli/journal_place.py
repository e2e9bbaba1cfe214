"""Which journal a command is about: the one that is named, or the one of the site file."""

from __future__ import annotations

from dataclasses import dataclass, fields
from pathlib import Path
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import click

from fermd.cli.options import FILE, SITE_VARIABLE, USUAL_SITE, Decorated

if TYPE_CHECKING:
    from fermd.config.site import SiteFile


@dataclass(frozen=True, slots=True)
class Place:
    """A journal, and the site that it belongs to if that is known."""

    journal: Path
    site: SiteFile | None

    @property
    def zone(self) -> ZoneInfo:
        """The site's zone; UTC without a site."""
        return ZoneInfo("UTC") if self.site is None else self.site.zone


def journal_options(function: Decorated) -> Decorated:
    """`--journal` and `--site`; hands the command a `place`, found when it is asked for."""

    @click.option(
        "--journal",
        metavar="FILE",
        type=FILE,
        help="This journal, in place of the one that the site file names.",
    )
    @click.option(
        "--site",
        metavar="FILE",
        type=FILE,
        envvar=SITE_VARIABLE,
        help=f"The site file. [environment: {SITE_VARIABLE}; usually {USUAL_SITE}]",
    )
    def placed(*args: Any, journal: Path | None, site: Path | None, **more: Any) -> Any:
        return function(*args, place=lambda: find_place(journal, site), **more)

    placed.__doc__ = function.__doc__
    placed.__name__ = function.__name__
    if hasattr(function, "__click_params__"):
        placed.__click_params__ += function.__click_params__  # type: ignore[attr-defined]
    return placed


def find_place(journal: Path | None, site: Path | None) -> Place:
    """The journal that is meant; a journal that is named needs no site file.

    Raises ConfigError if the site file is wrong.
    """
    from fermd.config.site import BoardSettings
    from fermd.config.site_file import load_site

    path = site or USUAL_SITE
    if site is None and not path.exists():
        usual = {field.name: field.default for field in fields(BoardSettings)}
        return Place(journal or Path(str(usual["journal_path"])), None)
    loaded = load_site(path)
    return Place(journal or loaded.journal_path, loaded)
