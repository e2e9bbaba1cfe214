"""How a command is undone: the command that puts back what was so before it, in words and as data.

Worked out from the picture in memory before the command. What cannot be put back says so by having
no undo: a profile that was ended or replaced, an alarm that was seen.
"""

from __future__ import annotations

from typing import Any

from fermd.control.commands import (
    ChangeRest,
    ChangeStepTarget,
    Command,
    ConfirmStep,
    ExtendStep,
    GoToStep,
    OverrideOutput,
    PauseProfile,
    PlanStart,
    ResumeProfile,
    SetTarget,
    SkipStep,
    StartProfile,
    SwitchOff,
)
from fermd.control.decision import Decision, Mode
from fermd.control.wording import Unit, span, temperature

Plain = dict[str, Any]


def undo(command: Command, before: Decision, unit: Unit = Unit.CELSIUS) -> Plain | None:
    """Return `{"words": ..., "command": {...}}`, or None if there is no way back."""
    match command:
        case SetTarget() | SwitchOff():
            return _as_before(before, unit)
        case StartProfile():
            return None if before.outlook is not None else _as_before(before, unit)
        case PlanStart():
            return _with("take back the planned start", "cancel-plan")
        case PauseProfile():
            return _with("go on with the profile", "resume-profile")
        case ResumeProfile():
            return _with("pause the profile", "pause-profile")
        case SkipStep() | GoToStep() | ConfirmStep() if before.outlook is not None:
            number = before.outlook.index + 1
            words = f"go back to step {number}, which then begins anew"
            return _with(words, "go-to-step", step=number)
        case ExtendStep(by_s=by_s):
            way = "shorter" if by_s > 0 else "longer"
            return _with(f"make the step {span(abs(by_s))} {way}", "extend-step", by_s=-by_s)
        case ChangeStepTarget() if before.target is not None:
            return _target("change-step-target", "the step's target", before.target.cool_c, unit)
        case ChangeRest():
            return _with("undo every change to the profile", "return-to-plan")
        case OverrideOutput():
            return _with("give the outputs back to the thermostat", "end-override")
    return None


def _as_before(before: Decision, unit: Unit) -> Plain | None:
    if before.mode is Mode.PROFILE:
        return _with("go on with the profile", "resume-profile")
    if before.mode is Mode.OFF:
        return _with("switch the chamber off", "switch-off")
    if before.mode is Mode.HAND and before.target is not None:
        return _target("set-target", "the target", before.target.cool_c, unit)
    # A paused profile stays paused: what it held is held again.
    if before.target is not None:
        return _target("set-target", "the target", before.target.cool_c, unit)
    return None


def _target(command: str, what: str, target_c: float, unit: Unit) -> Plain:
    words = f"set {what} back to {temperature(target_c, unit)}"
    return _with(words, command, target_c=target_c)


def _with(words: str, command: str, **fields: Any) -> Plain:
    return {"words": words, "command": {"command": command, **fields}}
