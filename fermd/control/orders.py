"""What becomes of a person's commands. Each is answered: taken, or refused with what is allowed.

A command changes what is called for and nothing else. None of them reaches an output here.
"""

from __future__ import annotations

from dataclasses import fields, replace

from fermd.control import alarms, profile_run
from fermd.control import progress as steps
from fermd.control.commands import (
    LONGEST_OVERRIDE_S,
    AcknowledgeAlarm,
    Command,
    ConfirmStep,
    EndOverride,
    ExtendStep,
    OverrideOutput,
    PauseProfile,
    ResumeProfile,
    SetTarget,
    SkipStep,
    StartProfile,
    StopProfile,
    SwitchOff,
)
from fermd.control.decision import Mode
from fermd.control.events import CommandAnswered, Event, ProfileChange, ProfileChanged, StepChanged
from fermd.control.moment import Moment
from fermd.control.settings import DAY_S, ChamberSettings
from fermd.control.state import ChamberState, Override
from fermd.control.steps import Profile, Ramp, Target, coldest_target_c

HIGHEST_TARGET_C = 45.0
"""No yeast wants more, °C."""

LONGEST_STEP_S = 400 * DAY_S
"""A step is extended by no more than the longest that one may be written with, s."""


class _RefusedError(Exception):
    """A command that cannot be taken; the text says what is allowed and what to do."""


def obey(
    state: ChamberState,
    settings: ChamberSettings,
    command: Command,
    beer_c: float | None,
    now: Moment,
    events: list[Event],
) -> ChamberState:
    """Take a command or refuse it; the answer is among the events."""
    happened: list[Event] = []
    try:
        after = _take(state, settings, command, beer_c, now, happened)
    except _RefusedError as refused:
        events.append(CommandAnswered(told(command), command.who, False, str(refused)))
        return state
    events.append(CommandAnswered(told(command), command.who, True))
    events.extend(happened)
    return after


def drop_old_overrides(state: ChamberState, mono_s: float) -> ChamberState:
    """Give back to the bands what was set by hand for a time that is over."""
    if not any(mono_s >= override.until_mono_s for override in state.overrides.values()):
        return state
    kept = {duty: held for duty, held in state.overrides.items() if mono_s < held.until_mono_s}
    return replace(state, overrides=kept)


def told(command: Command) -> str:
    """A command with its numbers, for the record."""
    shown = []
    for field in fields(command):
        value = getattr(command, field.name)
        if field.name == "who":
            continue
        shown.append(f"{field.name}={value.name if isinstance(value, Profile) else value}")
    return f"{type(command).__name__}({', '.join(shown)})"


def _take(  # noqa: C901 - one line a command; splitting it would hide the list
    state: ChamberState,
    settings: ChamberSettings,
    command: Command,
    beer_c: float | None,
    now: Moment,
    events: list[Event],
) -> ChamberState:
    match command:
        case SetTarget():
            return _set_target(state, settings, command, events)
        case SwitchOff():
            return replace(_pause(state, command.who, events), mode=Mode.OFF, hand=None)
        case StartProfile():
            return _start(state, settings, command, beer_c, events)
        case PauseProfile():
            return _pause_here(state, command, events)
        case ResumeProfile():
            return _resume(state, command, events)
        case SkipStep():
            moved, happened = steps.skip(_running(state), beer_c)
            return _move(state, moved, happened, command.who, events)
        case ConfirmStep():
            return _confirm(state, command, beer_c, events)
        case ExtendStep():
            return _extend(state, command, events)
        case StopProfile():
            return _stop(state, command, events)
        case OverrideOutput():
            return _override(state, settings, command, now)
        case EndOverride():
            return replace(state, overrides={})
        case AcknowledgeAlarm():
            return _acknowledge(state, command, events)


def _set_target(
    state: ChamberState, settings: ChamberSettings, command: SetTarget, events: list[Event]
) -> ChamberState:
    lowest_c = settings.limits.coldest_beer_c
    if not lowest_c <= command.target_c <= HIGHEST_TARGET_C:
        raise _RefusedError(
            f"target {command.target_c:g} °C: must be from {lowest_c:g} °C (freezing point of the "
            f"beer and its margin) to {HIGHEST_TARGET_C:g} °C"
        )
    paused = _pause(state, command.who, events)
    return replace(paused, mode=Mode.HAND, hand=Target.at(command.target_c))


def _start(
    state: ChamberState,
    settings: ChamberSettings,
    command: StartProfile,
    beer_c: float | None,
    events: list[Event],
) -> ChamberState:
    profile = command.profile
    lowest_c = settings.limits.coldest_beer_c
    for number, step in enumerate(profile.steps, 1):
        if coldest_target_c(step) < lowest_c:
            raise _RefusedError(
                f"profile {profile.name}, step {number}: {coldest_target_c(step):g} °C is below "
                f"{lowest_c:g} °C, the freezing point of the beer and its margin; warm the step, "
                "or set the chamber's freezing_point_c to that of this beer"
            )
    at = profile_run.target(state)
    start_c = beer_c if beer_c is not None else at.cool_c if at is not None else None
    if start_c is None:
        if isinstance(profile.steps[0], Ramp):
            raise _RefusedError(
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


def _pause(state: ChamberState, who: str, events: list[Event]) -> ChamberState:
    if state.mode is Mode.PROFILE and state.progress is not None:
        name = state.progress.profile.name
        events.append(ProfileChanged(name, ProfileChange.PAUSED, who))
    return state


def _pause_here(state: ChamberState, command: PauseProfile, events: list[Event]) -> ChamberState:
    _running(state)
    held = profile_run.target(state)
    return replace(_pause(state, command.who, events), mode=Mode.PAUSED, hand=held)


def _resume(state: ChamberState, command: ResumeProfile, events: list[Event]) -> ChamberState:
    if state.progress is None:
        raise _RefusedError("no profile is paused: start one")
    if state.mode is Mode.PROFILE:
        raise _RefusedError("the profile is running already")
    name = state.progress.profile.name
    events.append(ProfileChanged(name, ProfileChange.RESUMED, command.who))
    return replace(state, mode=Mode.PROFILE, hand=None)


def _confirm(
    state: ChamberState, command: ConfirmStep, beer_c: float | None, events: list[Event]
) -> ChamberState:
    confirmed = steps.confirm(_running(state), beer_c)
    if confirmed is None:
        raise _RefusedError("the present step does not wait for anybody; to leave it, skip it")
    return _move(state, *confirmed, command.who, events)


def _extend(state: ChamberState, command: ExtendStep, events: list[Event]) -> ChamberState:
    progress = _running(state)
    if not abs(command.by_s) <= LONGEST_STEP_S:
        raise _RefusedError(
            f"by {command.by_s:g} s: must be at most {LONGEST_STEP_S:g} s either way"
        )
    extended = steps.extend(progress, command.by_s)
    if extended is None:
        raise _RefusedError("the present step does not end by time: it cannot be extended")
    return _move(state, *extended, command.who, events)


def _stop(state: ChamberState, command: StopProfile, events: list[Event]) -> ChamberState:
    if state.progress is None:
        raise _RefusedError("no profile is running")
    name = state.progress.profile.name
    events.append(ProfileChanged(name, ProfileChange.STOPPED, command.who))
    held = profile_run.target(state)
    if held is None:
        return replace(state, progress=None)
    # A free rise has two targets; what is held by hand from now on is one of the two it was
    # between, and the warmer one asks nothing of the fridge.
    return replace(state, progress=None, mode=Mode.HAND, hand=Target.at(held.cool_c))


def _override(
    state: ChamberState, settings: ChamberSettings, command: OverrideOutput, now: Moment
) -> ChamberState:
    if command.duty not in settings.by_duty:
        has = ", ".join(output.duty.value for output in settings.outputs) or "none"
        raise _RefusedError(f"the chamber has no output for {command.duty.value}; it has: {has}")
    if not 0 < command.for_s <= LONGEST_OVERRIDE_S:
        raise _RefusedError(
            f"for {command.for_s:g} s: must be above 0 and at most {LONGEST_OVERRIDE_S:g} s"
        )
    override = Override(command.on, now.mono_s + command.for_s, command.who)
    return replace(state, overrides={**state.overrides, command.duty: override})


def _acknowledge(
    state: ChamberState, command: AcknowledgeAlarm, events: list[Event]
) -> ChamberState:
    kept, happened, found = alarms.acknowledge(
        state.alarms, command.alarm, command.subject, command.who
    )
    if not found:
        raise _RefusedError("no such alarm is raised")
    events.extend(happened)
    return replace(state, alarms=kept)


def _running(state: ChamberState) -> steps.Progress:
    if state.progress is None or state.mode is not Mode.PROFILE:
        raise _RefusedError(
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
