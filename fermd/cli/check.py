"""`fermd check`: the site file and profiles, with all that is wrong with them at once."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from fermd.cli.command import Command
from fermd.cli.options import SITE_VARIABLE, USUAL_SITE, json_option, site_option

if TYPE_CHECKING:
    from fermd.config.errors import Fault
    from fermd.config.site import SiteFile
    from fermd.control.settings import ChamberSettings


@dataclass(frozen=True, slots=True)
class _Checked:
    """One file after its check."""

    file: str
    what: str
    faults: tuple[Fault, ...] = ()
    cautions: tuple[Fault, ...] = ()
    exit_code: int = os.EX_OK


@click.command(
    cls=Command,
    examples=[
        ("fermd check", f"the site file {USUAL_SITE}"),
        ("fermd check --site fermd.toml --bus", "this one, and are its probes on the bus?"),
        (
            "fermd check cold-crash ./my-lager.toml",
            "the site file, and profiles against its chambers",
        ),
        ("fermd check --json", "for an editor or a script"),
    ],
)
@click.argument("profiles", nargs=-1, metavar="[PROFILE]...")
@site_option
@click.option("-c", "--chamber", metavar="NAME", help="Hold profiles against this chamber only.")
@click.option("--bus", is_flag=True, help="Also look whether the site's probes are on the bus.")
@json_option
@click.pass_context
def command(
    ctx: click.Context,
    profiles: tuple[str, ...],
    site: Path | None,
    chamber: str | None,
    bus: bool,
    as_json: bool,
) -> None:
    """Check the site file and profiles, and tell all that is wrong.

    PROFILE is a file, or a name from `fermd profiles`; it is also held against the chambers of the
    site. Faults go to standard error, a line each, with file, key, value and what is allowed.
    Cautions are worth a second look and no faults. Without a site file in its usual place,
    profiles are checked on their own.
    """
    path = site or Path(USUAL_SITE)
    alone = bool(profiles) and site is None and not path.exists()
    found: list[_Checked] = []
    loaded: SiteFile | None = None
    if not alone:
        checked, loaded = _check_site(path, bus)
        found.append(checked)
    chambers = _chambers(loaded, chamber)
    found += [_check_profile(name, chambers, path) for name in profiles]
    if as_json:
        _show_json(found)
    else:
        _show(found, alone)
    ctx.exit(next((one.exit_code for one in found if one.exit_code), os.EX_OK))


def _check_site(path: Path, bus: bool) -> tuple[_Checked, SiteFile | None]:
    from fermd.config.against_bus import check_against_bus
    from fermd.config.errors import ConfigError
    from fermd.config.site_file import cautions, load_site
    from fermd.hardware.w1_tree import list_probes

    try:
        site = load_site(path)
    except ConfigError as error:
        return _Checked(error.file, "site file", error.faults, (), error.exit_code), None
    chambers = ", ".join(chamber.name for chamber in site.settings.chambers)
    what = f"site file, chambers: {chambers}"
    faults = check_against_bus(site, list_probes(site.w1_root)) if bus else ()
    worth_a_look = cautions(site)
    if site.broker is not None:
        from fermd.broker.readiness import cautions_of, faults_of

        faults += faults_of(site.broker)
        worth_a_look += cautions_of(site.broker)
    if site.web is not None and site.web.metrics_token_file is not None:
        from fermd.web.collector import token_faults

        faults += token_faults(site.web.metrics_token_file)
    if site.messages is not None:
        from fermd.messages.checking import look_into

        found = look_into(site.messages, try_addresses=True)
        faults += found.faults
        worth_a_look += found.cautions
    code = os.EX_CONFIG if faults else os.EX_OK
    return _Checked(str(path), what, faults, worth_a_look, code), site


def _check_profile(name: str, chambers: Sequence[ChamberSettings], site: Path) -> _Checked:
    from fermd.cli.profile_folders import FOLDER_NAME
    from fermd.config.errors import ConfigError
    from fermd.config.profile_file import (
        check_against,
        find_profile,
        load_profile,
        profile_cautions,
    )

    try:
        path = find_profile(name, [site.parent / FOLDER_NAME])
        # With one chamber, what that would never do is found beside what is wrong in the file.
        profile = load_profile(path, chambers[0] if len(chambers) == 1 else None)
    except ConfigError as error:
        return _Checked(error.file, "profile", error.faults, (), error.exit_code)
    faults = dict.fromkeys(fault for one in chambers for fault in check_against(profile, one))
    cautions = dict.fromkeys(one for to in chambers for one in profile_cautions(profile, to))
    what = f"profile {profile.name}, {len(profile.steps)} steps"
    code = os.EX_CONFIG if faults else os.EX_OK
    return _Checked(str(path), what, tuple(faults), tuple(cautions), code)


def _chambers(site: SiteFile | None, wanted: str | None) -> Sequence[ChamberSettings]:
    if site is None:
        return ()
    chambers = site.settings.chambers
    if wanted is None:
        return chambers
    found = [chamber for chamber in chambers if chamber.name == wanted]
    if not found:
        from fermd.cli.catalogue import printable

        listed = ", ".join(chamber.name for chamber in chambers)
        raise click.UsageError(
            f"--chamber = {printable(wanted)!r}: no such chamber in the site file; "
            f"there are {listed}"
        )
    return found


def _show(found: Sequence[_Checked], alone: bool) -> None:
    from fermd.cli.exits import complain
    from fermd.cli.screen import clean

    for one in found:
        for fault in one.faults:
            complain(clean(f"{one.file}: {fault}"))
        if not one.faults:
            print(clean(f"{one.file}: all right ({one.what})"))
        for caution in one.cautions:
            print(clean(f"{one.file}: caution: {caution}"))
    if alone:
        complain(
            f"fermd: no site file at {USUAL_SITE}, so the profiles were held against no chamber; "
            f"name one with --site or {SITE_VARIABLE}"
        )


def _show_json(found: Sequence[_Checked]) -> None:
    from fermd.cli.screen import show_json

    show_json(
        {
            "ok": not any(one.faults for one in found),
            "files": [
                {
                    "file": one.file,
                    "ok": not one.faults,
                    "faults": [_plain(fault) for fault in one.faults],
                    "cautions": [_plain(caution) for caution in one.cautions],
                }
                for one in found
            ],
        }
    )


def _plain(fault: Fault) -> dict[str, Any]:
    from fermd.config.errors import ABSENT, value_text

    return {
        "key": fault.key,
        "value": None if fault.value is ABSENT else value_text(fault.value),
        "why": fault.why,
        "text": str(fault),
    }
