"""Profiles, read and checked; and where to find them.

A profile is plain TOML: a name, and steps in their order. Given the chamber that it is meant
for, what that chamber would never do is found together with what is wrong in the file itself.
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any, Final

import fermd
from fermd.config.errors import ABSENT, ConfigError, Fault, any_of, key_text
from fermd.config.mending import Checked, checked
from fermd.config.profile_tables import PLACEHOLDERS, STEP_TYPES, profile_table
from fermd.config.tables import settings_from
from fermd.config.toml_file import parse_toml, read_toml
from fermd.config.wording import nearest
from fermd.control.settings import ChamberSettings, Duty
from fermd.control.steps import (
    FinalHold,
    FreeRise,
    Jump,
    Profile,
    Ramp,
    Schedule,
    Soak,
    Step,
    coldest_target_c,
)

ENDING: Final = ".toml"


def load_profile(path: Path, chamber: ChamberSettings | None = None) -> Profile:
    """Read a profile; with a chamber also hold it against that.

    Raises:
        ConfigError: with all faults of the file.

    """
    return _profile(read_toml(path), path, chamber)


def parse_profile(text: str, file: Path | str, chamber: ChamberSettings | None = None) -> Profile:
    """The same for a text; `file` is what messages call it.

    Raises:
        ConfigError: with all faults of the text.

    """
    return _profile(parse_toml(text, file), file, chamber)


def check_against(profile: Profile, chamber: ChamberSettings) -> tuple[Fault, ...]:
    """What this chamber would never do, or never get done with, of a profile."""
    return tuple(
        Fault(key_text(["step", index, *key]), value, why)
        for index, key, value, why in _objections(profile, chamber)
    )


def profile_cautions(profile: Profile, chamber: ChamberSettings) -> tuple[Fault, ...]:
    """What is allowed in a profile but needs something that this chamber has not got."""
    found = []
    before_c: float | None = None
    for index, step in enumerate(profile.steps):
        key = f"step[{index + 1}].{_target_key(step)}"
        low_c = coldest_target_c(step)
        high_c = step.ceiling_c if isinstance(step, FreeRise) else low_c
        warmer = before_c is not None and low_c > before_c
        colder = before_c is not None and high_c < before_c
        if warmer and Duty.HEAT not in chamber.by_duty:
            why = f"chamber {chamber.name} has no heater: only the yeast and the room warm the beer"
            found.append(Fault(key, low_c, why))
        if colder and Duty.COOL not in chamber.by_duty:
            why = f"chamber {chamber.name} has no cooling: the beer only comes down to the room"
            found.append(Fault(key, low_c, why))
        if low_c > chamber.limits.air_highest_c or high_c < chamber.limits.air_lowest_c:
            why = (
                f"the air of chamber {chamber.name} is kept from {chamber.limits.air_lowest_c:g} "
                f"to {chamber.limits.air_highest_c:g} °C: the beer may not get there"
            )
            found.append(Fault(key, low_c, why))
        before_c = high_c
    return tuple(found)


def shipped_profiles() -> Mapping[str, Path]:
    """The profiles that come with fermd, by name (that of the file without its ending)."""
    package = Path(fermd.__file__).parent
    installed = package / "profiles"
    return _profiles_in(installed if installed.is_dir() else package.parent / "profiles")


def profiles_by_name(folders: Sequence[Path] = ()) -> Mapping[str, Path]:
    """The shipped profiles and those in the brewer's own folders, which win over others."""
    found = dict(shipped_profiles())
    for folder in reversed(folders):
        found.update(_profiles_in(folder))
    return dict(sorted(found.items()))


def find_profile(name_or_path: str, folders: Sequence[Path] = ()) -> Path:
    """Where a profile is, given its name, or its path (what ends in .toml or has a slash).

    Raises:
        ConfigError: there is none of that name; the text names the nearest.

    """
    if name_or_path.endswith(ENDING) or os.sep in name_or_path:
        return Path(name_or_path)
    known = profiles_by_name(folders)
    if name_or_path in known:
        return known[name_or_path]
    meant = nearest(name_or_path, list(known))
    hint = f"did you mean {any_of([meant])}? " if meant else ""
    why = f"is not a profile; {hint}there are {', '.join(known)}; or name a file"
    raise ConfigError(name_or_path or '""', [Fault("", ABSENT, why)], os.EX_NOINPUT)


def _objections(
    profile: Profile, chamber: ChamberSettings
) -> Iterator[tuple[int, tuple[str | int, ...], float, str]]:
    """Index of the step, the key's path in it, value and what is wrong with it in this chamber."""
    limits = chamber.limits
    widest_c = max(chamber.heat.band_c, chamber.cool.band_c)
    for index, step in enumerate(profile.steps):
        coldest_c = coldest_target_c(step)
        if coldest_c < limits.coldest_beer_c:
            why = (
                f"must be at least {limits.coldest_beer_c:g} °C in chamber {chamber.name}: beer "
                f"that freezes at {limits.freezing_point_c:g} °C plus a margin of "
                f"{limits.freezing_margin_c:g} °C; a stronger beer freezes colder, see "
                f"chamber.{chamber.name}.limits.freezing_point_c"
            )
            yield index, _coldest_key(step), coldest_c, why
        if isinstance(step, Soak | Jump) and step.within_c < widest_c:
            why = (
                f"must be at least {widest_c:g} °C, the wider band of chamber {chamber.name}: "
                "closer than that nothing is called for, so the step might never end"
            )
            yield index, ("within_c",), step.within_c, why


def _profiles_in(folder: Path) -> dict[str, Path]:
    try:
        files = sorted(folder.glob("*" + ENDING))
    except OSError:
        return {}
    return {file.stem: file for file in files if file.is_file()}


def _profile(data: Mapping[str, Any], file: Path | str, chamber: ChamberSettings | None) -> Profile:
    found = checked(profile_table(), data, PLACEHOLDERS)
    if found.table is None:
        raise ConfigError(file, found.faults)
    profile = _profile_from(found.table)
    _check_steps(found, profile)
    if chamber is not None:
        for index, key, value, why in _objections(profile, chamber):
            # What was only put in for a bad value is no fault of the file's.
            if found.is_sound("step", index, *key) and found.is_sound("step", index, "kind"):
                found.object_to(["step", index, *key], value, why)
    if found.faults:
        raise ConfigError(file, found.faults)
    return profile


def _profile_from(table: Any) -> Profile:
    return Profile(
        table.name,
        tuple(settings_from(step, STEP_TYPES[step.kind]) for step in table.step),
        table.description,
    )


def _check_steps(found: Checked, profile: Profile) -> None:
    for index, step in enumerate(profile.steps):
        if not found.is_sound("step", index, "kind"):
            continue
        if isinstance(step, FinalHold | Schedule) and index < len(profile.steps) - 1:
            why = (
                f'only the last step may be a "{step.kind}", which never ends; '
                'use "hold" with a time, or "wait"'
            )
            found.object_to(["step", index, "kind"], step.kind, why)
        if (
            isinstance(step, FreeRise)
            and step.ceiling_c <= step.floor_c
            and found.is_sound("step", index, "floor_c")
            and found.is_sound("step", index, "ceiling_c")
        ):
            why = f"must be above floor_c, which is {step.floor_c:g} °C"
            found.object_to(["step", index, "ceiling_c"], step.ceiling_c, why)


def _coldest_key(step: Step) -> tuple[str | int, ...]:
    """Where a step has its coldest target."""
    if not isinstance(step, Schedule):
        return (_target_key(step),)
    targets_c = [change.target_c for change in step.changes]
    return "changes", targets_c.index(min(targets_c)), "target_c"


def _target_key(step: Step) -> str:
    if isinstance(step, Ramp | Jump):
        return "to_c"
    return "floor_c" if isinstance(step, FreeRise) else "target_c"
