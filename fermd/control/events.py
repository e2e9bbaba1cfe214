"""What happened: the facts that a tick hands to the journal.

An event is written down once, when it happens, by the one place that knows; nothing else may
make one up. The journal stores them as they are, `wording.py` words them.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from fermd.control.reading import ProbeFault
from fermd.control.reasons import Reason
from fermd.control.settings import Duty


@dataclass(frozen=True, slots=True)
class OutputChanged:
    """An output was switched. `reasons` are those that decided, the deciding one first."""

    duty: Duty
    output: str
    line: str
    on: bool
    reasons: tuple[Reason, ...]


@dataclass(frozen=True, slots=True)
class TargetChanged:
    """The target was set: by hand or by a step. A ramp reports its start and its end only."""

    heat_c: float | None
    cool_c: float | None
    source: str
    """`profile`, `hand` or `off`."""
    who: str = ""


class StepChange(StrEnum):
    """What became of a step."""

    ENTERED = "entered"
    ENDED = "ended"
    SKIPPED = "skipped"
    EXTENDED = "extended"
    CONFIRMED = "confirmed"
    CHANGED = "changed"
    """The step or those after it were changed by hand, or put back to the plan."""
    OVERDUE = "overdue"
    """Its time of the calendar had passed by `elapsed_s` when somebody was in charge again."""
    REACHED = "reached"
    """The beer has come to a soak's temperature: its clock starts to run."""


@dataclass(frozen=True, slots=True)
class StepChanged:
    """A step of the profile began, ended or was changed."""

    profile: str
    index: int
    """From 0."""
    kind: str
    name: str
    change: StepChange
    elapsed_s: float
    """The step's own clock, s."""
    who: str = ""


class ProfileChange(StrEnum):
    """What became of a profile."""

    STARTED = "started"
    PAUSED = "paused"
    RESUMED = "resumed"
    STOPPED = "stopped"
    FINISHED = "finished"


@dataclass(frozen=True, slots=True)
class ProfileChanged:
    """A profile was started, paused, resumed, stopped, or came to its end."""

    profile: str
    change: ProfileChange
    who: str = ""


class Severity(StrEnum):
    """How much a person is needed."""

    NOTICE = "notice"
    WARNING = "warning"
    CRITICAL = "critical"


class AlarmPhase(StrEnum):
    """Where an alarm is in its life."""

    CLEARED = "cleared"
    RAISED = "raised"
    ACKNOWLEDGED = "acknowledged"


@dataclass(frozen=True, slots=True)
class AlarmChanged:
    """An alarm was raised, acknowledged or cleared."""

    alarm: str
    """The alarm kind's value."""
    subject: str
    """The probe, output or step that it is about; empty for the chamber as a whole."""
    phase: AlarmPhase
    severity: Severity
    value: float | None = None
    limit: float | None = None
    who: str = ""


@dataclass(frozen=True, slots=True)
class TrustChanged:
    """A probe gained or lost trust."""

    probe: str
    trusted: bool
    fault: ProbeFault | None = None
    temp_c: float | None = None


@dataclass(frozen=True, slots=True)
class CommandAnswered:
    """A person's command was taken or refused."""

    command: str
    """The command's type name with its numbers, as text for the record."""
    who: str
    taken: bool
    why: str = ""
    """If refused: what is allowed and what to do."""


@dataclass(frozen=True, slots=True)
class GapSeen:
    """The loop did not run for a while (suspend, an overloaded board): nobody was in charge."""

    lasted_s: float


@dataclass(frozen=True, slots=True)
class OutageSeen:
    """The daemon was not running before this start; told once the beer's temperature is known."""

    lasted_s: float | None
    """None if it cannot be known: the board was restarted and its clock is not set."""
    cleanly: bool
    """The daemon before had ended by its own stop."""
    beer_before_c: float | None = None
    beer_after_c: float | None = None
    counted_s: float = 0.0
    """How much of it counts for the profile's step, because the beer was at its temperature."""


Event = (
    OutputChanged
    | TargetChanged
    | StepChanged
    | ProfileChanged
    | AlarmChanged
    | TrustChanged
    | CommandAnswered
    | GapSeen
    | OutageSeen
)
