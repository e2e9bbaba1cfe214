"""What one tick sees: the readings by role, and the beer and its chamber by those that count."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import inf

from fermd.control import health, placing, profile_run
from fermd.control.edges import Sight
from fermd.control.events import Event, TrustChanged
from fermd.control.moment import Moment
from fermd.control.protection import History
from fermd.control.reading import Reading, Sample, Trusted, Untrusted
from fermd.control.settings import ChamberSettings, Duty
from fermd.control.state import ChamberState


@dataclass(frozen=True, slots=True)
class View:
    """What a tick sees: the readings by role, and the temperatures of those to be trusted."""

    readings: Mapping[str, Reading]
    vessel: Reading
    air: Reading | None
    vessel_c: float | None
    air_c: float | None
    beer_c: float | None
    """Where the beer is, by both probes: what bands and profile go by; safety goes by the probe."""
    placing: placing.Placing


def look(
    state: ChamberState,
    settings: ChamberSettings,
    samples: Mapping[str, Sequence[Sample]],
    passed_s: float,
    now: Moment,
    events: list[Event],
) -> tuple[Mapping[str, health.Health], View]:
    """Take in a tick's samples; returns each probe's health, and what is seen.

    `passed_s`: the time under control since the tick before. What begins or ceases to be trusted
    is added to `events`.
    """
    healths: dict[str, health.Health] = {}
    readings: dict[str, Reading] = {}
    for probe in settings.probes:
        before = state.healths[probe.name]
        after = health.absorb(before, probe, samples.get(probe.name, ()), now.mono_s)
        healths[probe.name] = after
        seen = health.reading(after, probe)
        readings[probe.name] = seen
        if after.trusted != before.trusted:
            fault = seen.fault if isinstance(seen, Untrusted) else None
            temp_c = seen.temp_c if isinstance(seen, Trusted) else seen.last_temp_c
            events.append(TrustChanged(probe.name, after.trusted, fault, temp_c))
    air = readings[settings.air_probe.name] if settings.air_probe is not None else None
    vessel = readings[settings.vessel_probe.name]
    vessel_c = vessel.temp_c if isinstance(vessel, Trusted) else None
    air_c = air.temp_c if isinstance(air, Trusted) else None
    running = what_runs(state.histories)
    placed = placing.observe(
        state.placing,
        vessel_c,
        air_c,
        passed_s,
        now.mono_s,
        heating=running is Duty.HEAT,
        cooling=running is Duty.COOL,
    )
    beer_c = None
    if vessel_c is not None:
        beer_c = placing.beer_c(placed, settings.foresight, vessel_c)
    return healths, View(readings, vessel, air, vessel_c, air_c, beer_c, placed)


def sighted(state: ChamberState, view: View, now: Moment) -> Sight | None:
    """What the bands see of the beer and its chamber; None without a trusted reading."""
    if view.beer_c is None:
        return None
    running = what_runs(state.histories)
    ramp_c_per_h = profile_run.ramp_c_per_h(state)
    drift_c_per_h = placing.drift_c_per_h(view.placing, view.beer_c)
    air_trend_c_per_h = placing.air_trend_c_per_h(view.placing)
    return Sight(
        now.mono_s,
        view.beer_c,
        view.air_c,
        running,
        0.0 if running is None else runs_for_s(state.histories[running], now.mono_s),
        None if drift_c_per_h is None else drift_c_per_h - ramp_c_per_h,
        None if air_trend_c_per_h is None else air_trend_c_per_h - ramp_c_per_h,
        ramp_c_per_h,
    )


def what_runs(histories: Mapping[Duty, History]) -> Duty | None:
    """Return which of heat and cooling is on; they never are together."""
    for duty, history in histories.items():
        if history.on and duty is not Duty.FAN:
            return duty
    return None


def idle_s(histories: Mapping[Duty, History], mono_s: float) -> float:
    """Return how long ago heat or cooling was stopped last, s; endless if none is known to be."""
    stops_s = [
        history.stopped_mono_s
        for duty, history in histories.items()
        if duty is not Duty.FAN and history.stopped_mono_s is not None
    ]
    return mono_s - max(stops_s) if stops_s else inf


def runs_for_s(history: History, mono_s: float) -> float:
    """Return how long an output has run, s; 0 if that was not seen."""
    return 0.0 if history.started_mono_s is None else mono_s - history.started_mono_s
