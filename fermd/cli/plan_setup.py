"""Makes a plan of what was said on the command line, the site file and the profile.

What is wrong with the profile in this chamber, at this start, is refused just as the daemon would
refuse it. What had to be assumed is told.
"""

from __future__ import annotations

import os
import time
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Final
from zoneinfo import ZoneInfo, available_timezones

import click

from fermd.cli.exits import Failure
from fermd.cli.options import USUAL_SITE
from fermd.cli.plan_options import Said
from fermd.cli.profile_folders import own_folders
from fermd.config.errors import ConfigError
from fermd.config.example import SHORT_SITE
from fermd.config.profile_checks import start_from, unreachable_steps
from fermd.config.profile_file import find_profile, load_profile
from fermd.config.site import SimulatedSettings, SiteFile
from fermd.config.site_file import load_site, parse_site
from fermd.config.zone_calendar import ZoneCalendar
from fermd.control.progress import leaves_c
from fermd.control.settings import ChamberSettings
from fermd.control.steps import FreeRise, Jump, Profile, Ramp
from fermd.physics.ambient import AmbientTrace, ConstantAmbient, DayNightAmbient
from fermd.physics.errors import PhysicsError
from fermd.planning.ambient_file import RoomFile, read_room
from fermd.planning.batch import (
    LAGER_UP_TO_C,
    Closure,
    PlannedBatch,
    YeastKind,
    final_from,
    original_from,
)
from fermd.planning.chamber import planned_chamber
from fermd.planning.estimate import Estimate, estimate
from fermd.planning.rehearsal import Plan
from fermd.planning.timeline import Timeline, timeline

USUAL_START_C: Final = 20.0
"""A beer that a profile begins by cooling, °C: it has fermented somewhere (no source)."""


@dataclass(frozen=True, slots=True)
class Planned:
    """A plan, ready to be looked at or rehearsed."""

    plan: Plan
    file: Path
    """The profile's."""
    zone: ZoneInfo
    assumed: tuple[str, ...]
    """What was taken for want of better, each as a sentence."""
    room_file: RoomFile | None
    start_note: str | None
    """What a change of clocks does to the start."""

    def timeline(self, found: Estimate | None = None) -> Timeline:
        """The profile on the calendar, with or without an estimate of what nobody knows."""
        plan = self.plan
        taken_s = {} if found is None else found.taken_s
        return timeline(plan.profile, plan.start_utc_s, plan.start_c, self.zone, taken_s)

    def estimate(self) -> Estimate:
        """How long the steps take that the beer or a person ends."""
        return estimate(self.plan)


def set_up(said: Said) -> Planned:
    """Put a plan together.

    Raises ConfigError or UsageError with all that is wrong with a file, or with an option.
    """
    site, has_site = _site(said)
    chamber = _chamber(site, said, has_site)
    zone = _zone(site, said, has_site)
    chamber = replace(chamber, calendar=ZoneCalendar(zone))
    assumed: list[str] = []
    if not has_site:
        assumed.append(
            "there is no site file: a fridge, a heat belt and the usual settings stand in (--site)"
        )
    file = find_profile(said.profile, own_folders(said.folder))
    profile = load_profile(file, chamber)
    start_utc_s, start_note = _start(said, zone)
    faults = unreachable_steps(profile, start_utc_s, chamber.calendar)
    if faults:
        raise ConfigError(file, faults)
    start_c = _start_c(said, profile, site.simulated, assumed)
    batch = _batch(said, profile, start_c, site.simulated, assumed)
    line = timeline(profile, start_utc_s, start_c, zone)
    span_s = (start_utc_s, start_utc_s + line.lasts_s)
    room, room_file = _room(said, site.simulated, zone, span_s, assumed)
    try:
        parts = planned_chamber(
            chamber,
            batch,
            site.simulated,
            cooler_w=said.cooler_w,
            heater_w=said.heater_w,
            cabinet_l=said.cabinet_l,
        )
    except PhysicsError as error:
        raise click.UsageError(f"{error}; see --vessel and --cabinet") from error
    plan = Plan(
        profile=profile,
        chamber=parts,
        batch=batch,
        room=room,
        start_utc_s=start_utc_s,
        start_c=start_c,
        planned_s=line.lasts_s,
        circuits=site.settings.circuits,
    )
    if said.confirm_after_s is not None:
        plan = replace(plan, confirm_after_s=said.confirm_after_s)
    return Planned(plan, file, zone, (*assumed, *parts.assumed), room_file, start_note)


def _site(said: Said) -> tuple[SiteFile, bool]:
    path = said.site or USUAL_SITE
    if said.site is None and not path.exists():
        return parse_site(SHORT_SITE, Path("fermd.toml")), False
    return load_site(path), True


def _chamber(site: SiteFile, said: Said, has_site: bool) -> ChamberSettings:
    chambers = {one.name: one for one in site.settings.chambers}
    listed = ", ".join(chambers)
    if said.chamber is None and len(chambers) == 1:
        return next(iter(chambers.values()))
    if said.chamber is None:
        raise click.UsageError(f"--chamber: say which chamber is meant; there are {listed}")
    if said.chamber not in chambers or not has_site:
        from fermd.cli.catalogue import printable

        there = f"there are {listed}" if has_site else "there is no site file (--site)"
        raise click.UsageError(f"--chamber = '{printable(said.chamber)}': no such chamber; {there}")
    return chambers[said.chamber]


def _zone(site: SiteFile, said: Said, has_site: bool) -> ZoneInfo:
    if said.zone is not None:
        if said.zone not in available_timezones():
            from fermd.cli.catalogue import printable

            raise click.UsageError(
                f"--zone = '{printable(said.zone)}': must be an IANA name, such as Europe/Vienna"
            )
        return ZoneInfo(said.zone)
    return site.zone if has_site else ZoneInfo(_own_zone())


def _own_zone() -> str:
    """The computer's own time zone by its IANA name; UTC if that is not known."""
    named = os.environ.get("TZ", "").removeprefix(":") or os.path.realpath("/etc/localtime")
    name = named.rpartition("zoneinfo/")[2]
    return name if name in available_timezones() else "UTC"


def _start(said: Said, zone: ZoneInfo) -> tuple[float, str | None]:
    now_s = time.time()
    if said.start is None:
        return float(int(now_s / 60.0 + 1.0) * 60), None
    try:
        return start_from(said.start, zone, now_s)
    except ValueError as error:
        from fermd.cli.catalogue import printable

        raise click.UsageError(f"--start = '{printable(said.start)}': {error}") from error


def _start_c(
    said: Said, profile: Profile, trial: SimulatedSettings | None, assumed: list[str]
) -> float:
    if said.beer_c is not None:
        if not -5.0 <= said.beer_c <= 60.0:
            raise click.UsageError(f"--beer = {said.beer_c:g} °C: must be from -5 to 60 °C")
        return said.beer_c
    first = profile.steps[0]
    if not isinstance(first, Ramp | Jump):
        return first.floor_c if isinstance(first, FreeRise) else leaves_c(first)
    start_c = trial.start_c if trial is not None else USUAL_START_C
    assumed.append(f"the beer is taken to be at {start_c:g} °C at the start (--beer)")
    return start_c


def _batch(
    said: Said,
    profile: Profile,
    start_c: float,
    trial: SimulatedSettings | None,
    assumed: list[str],
) -> PlannedBatch:
    usual = PlannedBatch()
    finished = said.finished
    first = profile.steps[0]
    if finished is None:
        finished = isinstance(first, Ramp | Jump) and first.to_c < start_c
        if finished:
            assumed.append(
                "a profile that begins by cooling is taken to be for beer that has fermented "
                "(--fermenting)"
            )
    original_p = usual.original_p
    if said.original is not None:
        original_p = original_from(said.original)
    elif trial is not None and trial.original_extract_p > 0.0:
        original_p = trial.original_extract_p
    volume_l = said.volume_l or (trial.volume_l if trial is not None else usual.volume_l)
    vessel_l = said.vessel_l or volume_l * usual.vessel_l / usual.volume_l
    if said.vessel_l is None:
        assumed.append(f"the vessel is taken to hold {vessel_l:g} l (--vessel)")
    if sum(one is not None for one in (said.final, said.attenuation, said.abv)) > 1:
        raise click.UsageError("--final, --attenuation and --abv say the same: give one of them")
    early_c = leaves_c(first) if isinstance(first, Ramp | Jump) else start_c
    yeast = said.yeast or ("lager" if early_c <= LAGER_UP_TO_C else "ale")
    try:
        final_p = final_from(
            original_p, final=said.final, attenuation_percent=said.attenuation, abv=said.abv
        )
        return PlannedBatch(
            volume_l=volume_l,
            vessel_l=vessel_l,
            original_p=original_p,
            final_p=final_p,
            yeast=YeastKind(yeast),
            closure=Closure.SEALED if said.sealed else Closure.AIRLOCK,
            is_finished=finished,
        )
    except PhysicsError as error:
        raise click.UsageError(str(error)) from error


def _room(
    said: Said,
    trial: SimulatedSettings | None,
    zone: ZoneInfo,
    span_s: tuple[float, float],
    assumed: list[str],
) -> tuple[AmbientTrace, RoomFile | None]:
    if said.room_file is not None:
        if said.room_c is not None or said.swing_c is not None:
            raise click.UsageError("--room-file says it all: leave out --room and --swing")
        read = read_room(said.room_file, zone)
        laid, years = read.laid_onto(span_s[0], zone)
        if years:
            assumed.append(f"the room's file is taken to be {years:+d} years from where it is")
        first_s, last_s = laid.times_s[0], laid.times_s[-1]
        if span_s[0] < first_s or span_s[1] > last_s:
            first, last = (
                f"{datetime.fromtimestamp(at_s, zone):%Y-%m-%d %H:%M}" for at_s in (first_s, last_s)
            )
            assumed.append(
                f"the room's file goes from {first} to {last}: outside of that the room is taken "
                "to stay as it is in the nearest row"
            )
        return _damped(laid, said.lag_s), read
    usual = SimulatedSettings() if trial is None else trial
    mean_c = usual.ambient_c if said.room_c is None else said.room_c
    swing_c = said.swing_c
    if swing_c is None:
        swing_c = usual.ambient_swing_c if said.room_c is None else 0.0
    if not -40.0 <= mean_c <= 60.0:
        raise click.UsageError(f"--room = {mean_c:g} °C: must be from -40 to 60 °C")
    if said.room_c is None:
        assumed.append(
            f"the room is taken to be at {mean_c:g} °C, {swing_c:g} °C more by day and less by "
            "night (--room, --swing, --room-file)"
        )
    if swing_c == 0.0:
        return ConstantAmbient(mean_c), None
    return _damped(
        DayNightAmbient(mean_c, swing_c, _afternoon_s(span_s[0], zone)), said.lag_s
    ), None


def _damped(trace: AmbientTrace, lag_s: float | None) -> AmbientTrace:
    if not lag_s:
        return trace
    return trace.damped(lag_s)


def _afternoon_s(start_utc_s: float, zone: ZoneInfo) -> float:
    """Three in the afternoon there, as seconds after midnight UTC."""
    offset = datetime.fromtimestamp(start_utc_s, zone).utcoffset()
    return 15 * 3600.0 - (offset.total_seconds() if offset is not None else 0.0)


def check_picture(path: Path) -> None:
    """Find what would keep a picture from being written, before the work and not after it."""
    import importlib.util

    from fermd.review.picture import ENDINGS

    if path.suffix.lower() not in ENDINGS:
        raise click.UsageError(f"--picture {path}: must end in one of {', '.join(ENDINGS)}")
    if not path.absolute().parent.is_dir() or path.is_dir():
        raise Failure(f"{path}: cannot be written; name a file in a folder", os.EX_CANTCREAT)
    if importlib.util.find_spec("matplotlib") is None:
        why = f"--picture {path}: needs matplotlib: pip install '.[pictures]' where fermd came from"
        raise Failure(why, os.EX_UNAVAILABLE)
