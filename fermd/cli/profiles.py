"""`fermd profiles`: which profiles there are, and what one does and how long it takes."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from fermd.cli.command import Command
from fermd.cli.options import FILE, fahrenheit_option, json_option
from fermd.cli.start import complete_profile

if TYPE_CHECKING:
    from fermd.control.steps import Profile
    from fermd.control.wording import Unit


@click.command(
    cls=Command,
    examples=[
        ("fermd profiles", "the profiles that come with fermd, and your own"),
        ("fermd profiles lager-diacetyl-rest", "the steps of this one, and how long each takes"),
        ("fermd profiles --folder ~/profiles", "with your own from another folder"),
    ],
)
@click.argument("profile", required=False, shell_complete=complete_profile)
@click.option(
    "--folder",
    type=FILE,
    help="Look for profiles of your own in this folder. [usually /etc/fermd/profiles]",
)
@fahrenheit_option
@json_option
def command(profile: str | None, folder: Path | None, unit: Unit, as_json: bool) -> None:
    """List the profiles, or show one.

    PROFILE is a name from the list, or a file (with a slash in its name or .toml at its end). A
    profile of your own hides one of the same name that comes with fermd.
    """
    from fermd.cli.profile_folders import own_folders

    folders = own_folders(folder)
    if profile is None:
        _list(folders, as_json)
    else:
        _show_one(profile, folders, unit, as_json)


def _list(folders: list[Path], as_json: bool) -> None:
    from fermd.cli.exits import complain
    from fermd.cli.screen import clean, say, show, show_json, table
    from fermd.config.errors import ConfigError
    from fermd.config.profile_file import load_profile, profiles_by_name, shipped_profiles

    shipped = set(shipped_profiles().values())
    found: list[dict[str, Any]] = []
    for name, path in profiles_by_name(folders).items():
        try:
            loaded = load_profile(path)
        except ConfigError as error:
            # One broken file does not hide the others; `fermd check` tells all of it.
            complain(str(error).splitlines()[0])
            continue
        planned_s, sure = _length_s(loaded)
        found.append(
            {
                "name": name,
                "title": loaded.name,
                "description": loaded.description,
                "steps": len(loaded.steps),
                "planned_s": planned_s,
                "planned_is_all": sure,
                "own": path not in shipped,
                "file": str(path),
            }
        )
    if as_json:
        show_json(found)
        return
    if not found:
        say(f"No profiles, neither with fermd nor in {folders[0]}.")
        return
    rows = [
        (
            clean(one["name"]),
            "own" if one["own"] else "fermd",
            _takes(one["planned_s"], one["planned_is_all"]),
            clean(one["title"]),
        )
        for one in found
    ]
    show(table(("profile", "from", "takes", "what"), rows))
    say("+ and what the beer or a person takes besides. `fermd profiles NAME` shows one.")


def _show_one(name: str, folders: list[Path], unit: Unit, as_json: bool) -> None:
    from fermd.cli.profile_table import plain_steps, rows
    from fermd.cli.screen import clean, show, show_json, table
    from fermd.config.profile_file import find_profile, load_profile
    from fermd.control.wording import span

    path = find_profile(name, folders)
    profile = load_profile(path)
    planned_s, sure = _length_s(profile)
    if as_json:
        show_json(
            {
                "title": profile.name,
                "description": profile.description,
                "file": str(path),
                "planned_s": planned_s,
                "planned_is_all": sure,
                "steps": plain_steps(profile),
            }
        )
        return
    show(clean(profile.name))
    if profile.description:
        show(clean(profile.description))
    show(table(("step", "kind", "target", "takes", "what"), rows(profile, unit)))
    more = "" if sure else ", and what the beer or a person takes besides"
    show(f"In all {span(planned_s)}{more}.")


def _length_s(profile: Profile) -> tuple[float, bool]:
    """How long a profile takes by plan, s, and whether that is all of it."""
    from fermd.cli.profile_table import takes_s
    from fermd.control.steps import Soak

    known = takes_s(profile)
    sure = None not in known and not any(isinstance(step, Soak) for step in profile.steps)
    return sum(each for each in known if each is not None), sure


def _takes(planned_s: float, sure: bool) -> str:
    from fermd.control.wording import span

    if not planned_s and sure:
        return "no end"
    return span(planned_s) + ("" if sure else " +")
