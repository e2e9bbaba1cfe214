"""What a chamber is from one tick to the next: one value, never changed, only replaced."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from fermd.control.alarms import Alarms
from fermd.control.bands import Call
from fermd.control.commands import PlanStart
from fermd.control.decision import Mode
from fermd.control.effect import Watch
from fermd.control.health import Health
from fermd.control.placing import Placing
from fermd.control.progress import Progress
from fermd.control.protection import History, unknown_history
from fermd.control.reasons import Rule
from fermd.control.settings import ChamberSettings, Duty
from fermd.control.steps import Target
from fermd.control.swing import Swing


@dataclass(frozen=True, slots=True)
class Override:
    """An output set by hand."""

    on: bool
    until_mono_s: float
    who: str


@dataclass(frozen=True, slots=True)
class Deviation:
    """How far the beer has been from its target, while it is further than is worth a word."""

    warm: bool
    least_c: float
    """The nearest that it has come, °C."""
    since_mono_s: float
    """When it came there."""


@dataclass(frozen=True, slots=True)
class ChamberState:
    """One chamber as it stands."""

    healths: Mapping[str, Health]
    """By the probe's name."""
    histories: Mapping[Duty, History]
    """For every output that the chamber has."""
    watches: Mapping[Duty, Watch] = field(default_factory=dict)
    resting: Mapping[Duty, Rule] = field(default_factory=dict)
    """Why an output was last sent to rest."""
    mode: Mode = Mode.OFF
    hand: Target | None = None
    """The target set by hand, or frozen by a pause."""
    progress: Progress | None = None
    """The profile, running or paused."""
    planned: PlanStart | None = None
    """What starts by itself once its time has come."""
    call: Call = Call.IDLE
    overrides: Mapping[Duty, Override] = field(default_factory=dict)
    alarms: Alarms = ()
    deviation: Deviation | None = None
    swing: Swing = field(default_factory=Swing)
    placing: Placing = field(default_factory=Placing)
    last_mono_s: float | None = None
    told_target: Target | None = None
    told_source: str = "off"
    told_index: int = -1


def first_state(
    settings: ChamberSettings, mono_s: float, histories: Mapping[Duty, History] | None = None
) -> ChamberState:
    """Return a chamber that has seen nothing yet.

    `histories` are those that are known; an output without one gets the worst that could have
    been.
    """
    known = histories or {}
    return ChamberState(
        healths={probe.name: Health(since_mono_s=mono_s) for probe in settings.probes},
        histories={
            output.duty: known.get(output.duty, unknown_history(output.protection, mono_s))
            for output in settings.outputs
        },
    )
