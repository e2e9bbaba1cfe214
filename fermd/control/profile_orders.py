"""What becomes of commands about the profile: start, pause, skip, change, and back to the plan."""

from __future__ import annotations

from dataclasses import replace

from fermd.control import edits, profile_run
from fermd.control import progress as steps
from fermd.control.commands import (
    ChangeRest,
    ChangeStepTarget,
    ConfirmStep,
    ExtendStep,
    GoToStep,
    PauseProfile,
    PlanStart,
    ResumeProfile,
    ReturnToPlan,
    SkipStep,
    StartProfile,
    StopProfile,
)
from fermd.control.decision import Mode
from fermd.control.events import (
    CommandAnswered,
    Event,
    ProfileChange,
    ProfileChanged,
    StepChange,
    StepChanged,
)
from fermd.control.foresight import start_objection, unreachable
from fermd.control.moment import Moment
from fermd.control.refusal import RefusedError, refuse_target
from fermd.control.settings import DAY_S, ChamberSettings
from fermd.control.state import ChamberState
from fermd.control.steps import HoldUntil, Profile, Ramp, Schedule, Step, Target, coldest_target_c

LONGEST_STEP_S = 400 * DAY_S
"""A step is extended by no more than the longest that one may be written with, s."""


def start_by_person(
    state: ChamberState,
    settings: ChamberSettings,
    command: StartProfile,
    beer_c: float | None,
    now: Moment,
    events: list[Event],
) -> ChamberState:
    """Start a profile because somebody wants it now, unless it holds what can never come.

    While the clock is not known to be set nothing is said of dates: they wait for it anyway.
    """
    _refuse_unreachable(command.profile, now.wall_utc_s, settings, dates=now.wall_trusted)
    return start(state, settings, command, beer_c, events)


def start(
    state: ChamberState,
    settings: ChamberSettings,
    command: StartProfile,
    beer_c: float | None,
    events: list[Event],
) -> ChamberState:
    """Start a profile at its first step, in place of whatever the chamber did before."""
    profile = command.profile
    _refuse_too_cold(profile.steps, profile.name, settings)
    _refuse_without_calendar(profile.steps, profile.name, settings)
    at = profile_run.target(state)
    start_c = beer_c if beer_c is not None else at.cool_c if at is not None else None
    if start_c is None:
        if isinstance(profile.steps[0], Ramp):
            raise RefusedError(
                f"profile {profile.name} begins with a ramp, and the beer's temperature is not "
                "known: start it when the vessel probe is read, or set a target first"
            )
        start_c = coldest_target_c(profile.steps[0])
    if state.progress is not None:
        stopped = ProfileChanged(state.progress.profile.name, ProfileChange.STOPPED, command.who)
        events.append(stopped)
    progress, happened = steps.begin(profile, start_c)
    events.append(ProfileChanged(profile.name, ProfileChange.STARTED, command.who))
    events.extend(happened)
    return replace(state, mode=Mode.PROFILE, hand=None, progress=progress)


def paused(state: ChamberState, who: str, events: list[Event]) -> ChamberState:
    """Tell that a running profile stops here; the caller says what holds from now on."""
    if state.mode is Mode.PROFILE and state.progress is not None:
        name = state.progress.profile.name
        events.append(ProfileChanged(name, ProfileChange.PAUSED, who))
    return state


def pause_here(state: ChamberState, command: PauseProfile, events: list[Event]) -> ChamberState:
    """Hold the target where it is and stop the step's clock."""
    _running(state)
    held = profile_run.target(state)
    return replace(paused(state, command.who, events), mode=Mode.PAUSED, hand=held)


def resume(state: ChamberState, command: ResumeProfile, events: list[Event]) -> ChamberState:
    """Go on with the paused profile where it was."""
    if state.progress is None:
        raise RefusedError("no profile is paused: start one")
    if state.mode is Mode.PROFILE:
        raise RefusedError("the profile is running already")
    name = state.progress.profile.name
    events.append(ProfileChanged(name, ProfileChange.RESUMED, command.who))
    return replace(state, mode=Mode.PROFILE, hand=None)


def skip(
    state: ChamberState, command: SkipStep, beer_c: float | None, events: list[Event]
) -> ChamberState:
    """Go to the next step now."""
    moved, happened = steps.skip(_running(state), beer_c)
    return _move(state, moved, happened, command.who, events)


def confirm(state: ChamberState, command: ConfirmStep, events: list[Event]) -> ChamberState:
    """Give the word that a waiting step waits for."""
    confirmed = steps.confirm(_running(state))
    if confirmed is None:
        raise RefusedError("the present step does not wait for anybody; to leave it, skip it")
    return _move(state, *confirmed, command.who, events)


def extend(state: ChamberState, command: ExtendStep, events: list[Event]) -> ChamberState:
    """Make the present step longer or shorter."""
    progress = _running(state)
    if not abs(command.by_s) <= LONGEST_STEP_S:
        raise RefusedError(
            f"by {command.by_s:g} s: must be at most {LONGEST_STEP_S:g} s either way"
        )
    extended = steps.extend(progress, command.by_s)
    if extended is None:
        raise RefusedError("the present step does not end by time: it cannot be extended")
    return _move(state, *extended, command.who, events)


def stop(state: ChamberState, command: StopProfile, events: list[Event]) -> ChamberState:
    """End the profile; its last target is held by hand from now on."""
    if state.progress is None:
        raise RefusedError("no profile is running")
    name = state.progress.profile.name
    events.append(ProfileChanged(name, ProfileChange.STOPPED, command.who))
    held = profile_run.target(state)
    if held is None:
        return replace(state, progress=None)
    # A free rise has two targets; what is held by hand from now on is one of the two it was
    # between, and the warmer one asks nothing of the fridge.
    return replace(state, progress=None, mode=Mode.HAND, hand=Target.at(held.cool_c))


def plan(
    state: ChamberState, settings: ChamberSettings, command: PlanStart, now: Moment
) -> ChamberState:
    """Take note of a start to come."""
    _refuse_too_cold(command.profile.steps, command.profile.name, settings)
    _refuse_without_calendar(command.profile.steps, command.profile.name, settings)
    if not now.wall_trusted:
        raise RefusedError(
            "the clock is not known to be set, so no start can be planned: wait for the network "
            "time, or start the profile now"
        )
    if (why := start_objection(command.at_utc_s, now.wall_utc_s)) is not None:
        raise RefusedError(why)
    _refuse_unreachable(command.profile, command.at_utc_s, settings)
    return replace(state, planned=command)


def cancel_plan(state: ChamberState) -> ChamberState:
    """Take back a planned start."""
    if state.planned is None:
        raise RefusedError("no start is planned")
    return replace(state, planned=None)


def go_to(
    state: ChamberState, command: GoToStep, beer_c: float | None, events: list[Event]
) -> ChamberState:
    """Go to a step now, forward or back."""
    progress = _running(state)
    moved = edits.go_to(progress, command.step - 1, beer_c)
    if moved is None:
        raise RefusedError(
            f"step {command.step}: the profile has steps 1 to {len(progress.profile.steps)}"
        )
    return _move(state, *moved, command.who, events)


def change_target(
    state: ChamberState, settings: ChamberSettings, command: ChangeStepTarget, events: list[Event]
) -> ChamberState:
    """Give the present step another target."""
    refuse_target(command.target_c, settings)
    moved = edits.change_target(_running(state), command.target_c)
    if moved is None:
        raise RefusedError(
            "the present step has no single target to change: change the rest of the profile, "
            "or set a target by hand"
        )
    return _move(state, *moved, command.who, events)


def change_rest(
    state: ChamberState,
    settings: ChamberSettings,
    command: ChangeRest,
    now: Moment,
    events: list[Event],
) -> ChamberState:
    """Let other steps follow the present one."""
    progress = _running(state)
    profile = command.profile
    _refuse_too_cold(profile.steps, profile.name, settings)
    _refuse_without_calendar(profile.steps, profile.name, settings)
    _refuse_unreachable(profile, now.wall_utc_s, settings, dates=now.wall_trusted)
    return _move(state, *edits.change_rest(progress, profile.steps), command.who, events)


def return_to_plan(state: ChamberState, command: ReturnToPlan, events: list[Event]) -> ChamberState:
    """Undo every change to the running profile."""
    moved = edits.return_to_plan(_running(state))
    if moved is None:
        raise RefusedError("the profile is as it was started: there is nothing to undo")
    return _move(state, *moved, command.who, events)


def start_what_is_due(
    state: ChamberState,
    settings: ChamberSettings,
    beer_c: float | None,
    now: Moment,
    events: list[Event],
) -> ChamberState:
    """Start what was planned once its time has come, late rather than never, and tell how late.

    A profile that cannot be started yet (it begins with a ramp, and the beer's temperature is not
    known) goes on waiting.
    """
    planned = state.planned
    if planned is None or not now.wall_trusted or now.wall_utc_s < planned.at_utc_s:
        return state
    if beer_c is None and isinstance(planned.profile.steps[0], Ramp):
        return state
    due = replace(state, planned=None)
    try:
        after = start(due, settings, StartProfile(planned.profile, planned.who), beer_c, events)
    except RefusedError as refused:
        # The site file was changed since: told once, not tried for ever.
        told = f"planned start of {planned.profile.name}"
        events.append(CommandAnswered(told, planned.who, False, str(refused)))
        return due
    late_s = now.wall_utc_s - planned.at_utc_s
    if after.progress is not None and late_s > steps.OVERDUE_S:
        late = steps.told(after.progress, StepChange.OVERDUE)
        events.append(replace(late, elapsed_s=late_s, who=planned.who))
    return after


def _running(state: ChamberState) -> steps.Progress:
    if state.progress is None or state.mode is not Mode.PROFILE:
        raise RefusedError(
            "no profile is running" if state.progress is None else "the profile is paused"
        )
    return state.progress


def _move(
    state: ChamberState,
    moved: steps.Progress,
    happened: tuple[Event, ...],
    who: str,
    events: list[Event],
) -> ChamberState:
    for event in happened:
        events.append(replace(event, who=who) if isinstance(event, StepChanged) else event)
    return profile_run.settle(state, moved, events, who)


def _refuse_too_cold(steps_: tuple[Step, ...], name: str, settings: ChamberSettings) -> None:
    lowest_c = settings.limits.coldest_beer_c
    for number, step in enumerate(steps_, 1):
        if coldest_target_c(step) < lowest_c:
            raise RefusedError(
                f"profile {name}, step {number}: {coldest_target_c(step):g} °C is below "
                f"{lowest_c:g} °C, the freezing point of the beer and its margin; warm the step, "
                "or set the chamber's freezing_point_c to that of this beer"
            )


def _refuse_without_calendar(
    steps_: tuple[Step, ...], name: str, settings: ChamberSettings
) -> None:
    if settings.calendar is None and any(isinstance(s, HoldUntil | Schedule) for s in steps_):
        raise RefusedError(
            f"profile {name} has steps of the calendar, and the site has no calendar"
        )


def _refuse_unreachable(
    profile: Profile, at_utc_s: float, settings: ChamberSettings, *, dates: bool = True
) -> None:
    calendar = settings.calendar if dates else None
    for found in unreachable(profile.steps, at_utc_s, calendar):
        raise RefusedError(f"profile {profile.name}, {found.key} = {found.value}: {found.why}")
