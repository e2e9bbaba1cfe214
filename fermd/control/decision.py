"""What a tick decided, with its reasons.

The one thing that the relays, the journal, the page and the command line all work from.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

from fermd.control.alarms import Alarm
from fermd.control.bands import Call, Edges
from fermd.control.commands import PlanStart
from fermd.control.events import Event
from fermd.control.placing import Placing
from fermd.control.progress import Outlook
from fermd.control.reading import Reading
from fermd.control.reasons import Reason
from fermd.control.settings import Duty, ForesightSettings
from fermd.control.steps import Target
from fermd.control.swing import Learned


class Mode(StrEnum):
    """Where the target comes from."""

    OFF = "off"
    HAND = "hand"
    PROFILE = "profile"
    PAUSED = "paused"


@dataclass(frozen=True, slots=True)
class OutputDecision:
    """What one output is to do now."""

    duty: Duty
    name: str
    line: str
    on: bool
    wanted: bool
    """What was called for; differs from `on` while protection holds it."""
    since_mono_s: float | None
    """When it last changed, if that is known."""
    reasons: tuple[Reason, ...]
    """Why it is as it is, the deciding one first."""


@dataclass(frozen=True, slots=True)
class Decision:
    """All of one chamber's tick."""

    chamber: str
    mode: Mode
    target: Target | None
    call: Call
    call_reason: Reason
    edges: Edges | None
    """Where calls begin and end now, °C, as read by the vessel probe; None while no band decides:
    without a target, or without a trusted reading."""
    vessel: Reading
    air: Reading | None
    watching: tuple[tuple[str, Reading], ...]
    outputs: tuple[OutputDecision, ...]
    outlook: Outlook | None
    """Where the profile stands, if there is one."""
    learned: Mapping[Duty, Learned]
    """What has been learned of each side's runs (swing.py); a side without one has none yet."""
    placing: Placing
    """What is known of the vessel and its probe (placing.py)."""
    foresight: ForesightSettings
    """Whether, and within which bounds, that is acted on."""
    planned: PlanStart | None
    """A start that waits for its time."""
    alarms: tuple[Alarm, ...]
    """Alarms that are not cleared."""
    events: tuple[Event, ...]
    """What happened in this tick."""
