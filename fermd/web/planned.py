"""A plan of what a page asks for: with the site file's figures, and the usual for the rest."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime
from typing import Final

from fermd.config.site import SimulatedSettings, SiteFile
from fermd.config.zone_calendar import ZoneCalendar
from fermd.control import wording
from fermd.control.progress import leaves_c
from fermd.control.settings import DAY_S, ChamberSettings
from fermd.control.steps import Jump, Profile, Ramp
from fermd.control.wording import Unit
from fermd.physics.ambient import AmbientTrace, ConstantAmbient, DayNightAmbient
from fermd.planning.batch import (
    LAGER_UP_TO_C,
    PlannedBatch,
    YeastKind,
    final_from,
    original_from,
)
from fermd.planning.chamber import planned_chamber
from fermd.planning.errors import PlanError
from fermd.planning.outcome import Rehearsal
from fermd.planning.rehearsal import QUICK_PERIOD_S, Plan, rehearse
from fermd.planning.timeline import timeline

LONGEST_REHEARSED_S: Final = 120 * DAY_S
"""A plan that takes longer is not rehearsed for a page, s: that would take a slow board minutes."""

MOST_POINTS: Final = 400
"""Of the beer's way."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Guess:
    """What is said of the batch; None for what is not."""

    volume_l: float | None = None
    vessel_l: float | None = None
    original: float | None = None
    final: float | None = None
    finished: bool | None = None


@dataclass(frozen=True, slots=True)
class Assumed:
    """A plan with what was taken for want of better, each as a sentence."""

    plan: Plan
    assumed: tuple[str, ...]


def plan_of(
    profile: Profile,
    settings: ChamberSettings,
    site: SiteFile,
    start_utc_s: float,
    start_c: float,
    guess: Guess,
    unit: Unit = Unit.CELSIUS,
) -> Assumed:
    """Make a plan, its sentences in `unit`; PhysicsError for figures that no batch can have."""
    assumed: list[str] = []
    trial = site.simulated
    batch = _batch(profile, start_c, trial, guess, assumed)
    settings = replace(settings, calendar=ZoneCalendar(site.zone))
    parts = planned_chamber(settings, batch, trial)
    line = timeline(profile, start_utc_s, start_c, site.zone)
    plan = Plan(
        profile=profile,
        chamber=parts,
        batch=batch,
        room=_room(site, trial, start_utc_s, assumed, unit),
        start_utc_s=start_utc_s,
        start_c=start_c,
        planned_s=line.lasts_s,
        circuits=site.settings.circuits,
    )
    return Assumed(plan, (*assumed, *(_without_option(one) for one in parts.assumed)))


def quick_rehearsal(plan: Plan) -> Rehearsal:
    """Rehearse a plan in about a second; PlanError for one of months, or that the core refuses."""
    if plan.planned_s > LONGEST_REHEARSED_S:
        raise PlanError("it takes too long for that")
    return rehearse(plan, period_s=QUICK_PERIOD_S)


def beers_way(seen: Rehearsal, from_utc_s: float, to_utc_s: float) -> list[tuple[int, float]]:
    """Return where the beer goes in a rehearsal, thinned out: (POSIX s, °C)."""
    trace = [one for one in seen.trace if from_utc_s <= one.utc_s <= to_utc_s]
    every = max(1, len(trace) // MOST_POINTS)
    return [(round(one.utc_s), round(one.beer_c, 2)) for one in trace[::every]]


def _batch(
    profile: Profile,
    start_c: float,
    trial: SimulatedSettings | None,
    guess: Guess,
    assumed: list[str],
) -> PlannedBatch:
    usual = PlannedBatch()
    first = profile.steps[0]
    finished = guess.finished
    if finished is None:
        finished = isinstance(first, Ramp | Jump) and first.to_c < start_c
        if finished:
            assumed.append(
                "a profile that begins by cooling is taken to be for beer that has fermented"
            )
    original_p = usual.original_p
    if guess.original is not None:
        original_p = original_from(guess.original)
    elif trial is not None and trial.original_extract_p > 0.0:
        original_p = trial.original_extract_p
    volume_l = guess.volume_l or (trial.volume_l if trial is not None else usual.volume_l)
    vessel_l = guess.vessel_l or volume_l * usual.vessel_l / usual.volume_l
    if guess.vessel_l is None:
        assumed.append(f"the vessel is taken to hold {vessel_l:g} l")
    early_c = leaves_c(first) if isinstance(first, Ramp | Jump) else start_c
    return PlannedBatch(
        volume_l=volume_l,
        vessel_l=vessel_l,
        original_p=original_p,
        final_p=final_from(original_p, final=guess.final),
        yeast=YeastKind.LAGER if early_c <= LAGER_UP_TO_C else YeastKind.ALE,
        is_finished=finished,
    )


def _room(
    site: SiteFile,
    trial: SimulatedSettings | None,
    start_utc_s: float,
    assumed: list[str],
    unit: Unit,
) -> AmbientTrace:
    usual = SimulatedSettings() if trial is None else trial
    mean_c, swing_c = usual.ambient_c, usual.ambient_swing_c
    assumed.append(
        f"the room is taken to be at {wording.temperature(mean_c, unit)}, "
        f"{wording.difference(swing_c, unit)} more by day and less by night"
    )
    if swing_c == 0.0:
        return ConstantAmbient(mean_c)
    # Warmest at three in the afternoon there, as seconds after midnight UTC.
    offset = datetime.fromtimestamp(start_utc_s, site.zone).utcoffset()
    afternoon_s = 15 * 3600.0 - (offset.total_seconds() if offset is not None else 0.0)
    return DayNightAmbient(mean_c, swing_c, afternoon_s)


def _without_option(words: str) -> str:
    """A sentence without the option of the command line that it ends with."""
    head, found, _ = words.rpartition(" (--")
    return head if found else words
