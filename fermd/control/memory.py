"""What of a chamber's state outlives the process, as plain values that JSON can hold.

Remembered: the mode, the target set by hand, the profile with its steps and progress, and which
alarms are raised or acknowledged (one whose condition is gone by then clears in its own time; a
latched one still waits for a person). Not remembered, on purpose: probe health (a probe must earn
its trust again), overrides (nobody may be there any more), and calls. The lines' histories are
kept apart, because they belong to the lines and not to the chamber.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import fields, replace
from math import isfinite
from typing import Any

from fermd.control.alarms import Alarm, AlarmKind
from fermd.control.decision import Mode
from fermd.control.events import AlarmPhase
from fermd.control.progress import Progress
from fermd.control.state import ChamberState
from fermd.control.steps import (
    FinalHold,
    FreeRise,
    Hold,
    Jump,
    Profile,
    Ramp,
    Soak,
    Step,
    Target,
    WaitForPerson,
)

VERSION = 1
"""Raised when the shape below changes in a way that an older reader would misread."""

_KINDS: dict[str, type[Step]] = {
    kind.kind: kind for kind in (Hold, Soak, Ramp, Jump, FreeRise, WaitForPerson, FinalHold)
}


_TEXTS = frozenset({"name", "prompt"})
"""The fields of steps that are not numbers."""


class ForgottenError(ValueError):
    """What was remembered cannot be understood; the text says what is wrong with it."""


def to_plain(state: ChamberState) -> dict[str, Any]:
    """Return what of a state must outlive the process."""
    hand, progress = state.hand, state.progress
    return {
        "version": VERSION,
        "mode": state.mode.value,
        "hand": None if hand is None else [hand.heat_c, hand.cool_c],
        "progress": None
        if progress is None
        else {
            "profile": profile_to_plain(progress.profile),
            "index": progress.index,
            "elapsed_s": round(progress.elapsed_s, 3),
            "entry_c": progress.entry_c,
            "extra_s": progress.extra_s,
            "reached": progress.reached,
        },
        "acknowledged": [
            [alarm.kind.value, alarm.subject]
            for alarm in state.alarms
            if alarm.phase is AlarmPhase.ACKNOWLEDGED
        ],
        "raised": [
            [alarm.kind.value, alarm.subject]
            for alarm in state.alarms
            if alarm.phase is AlarmPhase.RAISED
        ],
    }


def from_plain(state: ChamberState, plain: Mapping[str, Any], mono_s: float) -> ChamberState:
    """Return a fresh state that goes on from what was remembered.

    Raises ForgottenError if it cannot be understood; the caller starts afresh, with an alarm.
    """
    try:
        return _from_plain(state, plain, mono_s)
    except (AttributeError, KeyError, OverflowError, TypeError, ValueError) as error:
        raise ForgottenError(
            f"what was remembered of the chamber is not readable: {error!r}"
        ) from error


def profile_to_plain(profile: Profile) -> dict[str, Any]:
    """Return a profile as plain values."""
    return {
        "name": profile.name,
        "description": profile.description,
        "steps": [
            {"kind": step.kind} | {f.name: getattr(step, f.name) for f in fields(step)}
            for step in profile.steps
        ],
    }


def profile_from_plain(plain: Mapping[str, Any]) -> Profile:
    """Return the profile that `profile_to_plain` was given.

    Raises AttributeError, KeyError, TypeError or ValueError if it is not one.
    """
    steps = []
    for step in plain["steps"]:
        values: dict[str, Any] = {
            key: _text(value) if key in _TEXTS else _number(value)
            for key, value in step.items()
            if key != "kind"
        }
        made = _KINDS[step["kind"]](**values)
        if isinstance(made, Ramp) and made.rate_c_per_day <= 0:
            raise ValueError(f"a ramp at {made.rate_c_per_day} °C a day never ends")
        steps.append(made)
    if not steps:
        raise ValueError("a profile without steps")
    return Profile(_text(plain["name"]), tuple(steps), _text(plain.get("description", "")))


def _from_plain(state: ChamberState, plain: Mapping[str, Any], mono_s: float) -> ChamberState:
    if plain["version"] != VERSION:
        raise ValueError(f"version {plain['version']}, known is {VERSION}")
    mode, hand, kept = Mode(plain["mode"]), plain["hand"], plain["progress"]
    if mode in (Mode.PROFILE, Mode.PAUSED) and kept is None:
        raise ValueError(f"mode {mode.value} without a profile")
    if mode in (Mode.HAND, Mode.PAUSED) and hand is None:
        raise ValueError(f"mode {mode.value} without a target")
    progress = None
    if kept is not None:
        profile = profile_from_plain(kept["profile"])
        index = int(kept["index"])
        if not 0 <= index < len(profile.steps):
            raise ValueError(f"step {index} of {len(profile.steps)}")
        progress = Progress(
            profile,
            index,
            _number(kept["elapsed_s"]),
            _number(kept["entry_c"]),
            _number(kept["extra_s"]),
            bool(kept["reached"]),
        )
    alarms = [
        Alarm(
            AlarmKind(kind),
            _text(subject),
            phase,
            holds=False,
            edge_mono_s=mono_s,
            raised_mono_s=mono_s,
        )
        for key, phase in (
            ("acknowledged", AlarmPhase.ACKNOWLEDGED),
            ("raised", AlarmPhase.RAISED),
        )
        for kind, subject in plain[key]
    ]
    return replace(
        state,
        mode=mode,
        hand=None if hand is None else _target(hand),
        progress=progress,
        alarms=tuple(alarms),
    )


def _target(plain: Sequence[Any]) -> Target:
    heat_c, cool_c = plain
    return Target(_number(heat_c), _number(cool_c))


def _number(value: object) -> float:
    # Of the wrong type, or not a number, it would end every tick from now on, or call for nothing.
    if not isinstance(value, int | float) or isinstance(value, bool) or not isfinite(value):
        raise ValueError(f"{value!r} is not a number")
    return value


def _text(value: object) -> str:
    if not isinstance(value, str):
        raise TypeError(f"{value!r} is not a text")
    return value
