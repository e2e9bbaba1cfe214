"""What a person, a button or a network message may ask of a chamber.

A command is a wish, never an order to a relay: it changes what is called for, and protection
still has the last word. Each says who asked.
"""

from __future__ import annotations

from dataclasses import dataclass

from fermd.control.settings import Duty
from fermd.control.steps import Profile


@dataclass(frozen=True, slots=True)
class SetTarget:
    """Hold this target (°C) by hand. A running profile is paused, and can be resumed."""

    target_c: float
    who: str = "unknown"


@dataclass(frozen=True, slots=True)
class SwitchOff:
    """No target: neither heat nor cooling is called for. A running profile is paused."""

    who: str = "unknown"


@dataclass(frozen=True, slots=True)
class StartProfile:
    """Start this profile at its first step, in place of whatever the chamber did before."""

    profile: Profile
    who: str = "unknown"


@dataclass(frozen=True, slots=True)
class PlanStart:
    """Start this profile at a time to come (POSIX, s), in place of what is planned already."""

    profile: Profile
    at_utc_s: float
    who: str = "unknown"


@dataclass(frozen=True, slots=True)
class CancelPlan:
    """Take back a planned start."""

    who: str = "unknown"


@dataclass(frozen=True, slots=True)
class GoToStep:
    """Go to this step now, forward or back; counted from 1, as people count."""

    step: int
    who: str = "unknown"


@dataclass(frozen=True, slots=True)
class ChangeStepTarget:
    """Give the present step of the profile another target (°C); the step goes on."""

    target_c: float
    who: str = "unknown"


@dataclass(frozen=True, slots=True)
class ChangeRest:
    """Let the steps of this profile follow the present step, in place of those planned."""

    profile: Profile
    who: str = "unknown"


@dataclass(frozen=True, slots=True)
class ReturnToPlan:
    """Undo every change to the running profile."""

    who: str = "unknown"


@dataclass(frozen=True, slots=True)
class PauseProfile:
    """Hold the target where it is and stop the step's clock."""

    who: str = "unknown"


@dataclass(frozen=True, slots=True)
class ResumeProfile:
    """Go on with the paused profile where it was; ends a target set by hand."""

    who: str = "unknown"


@dataclass(frozen=True, slots=True)
class SkipStep:
    """Go to the next step now."""

    who: str = "unknown"


@dataclass(frozen=True, slots=True)
class ExtendStep:
    """Make the present step longer (or, with a negative number, shorter) by this many seconds."""

    by_s: float
    who: str = "unknown"


@dataclass(frozen=True, slots=True)
class ConfirmStep:
    """The word that a waiting step waits for."""

    who: str = "unknown"


@dataclass(frozen=True, slots=True)
class StopProfile:
    """End the profile; its last target is held by hand from now on."""

    who: str = "unknown"


@dataclass(frozen=True, slots=True)
class OverrideOutput:
    """Call for an output on or off by hand, for a limited time (s); protection is kept."""

    duty: Duty
    on: bool
    for_s: float
    who: str = "unknown"


@dataclass(frozen=True, slots=True)
class EndOverride:
    """Give the outputs back to the bands."""

    who: str = "unknown"


@dataclass(frozen=True, slots=True)
class AcknowledgeAlarm:
    """Somebody has seen this alarm; `alarm` is its kind's value, `subject` what it is about."""

    alarm: str
    subject: str = ""
    who: str = "unknown"


Command = (
    SetTarget
    | SwitchOff
    | StartProfile
    | PlanStart
    | CancelPlan
    | GoToStep
    | ChangeStepTarget
    | ChangeRest
    | ReturnToPlan
    | PauseProfile
    | ResumeProfile
    | SkipStep
    | ExtendStep
    | ConfirmStep
    | StopProfile
    | OverrideOutput
    | EndOverride
    | AcknowledgeAlarm
)

LONGEST_OVERRIDE_S = 4 * 3600.0
"""An output set by hand goes back to automatic after this long at the latest, s: nobody is
watching any more by then (common practice, no source)."""
