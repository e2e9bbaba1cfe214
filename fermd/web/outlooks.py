"""Where a chamber is heading: what is still to come of its profile, laid out and rehearsed.

The beer's way comes from a quick rehearsal of what is left, on the thermal model that
`fermd preview` uses; what it takes for want of better is said. That takes about a second of a
processor, so it is done beside, one at a time, and again only when something has changed that it
rests on, or after a while.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from math import inf
from typing import Any, Final

from fermd.config.site import SiteFile
from fermd.control.decision import Decision, Mode
from fermd.control.progress import Progress, leaves_c, outlook
from fermd.control.reading import Trusted
from fermd.control.settings import DAY_S, HOUR_S, ChamberSettings
from fermd.control.steps import (
    FinalHold,
    FreeRise,
    Hold,
    HoldUntil,
    Profile,
    Ramp,
    Schedule,
    Soak,
    Step,
)
from fermd.control.wording import Unit, span, temperature
from fermd.physics.errors import PhysicsError
from fermd.planning.errors import PlanError
from fermd.planning.estimate import estimate_from
from fermd.planning.timeline import Timeline, timeline
from fermd.service.snapshot import ChamberView
from fermd.web.planned import Guess, beers_way, plan_of, quick_rehearsal

Plain = dict[str, Any]

LATEST_S: Final = 1800.0
"""A forecast older than this, s, is made anew: the beer goes its own way."""

HELD_SHOWN_S: Final = 2 * DAY_S
"""How far a target that is held without end is looked ahead, s."""

_LEAST_S: Final = 1.0


def rests_on(view: ChamberView) -> object:
    """Return what a forecast of this chamber rests on: another value, another forecast."""
    decision, progress = view.decision, view.progress
    step = None if progress is None else (progress.profile, progress.index, progress.extra_s)
    reached = progress is not None and progress.reached
    by_hand = decision.target if decision.mode is not Mode.PROFILE else None
    # Before the probe is trusted there is nothing to foresee; it must not stay so for long.
    is_known = _beer_c(decision) is not None
    return decision.mode, step, reached, by_hand, decision.planned, is_known


def forecast(view: ChamberView, site: SiteFile, now_utc_s: float) -> Plain:
    """Work out where a chamber is heading from now on."""
    settings = next(one for one in site.settings.chambers if one.name == view.decision.chamber)
    beer_c = _beer_c(view.decision)
    ahead = _ahead(view, now_utc_s)
    found: Plain = {
        "made_utc_s": now_utc_s,
        "target": [],
        "beer": [],
        "steps": [],
        "is_sure": False,
        "assumed": [],
    }
    if ahead is not None and beer_c is not None:
        found |= _laid_out(ahead, settings, site, now_utc_s, beer_c)
    return found


@dataclass(frozen=True, slots=True)
class _Ahead:
    """What is still to come."""

    steps: tuple[Step, ...]
    first: int
    """The index of the first of them in the profile."""
    target_c: float
    """The target at present, °C."""
    ferments: bool


def _ahead(view: ChamberView, now_utc_s: float) -> _Ahead | None:
    """The steps from here on, the present one as far as it is left; None without a target."""
    decision, progress = view.decision, view.progress
    if decision.target is None:
        return None
    target_c = decision.target.cool_c
    if decision.mode is not Mode.PROFILE or progress is None or progress.step is None:
        return _Ahead((FinalHold(target_c),), 0, target_c, ferments=False)
    steps = progress.profile.steps
    rest = (_left_of(progress, progress.step, now_utc_s), *steps[progress.index + 1 :])
    ferments = progress.index == 0 or isinstance(progress.step, FreeRise)
    return _Ahead(rest, progress.index, target_c, ferments)


def _left_of(progress: Progress, step: Step, now_utc_s: float) -> Step:
    """The present step as if it began now."""
    left_s = None
    if isinstance(step, HoldUntil):
        if progress.due_utc_s is not None:
            left_s = progress.due_utc_s + progress.extra_s - now_utc_s
            return Hold(step.target_c, max(_LEAST_S, left_s), step.name)
        return step
    left_s = outlook(progress).remaining_s
    if isinstance(step, Hold | Soak | FreeRise) and left_s is not None:
        return replace(step, for_s=max(_LEAST_S, left_s))
    return step


def _laid_out(
    ahead: _Ahead, settings: ChamberSettings, site: SiteFile, now_utc_s: float, beer_c: float
) -> Plain:
    profile = Profile("what is left", ahead.steps)
    # A ramp that is under way goes on from the target, not from where the beer is.
    start_c = ahead.target_c if isinstance(ahead.steps[0], Ramp) else beer_c
    guess = Guess(finished=not ahead.ferments)
    line = timeline(profile, now_utc_s, start_c, site.zone)
    found: Plain = {"is_sure": line.is_sure}
    try:
        plan = plan_of(profile, settings, site, now_utc_s, beer_c, guess)
        seen = quick_rehearsal(plan.plan)
        line = timeline(
            profile, now_utc_s, start_c, site.zone, estimate_from(seen, profile).taken_s
        )
        found["assumed"] = list(plan.assumed)
        end_s = _shown_until_s(line, now_utc_s)
        found["beer"] = beers_way(seen, now_utc_s, end_s)
    except (PlanError, PhysicsError) as error:
        found["assumed"] = [f"the beer's way cannot be rehearsed: {error}"]
    return found | {
        "target": [
            [round(one.utc_s), round(one.heat_c, 2), round(one.cool_c, 2)] for one in line.corners
        ],
        "steps": [
            {
                "step": ahead.first + segment.index + 1,
                "kind": ahead.steps[segment.index].kind,
                "name": segment.step.name,
                "begins_utc_s": round(segment.begins_utc_s),
                "begins_is_sure": segment.begin_is_sure,
                "ends_utc_s": None if segment.ends_utc_s == inf else round(segment.ends_utc_s),
                "ends_is_sure": segment.end_is_sure,
                "to_c": leaves_c(segment.step),
            }
            for segment in line.segments
        ],
    }


def _shown_until_s(line: Timeline, now_utc_s: float) -> float:
    if len(line.segments) == 1 and isinstance(line.segments[0].step, FinalHold | Schedule):
        return now_utc_s + HELD_SHOWN_S
    return line.corners[-1].utc_s


def what_comes_next(
    view: ChamberView, steps: Sequence[Plain], site: SiteFile, now_utc_s: float, unit: Unit
) -> Plain:
    """Say what comes next and when, given the steps of a forecast."""
    decision = view.decision
    planned = decision.planned
    coming: Plain = {"at_utc_s": None, "at_is_sure": True, "kind": "nothing"}
    if decision.mode is Mode.PROFILE and len(steps) > 1:
        second = steps[1]
        at_s, sure = float(second["begins_utc_s"]), bool(second["begins_is_sure"])
        named = _step_words(second, unit)
        coming = {"at_utc_s": at_s, "at_is_sure": sure, "kind": "step"}
        shown = decision.outlook
        if shown is not None and shown.prompt:
            words = f"waits for your word: {shown.prompt}; then {named}"
            return {**coming, "words": words}
        when = _when(at_s, sure, site, now_utc_s)
        return {**coming, "words": f"{named}, {when}"}
    if planned is not None:
        when = _when(planned.at_utc_s, True, site, now_utc_s)
        coming = {"at_utc_s": planned.at_utc_s, "at_is_sure": True, "kind": "planned-start"}
        return {**coming, "words": f"profile {planned.profile.name} starts, {when}"}
    held = decision.target
    match decision.mode:
        case Mode.PAUSED:
            words = "the profile is paused: it goes on when you say so"
        case Mode.OFF:
            words = "nothing is planned: the chamber is off, and the beer follows the room"
        case _ if held is not None:
            words = f"nothing is planned: {temperature(held.cool_c, unit)} is held without end"
        case _:
            words = "nothing is planned"
    return {**coming, "words": words}


def _step_words(step: Plain, unit: Unit) -> str:
    name = f" ({step['name']})" if step["name"] else ""
    kind = str(step["kind"]).replace("-", " ")
    return f"step {step['step']}, {kind}{name}: {temperature(step['to_c'], unit)}"


def _when(at_utc_s: float, is_sure: bool, site: SiteFile, now_utc_s: float) -> str:
    left_s = max(0.0, at_utc_s - now_utc_s)
    there = datetime.fromtimestamp(at_utc_s, site.zone)
    about = "" if is_sure else "about "
    if not is_sure:
        left_s = max(60.0, round(left_s / HOUR_S) * HOUR_S or left_s)
    day = f"{there:%H:%M}" if left_s < 12 * HOUR_S else f"{there:%a %d %b %H:%M}"
    return f"{about}in {span(max(60.0, left_s))} ({about}{day})"


def _beer_c(decision: Decision) -> float | None:
    seen = decision.vessel
    return seen.temp_c if isinstance(seen, Trusted) else None
