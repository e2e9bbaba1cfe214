"""Commands in words, for the record and for people."""

from __future__ import annotations

from math import isfinite

from fermd.control.calendar import utc_text
from fermd.control.commands import (
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
from fermd.control.wording import span

_PLAIN: dict[type[Command], str] = {
    SwitchOff: "switch the chamber off",
    CancelPlan: "cancel the planned start",
    PauseProfile: "pause the profile",
    ResumeProfile: "resume the profile",
    SkipStep: "skip the step",
    ConfirmStep: "confirm the step",
    ReturnToPlan: "return to the plan",
    StopProfile: "stop the profile",
    EndOverride: "give the outputs back to automatic",
}


def command_words(command: Command) -> str:
    """Say what was asked, with its numbers (°C, as the record has them)."""
    match command:
        case SetTarget():
            return f"set the target to {command.target_c:g} °C"
        case ChangeStepTarget():
            return f"change the step's target to {command.target_c:g} °C"
        case StartProfile():
            return f"start the profile {command.profile.name}"
        case PlanStart():
            return f"start the profile {command.profile.name} at {utc_text(command.at_utc_s)}"
        case ChangeRest():
            return f"go on with the steps of {command.profile.name}"
        case GoToStep():
            return f"go to step {command.step}"
        case ExtendStep():
            longer = "longer" if command.by_s >= 0 else "shorter"
            return f"make the step {_span(abs(command.by_s))} {longer}"
        case OverrideOutput():
            return (
                f"{command.duty.value} {'on' if command.on else 'off'} for {_span(command.for_s)}"
            )
        case AcknowledgeAlarm():
            subject = f" ({command.subject})" if command.subject else ""
            return f"acknowledge the alarm {command.alarm}{subject}"
        case _:
            return _PLAIN[type(command)]


def _span(seconds: float) -> str:
    """A span of time; what is refused as none is told as it came."""
    return span(seconds) if isfinite(seconds) else f"{seconds:g} s"
