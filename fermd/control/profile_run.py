"""A chamber's profile under way: the step engine joined to the chamber's mode."""

from __future__ import annotations

from dataclasses import replace
from math import copysign

from fermd.control import progress as steps
from fermd.control.calendar import WallTime
from fermd.control.decision import Mode
from fermd.control.events import Event, ProfileChange, ProfileChanged
from fermd.control.progress import Progress
from fermd.control.replacing import replacer
from fermd.control.state import ChamberState
from fermd.control.steps import Ramp, Target

HOURS_A_DAY = 24.0

_MOVED = replacer(ChamberState, "progress")


def target(state: ChamberState) -> Target | None:
    """What the beer should be at present; None if the chamber is switched off."""
    if state.mode is Mode.OFF:
        return None
    if state.mode is Mode.PROFILE and state.progress is not None:
        return steps.target(state.progress)
    return state.hand


def ramp_c_per_h(state: ChamberState) -> float:
    """How fast a ramp moves the target at present, °C/h; 0 in any other step."""
    if state.mode is not Mode.PROFILE or state.progress is None:
        return 0.0
    step = state.progress.step
    if not isinstance(step, Ramp):
        return 0.0
    return copysign(step.rate_c_per_day, step.to_c - state.progress.entry_c) / HOURS_A_DAY


def advance(
    state: ChamberState,
    beer_c: float | None,
    passed_s: float,
    wall: WallTime | None,
    events: list[Event],
) -> ChamberState:
    """Let a running profile move on by `passed_s` seconds of control."""
    if state.mode is not Mode.PROFILE or state.progress is None:
        return state
    moved, happened = steps.advance(state.progress, beer_c, passed_s, wall)
    events.extend(happened)
    return settle(state, moved, events)


def settle(
    state: ChamberState, moved: Progress, events: list[Event], who: str = ""
) -> ChamberState:
    """Take over a profile's new position; one that is at its end leaves its target to the hand."""
    if moved.step is not None:
        return _MOVED(state, moved)
    events.append(ProfileChanged(moved.profile.name, ProfileChange.FINISHED, who))
    return replace(state, progress=None, mode=Mode.HAND, hand=steps.target(moved))
