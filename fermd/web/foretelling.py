"""What a profile is going to do: laid out on the calendar, and with the beer's way rehearsed.

Rooms that only looking ahead needs are loaded when somebody asks for it.
"""

from __future__ import annotations

from typing import Annotated, Any, Final

from annotated_types import Ge, Le

from fermd.config.errors import ConfigError
from fermd.config.profile_checks import unreachable_steps
from fermd.config.site import SiteFile
from fermd.config.zone_calendar import ZoneCalendar
from fermd.control.progress import leaves_c
from fermd.control.settings import DAY_S, ChamberSettings
from fermd.control.steps import FreeRise, Jump, Profile, Ramp
from fermd.control.wording import Unit
from fermd.physics.errors import PhysicsError
from fermd.web.endpoint import Shape
from fermd.web.orders import Text
from fermd.web.refusals import Plain, RefusedError

USUAL_START_C: Final = 20.0
"""A beer whose temperature nobody knows and that a profile begins by cooling, °C (no source)."""

SHOWN_AFTER_S: Final = DAY_S / 2
"""So long after the target's last corner, s, the beer is shown: it comes there later."""


class Batch(Shape):
    """What is said of the beer; what is left out is taken to be as usual, and told."""

    at: Text | None = None
    """When it would start: a local time such as "fri 18:00"; left out: now."""
    beer_c: Annotated[float, Ge(-5), Le(60)] | None = None
    """The beer's temperature at the start, °C; left out: what the vessel's probe reads."""
    volume_l: Annotated[float, Ge(0.1), Le(5000)] | None = None
    vessel_l: Annotated[float, Ge(0.1), Le(20000)] | None = None
    original: Annotated[float, Ge(0.9), Le(60)] | None = None
    """Original gravity, or °P if above 2."""
    final: Annotated[float, Ge(0.0), Le(60)] | None = None
    """Final gravity from 0.98 to 1.2, or °P."""
    finished: bool | None = None
    """Whether the beer has fermented already."""


def must_be_reachable(profile: Profile, start_utc_s: float, site: SiteFile) -> None:
    """Raise ConfigError if a step waits for a time of the calendar that never comes."""
    if faults := unreachable_steps(profile, start_utc_s, ZoneCalendar(site.zone)):
        raise ConfigError("profile", faults)


def laid_out(
    profile: Profile,
    settings: ChamberSettings,
    site: SiteFile,
    start_utc_s: float,
    beer_c: float | None,
    asked: Batch,
    unit: Unit,
) -> Any:
    """Make a plan with what is said of the beer; RefusedError if no batch can be so."""
    from fermd.web.planned import Guess, plan_of

    guess = Guess(
        volume_l=asked.volume_l,
        vessel_l=asked.vessel_l,
        original=asked.original,
        final=asked.final,
        finished=asked.finished,
    )
    first = profile.steps[0]
    if beer_c is not None:
        start_c = beer_c
    elif isinstance(first, Ramp | Jump):
        start_c = USUAL_START_C
    else:
        start_c = first.floor_c if isinstance(first, FreeRise) else leaves_c(first)
    try:
        return plan_of(profile, settings, site, start_utc_s, start_c, guess, unit)
    except PhysicsError as error:
        raise RefusedError(422, str(error)) from error


def foretold(plan: Any, site: SiteFile, unit: Unit) -> Plain:
    """A plan with the beer's way in it, and the dates that depend on that."""
    from fermd.planning.errors import PlanError
    from fermd.planning.estimate import Estimate, estimate_from
    from fermd.web.planned import beers_way, quick_rehearsal

    try:
        seen = quick_rehearsal(plan.plan)
    except (PlanError, PhysicsError) as error:
        found = told(plan, site, Estimate({}, None), unit)
        assumed = [*found["assumed"], f"the beer's way cannot be rehearsed: {error}"]
        return {**found, "assumed": assumed}
    found = told(plan, site, estimate_from(seen, plan.plan.profile), unit)
    start_s = plan.plan.start_utc_s
    end_s = max(corner["utc_s"] for step in found["steps"] for corner in step["target"])
    return {**found, "beer": beers_way(seen, start_s, end_s + SHOWN_AFTER_S)}


def told(plan: Any, site: SiteFile, found: Any, unit: Unit) -> Plain:
    """A plan with its cautions, in the words of `fermd preview`."""
    from fermd.planning.telling import plain_timeline, told_cautions
    from fermd.planning.timeline import timeline

    made = plan.plan
    line = timeline(made.profile, made.start_utc_s, made.start_c, site.zone, found.taken_s)
    return {
        "profile": made.profile.name,
        "chamber": made.chamber.settings.name,
        "time_zone": site.time_zone,
        "start_utc_s": made.start_utc_s,
        "start_c": made.start_c,
        **plain_timeline(line, site.zone),
        "cautions": [
            {**data, "text": words} for data, words in told_cautions(made, line, found, unit)
        ],
        "assumed": list(plan.assumed),
        "beer": [],
    }
