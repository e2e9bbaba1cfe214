"""What is so at present and may be worth an alarm: the one list that alarms are raised from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from fermd.control.alarms import AlarmKind, Condition
from fermd.control.decision import Mode
from fermd.control.health import Health
from fermd.control.moment import Moment
from fermd.control.reading import Reading, Trusted, Untrusted, just_started
from fermd.control.reasons import Rule
from fermd.control.safety import FREEZING_DIFFERENTIAL_C
from fermd.control.settings import ChamberSettings
from fermd.control.state import ChamberState, Deviation
from fermd.control.steps import Target, WaitForPerson

UNSTEADY_SHARE = 0.2
"""A probe that fails one read in five has a loose contact or a long wire: worth a look before it
fails for good (common practice, no source)."""

NEARER_C = 0.1
"""Coming nearer to the target by this, °C, counts as progress."""

_Found = dict[tuple[AlarmKind, str], Condition]


def present(
    state: ChamberState,
    settings: ChamberSettings,
    healths: Mapping[str, Health],
    vessel: Reading,
    air: Reading | None,
    readings: Mapping[str, Reading],
    now: Moment,
) -> Mapping[tuple[AlarmKind, str], Condition]:
    """Everything that is so at present, by kind and subject."""
    found: _Found = {}
    _of_probes(found, settings, healths, vessel, air, readings, now.mono_s)
    _of_outputs(found, state, settings, now.mono_s)
    _of_beer(found, state, settings, vessel, now.mono_s)
    _of_profile(found, state)
    return found


def follow_deviation(
    state: ChamberState,
    settings: ChamberSettings,
    target: Target | None,
    beer_c: float | None,
    mono_s: float,
) -> ChamberState:
    """Remember since when the beer has been off its target without coming nearer."""
    if target is None or beer_c is None:
        return state if state.deviation is None else replace(state, deviation=None)
    above_c, below_c = beer_c - target.cool_c, target.heat_c - beer_c
    off_c = max(above_c, below_c)
    if off_c <= settings.attention.off_target_c:
        return state if state.deviation is None else replace(state, deviation=None)
    warm = above_c > below_c
    before = state.deviation
    if before is None or before.warm != warm or off_c <= before.least_c - NEARER_C:
        return replace(state, deviation=Deviation(warm, off_c, mono_s))
    return state


def _add(
    found: _Found,
    kind: AlarmKind,
    subject: str,
    value: float | None = None,
    limit: float | None = None,
) -> None:
    found[kind, subject] = Condition(kind, subject, value, limit)


def _of_probes(
    found: _Found,
    settings: ChamberSettings,
    healths: Mapping[str, Health],
    vessel: Reading,
    air: Reading | None,
    readings: Mapping[str, Reading],
    mono_s: float,
) -> None:
    if isinstance(vessel, Untrusted) and not just_started(vessel, mono_s):
        name = settings.vessel_probe.name
        _add(found, AlarmKind.VESSEL_PROBE_LOST, name, vessel.last_temp_c)
    if (
        settings.air_probe is not None
        and isinstance(air, Untrusted)
        and not just_started(air, mono_s)
    ):
        _add(found, AlarmKind.AIR_PROBE_LOST, settings.air_probe.name, air.last_temp_c)
    for probe in settings.watching_probes:
        seen = readings[probe.name]
        if isinstance(seen, Untrusted):
            _add(found, AlarmKind.WATCHING_PROBE_LOST, probe.name, seen.last_temp_c)
    for name, health in healths.items():
        if health.bad_share >= UNSTEADY_SHARE:
            _add(found, AlarmKind.PROBE_UNSTEADY, name, health.bad_share, UNSTEADY_SHARE)


_OF_REST = {Rule.LONGEST_RUN: AlarmKind.LONGEST_RUN, Rule.NO_EFFECT: AlarmKind.NO_EFFECT}


def _of_outputs(
    found: _Found, state: ChamberState, settings: ChamberSettings, mono_s: float
) -> None:
    for duty, rule in state.resting.items():
        until_s = state.histories[duty].rest_until_mono_s
        if until_s is not None and mono_s < until_s:
            _add(found, _OF_REST[rule], settings.by_duty[duty].name)


def _of_beer(
    found: _Found,
    state: ChamberState,
    settings: ChamberSettings,
    vessel: Reading,
    mono_s: float,
) -> None:
    off = state.deviation
    attention = settings.attention
    if off is not None and mono_s - off.since_mono_s >= attention.off_target_for_s:
        kind = AlarmKind.BEER_TOO_WARM if off.warm else AlarmKind.BEER_TOO_COLD
        _add(found, kind, "", off.least_c, attention.off_target_c)
    if isinstance(vessel, Trusted):
        edge_c = settings.limits.coldest_beer_c - FREEZING_DIFFERENTIAL_C
        if vessel.temp_c < edge_c:
            limit_c = settings.limits.freezing_point_c
            _add(found, AlarmKind.NEAR_FREEZING, "", vessel.temp_c, limit_c)


def _of_profile(found: _Found, state: ChamberState) -> None:
    if state.mode is Mode.PROFILE and state.progress is not None:
        step = state.progress.step
        if isinstance(step, WaitForPerson):
            _add(found, AlarmKind.WAITING_FOR_PERSON, step.name or step.prompt)
