"""Plans to try things on: a fridge, a heat belt, 20 l of beer, in a room of the test's choice."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from fermd.config.example import SHORT_SITE
from fermd.config.profile_file import load_profile, shipped_profiles
from fermd.config.site_file import parse_site
from fermd.config.zone_calendar import ZoneCalendar
from fermd.control.progress import leaves_c
from fermd.control.settings import ChamberSettings, Duty
from fermd.control.steps import Profile, Ramp
from fermd.physics.ambient import AmbientTrace, ConstantAmbient
from fermd.planning.batch import PlannedBatch
from fermd.planning.chamber import PlannedChamber, planned_chamber
from fermd.planning.rehearsal import Plan
from fermd.planning.timeline import Timeline, timeline

VIENNA = ZoneInfo("Europe/Vienna")
MARCH_S = datetime(2026, 3, 6, 17, tzinfo=UTC).timestamp()
"""A Friday evening, 18:00 in Vienna; clocks go forward there on the 29th."""

WATER = PlannedBatch(is_finished=True)
"""Beer that makes no heat."""


def shipped(name: str) -> Profile:
    return load_profile(shipped_profiles()[name])


def fridge(*, duties: tuple[Duty, ...] = (Duty.COOL, Duty.HEAT), **given: Any) -> ChamberSettings:
    chamber = parse_site(SHORT_SITE, Path("fermd.toml")).settings.chambers[0]
    outputs = tuple(output for output in chamber.outputs if output.duty in duties)
    return replace(chamber, outputs=outputs, calendar=ZoneCalendar(VIENNA), **given)


def start_c(profile: Profile) -> float:
    first = profile.steps[0]
    return 20.0 if isinstance(first, Ramp) else leaves_c(first)


def chamber_of(
    batch: PlannedBatch, settings: ChamberSettings | None = None, **powers: float
) -> PlannedChamber:
    return planned_chamber(settings or fridge(), batch, None, **powers)


def plan(
    profile: Profile,
    *,
    batch: PlannedBatch | None = None,
    room: AmbientTrace | float = 18.0,
    settings: ChamberSettings | None = None,
    start_utc_s: float = MARCH_S,
    beer_c: float | None = None,
    **given: Any,
) -> Plan:
    brew = batch or PlannedBatch()
    powers = {key: given.pop(key) for key in ("cooler_w", "heater_w", "cabinet_l") if key in given}
    begins_c = start_c(profile) if beer_c is None else beer_c
    return Plan(
        profile=profile,
        chamber=chamber_of(brew, settings, **powers),
        batch=brew,
        room=ConstantAmbient(room) if isinstance(room, int | float) else room,
        start_utc_s=start_utc_s,
        start_c=begins_c,
        planned_s=timeline(profile, start_utc_s, begins_c, VIENNA).lasts_s,
        **given,
    )


def line_of(plan_: Plan, zone: ZoneInfo = VIENNA) -> Timeline:
    return timeline(plan_.profile, plan_.start_utc_s, plan_.start_c, zone)
