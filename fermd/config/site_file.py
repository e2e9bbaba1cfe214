"""The site file, read and checked.

`load_site` gives a site that is good in every respect that can be seen without the board, or all
that is wrong with the file at once.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

from fermd.config.errors import ABSENT, ConfigError, Fault, any_of
from fermd.config.mending import checked
from fermd.config.site import SiteFile
from fermd.config.site_build import site_from
from fermd.config.site_checks import check_site
from fermd.config.site_tables import PLACEHOLDERS, site_table
from fermd.config.toml_file import parse_toml, read_toml
from fermd.control.settings import ChamberSettings, Duty

USUAL_1_WIRE_GPIO: Final = 4
"""Where the kernel's w1-gpio overlay listens unless told otherwise."""


def load_site(path: Path) -> SiteFile:
    """Read a site file.

    Raises:
        ConfigError: with all faults of the file.

    """
    return _site(read_toml(path), path)


def parse_site(text: str, path: Path) -> SiteFile:
    """The same for a text; `path` is where it stands or is going to stand.

    Raises:
        ConfigError: with all faults of the text.

    """
    return _site(parse_toml(text, path), path)


def cautions(site: SiteFile) -> tuple[Fault, ...]:
    """What is allowed in a site but worth a second look, in the form of faults."""
    found = []
    for chamber in site.settings.chambers:
        found += _chamber_cautions(chamber)
    for relay in site.relays:
        if relay.gpio == USUAL_1_WIRE_GPIO and relay.chip is not None:
            why = "is where the kernel looks for 1-Wire probes unless /boot/config.txt says another"
            found.append(Fault(f"output.{relay.output}.gpio", relay.gpio, why))
    for circuit in site.settings.circuits:
        loads = [
            output
            for chamber in site.settings.chambers
            for output in chamber.outputs
            if output.circuit == circuit.name
        ]
        total_a = sum(output.rated_a for output in loads)
        if total_a > circuit.limit_a:
            why = (
                f"{any_of([output.name for output in loads])} together take {total_a:g} A: "
                "they will wait for one another"
            )
            found.append(Fault(f"circuit.{circuit.name}.limit_a", circuit.limit_a, why))
    return (*found, *_keeping_cautions(site))


def _keeping_cautions(site: SiteFile) -> list[Fault]:
    folder, key = site.keeping.backup_folder, "keeping.backup_folder"
    if folder is None:
        return []
    try:
        if not folder.is_dir():
            why = "is not there (a stick that is not plugged in?): no backup can be made"
            return [Fault(key, str(folder), why)]
        if folder.stat().st_dev == site.journal_path.parent.stat().st_dev:
            why = "is on the same disk as the journal: one fault of the disk takes both"
            return [Fault(key, str(folder), why)]
    except OSError:
        # The journal's folder is not there yet, or may not be looked at by this user.
        return []
    return []


def _chamber_cautions(chamber: ChamberSettings) -> list[Fault]:
    found = []
    key = f"chamber.{chamber.name}."
    if not chamber.outputs:
        found.append(Fault(key + "outputs", ABSENT, "none: the chamber is only watched"))
    if Duty.HEAT in chamber.by_duty and chamber.air_probe is None:
        why = "none: the heater runs without an upper limit for the air"
        found.append(Fault(key + "air_probe", ABSENT, why))
    return found


def _site(data: Mapping[str, Any], path: Path) -> SiteFile:
    site = checked(site_table(), data, PLACEHOLDERS)
    if site.table is not None:
        check_site(site)
    if site.faults or site.table is None:
        raise ConfigError(path, site.faults)
    return site_from(site.table, path)
