"""What becomes of a person's commands. Each is answered: taken, or refused with what is allowed.

A command changes what is called for and nothing else. None of them reaches an output here.
"""

from __future__ import annotations

from dataclasses import replace

from fermd.control import alarms, profile_orders
from fermd.control.command_words import command_words
from fermd.control.commands import (
    LONGEST_OVERRIDE_S,
    AcknowledgeAlarm,
    CancelPlan,
    ChangeRest,
    ChangeStepTarget,
    Command,
    ConfirmStep,
    EndOverride,
    ExtendStep,
    GoToStep,
    OverrideOutput,
    PauseProfile,
    PlanStart,
    ResumeProfile,
    ReturnToPlan,
    SetTarget,
    SkipStep,
    StartProfile,
    StopProfile,
    SwitchOff,
)
from fermd.control.decision import Mode
from fermd.control.events import CommandAnswered, Event
from fermd.control.moment import Moment
from fermd.control.refusal import RefusedError, refuse_target
from fermd.control.settings import ChamberSettings
from fermd.control.state import ChamberState, Override
from fermd.control.steps import Target


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
    except RefusedError as refused:
        events.append(CommandAnswered(command_words(command), command.who, False, str(refused)))
        return state
    events.append(CommandAnswered(command_words(command), command.who, True))
    events.extend(happened)
    return after


def drop_old_overrides(state: ChamberState, mono_s: float) -> ChamberState:
    """Give back to the bands what was set by hand for a time that is over."""
    if not any(mono_s >= override.until_mono_s for override in state.overrides.values()):
        return state
    kept = {duty: held for duty, held in state.overrides.items() if mono_s < held.until_mono_s}
    return replace(state, overrides=kept)


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
            paused = profile_orders.paused(state, command.who, events)
            return replace(paused, mode=Mode.OFF, hand=None)
        case StartProfile():
            return profile_orders.start_by_person(state, settings, command, beer_c, now, events)
        case PlanStart():
            return profile_orders.plan(state, settings, command, now)
        case CancelPlan():
            return profile_orders.cancel_plan(state)
        case PauseProfile():
            return profile_orders.pause_here(state, command, events)
        case ResumeProfile():
            return profile_orders.resume(state, command, events)
        case SkipStep():
            return profile_orders.skip(state, command, beer_c, events)
        case GoToStep():
            return profile_orders.go_to(state, command, beer_c, events)
        case ConfirmStep():
            return profile_orders.confirm(state, command, events)
        case ExtendStep():
            return profile_orders.extend(state, command, events)
        case ChangeStepTarget():
            return profile_orders.change_target(state, settings, command, events)
        case ChangeRest():
            return profile_orders.change_rest(state, settings, command, now, events)
        case ReturnToPlan():
            return profile_orders.return_to_plan(state, command, events)
        case StopProfile():
            return profile_orders.stop(state, command, events)
        case OverrideOutput():
            return _override(state, settings, command, now)
        case EndOverride():
            return replace(state, overrides={})
    return _acknowledge(state, command, events)


def _set_target(
    state: ChamberState, settings: ChamberSettings, command: SetTarget, events: list[Event]
) -> ChamberState:
    refuse_target(command.target_c, settings)
    paused = profile_orders.paused(state, command.who, events)
    return replace(paused, mode=Mode.HAND, hand=Target.at(command.target_c))


def _override(
    state: ChamberState, settings: ChamberSettings, command: OverrideOutput, now: Moment
) -> ChamberState:
    if command.duty not in settings.by_duty:
        has = ", ".join(output.duty.value for output in settings.outputs) or "none"
        raise RefusedError(f"the chamber has no output for {command.duty.value}; it has: {has}")
    if not 0 < command.for_s <= LONGEST_OVERRIDE_S:
        raise RefusedError(
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
        raise RefusedError("no such alarm is raised")
    events.extend(happened)
    return replace(state, alarms=kept)
