"""Chambers that share a supply: steps each in turn and keeps the circuits within their limits.

What is on already counts first; a start that would overload its circuit waits. What stops makes
room from the next tick on, so that it does not matter in which order relays are switched. Chambers
whose wish has waited longest come first, so that none is starved by its place in the site file;
one that has waited for `PATIENCE_S` keeps its circuit from later ones until its own load fits, so
that a large load is not starved by small ones that take turns.
"""

from __future__ import annotations

from collections.abc import Container, Mapping, Sequence
from dataclasses import dataclass, field, replace
from math import inf

from fermd.control import chamber
from fermd.control.chamber import Inputs
from fermd.control.decision import Decision
from fermd.control.events import Event
from fermd.control.moment import Moment
from fermd.control.reasons import Rule
from fermd.control.replacing import replacer
from fermd.control.settings import ChamberSettings, SiteSettings
from fermd.control.state import ChamberState

PATIENCE_S = 1800.0
"""How long a load lets smaller ones go first on its circuit, s: a few cycles of a fridge."""


@dataclass(frozen=True, slots=True)
class SiteState:
    """All chambers as they stand, by name."""

    chambers: Mapping[str, ChamberState]
    waiting_since_mono_s: Mapping[str, float] = field(default_factory=dict)
    """Chambers with an output that waits for its circuit."""


def step(
    state: SiteState, settings: SiteSettings, inputs: Mapping[str, Inputs], now: Moment
) -> tuple[SiteState, Mapping[str, Decision]]:
    """Run one tick of every chamber."""
    left_a = _headroom_a(state, settings)
    states = dict(state.chambers)
    decisions: dict[str, Decision] = {}
    waiting: dict[str, float] = {}
    for one in _in_turn(state, settings):
        given = inputs.get(one.name, _NOTHING)
        if left_a:
            given = _WITH_HEADROOM(given, left_a)
        before = states[one.name]
        after, decision = chamber.step(before, one, given, now)
        states[one.name], decisions[one.name] = after, decision
        if not left_a:
            continue
        left_a = _charged(left_a, one, before, after)
        circuits = _waits_for(settings, one, decision)
        if circuits:
            since_s = state.waiting_since_mono_s.get(one.name, now.mono_s)
            waiting[one.name] = since_s
            if now.mono_s - since_s >= PATIENCE_S:
                left_a = {**left_a, **dict.fromkeys(circuits, 0.0)}
    return SiteState(states, waiting), decisions


def let_go(
    state: SiteState,
    settings: SiteSettings,
    rule: Rule,
    mono_s: float,
    lines: Container[str] | None = None,
) -> tuple[SiteState, Mapping[str, tuple[Event, ...]]]:
    """Take note that relays went off without a decision of the core; see `chamber.let_go`."""
    states = dict(state.chambers)
    events: dict[str, tuple[Event, ...]] = {}
    for one in settings.chambers:
        before = states[one.name]
        states[one.name], events[one.name] = chamber.let_go(before, one, rule, mono_s, lines)
    return replace(state, chambers=states), events


_NOTHING = Inputs()
_WITH_HEADROOM = replacer(Inputs, "headroom_a")


def _in_turn(state: SiteState, settings: SiteSettings) -> Sequence[ChamberSettings]:
    """The chambers in the order in which they may start outputs."""
    if not state.waiting_since_mono_s:
        return settings.chambers
    return sorted(settings.chambers, key=lambda one: _since(state, one))


def _since(state: SiteState, settings: ChamberSettings) -> float:
    return state.waiting_since_mono_s.get(settings.name, inf)


def _headroom_a(state: SiteState, settings: SiteSettings) -> Mapping[str, float]:
    left_a = {circuit.name: circuit.limit_a for circuit in settings.circuits}
    for one in settings.chambers:
        for output in one.outputs:
            if output.circuit in left_a and state.chambers[one.name].histories[output.duty].on:
                left_a[output.circuit] -= output.rated_a
    return left_a


def _charged(
    left_a: Mapping[str, float],
    settings: ChamberSettings,
    before: ChamberState,
    after: ChamberState,
) -> Mapping[str, float]:
    charged = dict(left_a)
    for output in settings.outputs:
        was_on, is_on = before.histories[output.duty].on, after.histories[output.duty].on
        if output.circuit in charged and is_on and not was_on:
            charged[output.circuit] -= output.rated_a
    return charged


def _waits_for(settings: SiteSettings, one: ChamberSettings, decision: Decision) -> frozenset[str]:
    """The circuits that alone keep an output of this chamber off, and that could carry it."""
    limit_a = {circuit.name: circuit.limit_a for circuit in settings.circuits}
    found = set()
    for decided in decision.outputs:
        output = one.by_duty[decided.duty]
        only = all(reason.rule is Rule.SUPPLY_LIMIT for reason in decided.reasons)
        if only and output.circuit is not None and output.rated_a <= limit_a[output.circuit]:
            found.add(output.circuit)
    return frozenset(found)
