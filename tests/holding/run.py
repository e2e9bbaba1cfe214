"""One contestant in one scenario: the plant, the probes with their noise, the switching."""

from __future__ import annotations

from collections.abc import Sequence
from trace import Series, Trace, switchings
from zlib import crc32

import numpy as np
from scenario import Scenario
from thermostats.thermostat import Seen, Thermostat

from fermd.physics.probe import STEPS_PER_K, ProbeModel, quantise
from fermd.physics.thermal import Drive

BEFORE_S = (-3.0, -2.0, -1.0)
"""The probes are read so often before the start, so that they are believed when it begins."""

MINUTE_S = 60.0
"""Room and fermentation change over hours; both are taken anew this often, s."""


class Noise:
    """The scatter of a scenario's two probes: the same for every contestant with the same seed."""

    def __init__(self, scenario: Scenario, seed: int, looks: int) -> None:
        self._probes = (scenario.vessel_probe, scenario.air_probe)
        key = crc32(scenario.name.encode())
        self._scatter_k = tuple(
            np.random.default_rng([seed, key, place]).normal(0.0, probe.noise_sd_k, looks).tolist()
            for place, probe in enumerate(self._probes)
        )

    def seen(self, look: int, vessel_c: float, air_c: float) -> Seen:
        """Return what the probes show for the temperatures of their bodies."""
        return Seen(self._shows(0, look, vessel_c), self._shows(1, look, air_c))

    def _shows(self, place: int, look: int, temp_c: float) -> float:
        probe: ProbeModel = self._probes[place]
        shown_c = temp_c + probe.offset_k + self._scatter_k[place][look]
        return quantise(shown_c, probe.resolution_bits) / STEPS_PER_K


def doors_open(scenario: Scenario, t_s: Series) -> Sequence[bool]:
    """Tell for each period whether the door stands open."""
    is_open = np.zeros(t_s.size, dtype=np.bool_)
    for door in scenario.doors:
        is_open |= (t_s >= door.opens_s) & (t_s < door.opens_s + door.lasts_s)
    return list(is_open.tolist())


def run(scenario: Scenario, thermostat: Thermostat, contestant: str, seed: int) -> Trace:
    """Run a scenario to its end."""
    period_s = scenario.period_s
    count = round(scenario.lasts_s / period_s)
    t_s = np.arange(count) * period_s
    doors = doors_open(scenario, t_s)
    noise = Noise(scenario, seed, count + len(BEFORE_S))
    model, fan, ferments = scenario.model, scenario.fan_always, scenario.fermentation
    wort = None if ferments is None else ferments.pitched()
    ambient_c, heat_w = scenario.ambient_c(scenario.start_utc_s), 0.0
    state = model.held(Drive(ambient_c, fan=fan), scenario.start_c)
    for look, at_s in enumerate(BEFORE_S):
        thermostat.decide(at_s, noise.seen(look, state.vessel_probe_c, state.air_probe_c))

    every = max(1, round(MINUTE_S / period_s))
    rows: list[tuple[float, ...]] = []
    running: list[tuple[bool, bool]] = []
    electric_j = 0.0
    for tick in range(count):
        at_s = tick * period_s
        if tick % every == 0:
            ambient_c = scenario.ambient_c(scenario.start_utc_s + at_s)
            if ferments is not None and wort is not None:
                wort, heat_w = ferments.advance(wort, state.beer_c, every * period_s)
        seen = noise.seen(tick + len(BEFORE_S), state.vessel_probe_c, state.air_probe_c)
        on = thermostat.decide(at_s, seen)
        rows.append(
            (
                state.beer_c,
                state.vessel_wall_c,
                state.air_c,
                state.vessel_probe_c,
                state.air_probe_c,
                ambient_c,
                heat_w,
                seen.vessel_c,
            )
        )
        running.append(on)
        drive = Drive(ambient_c, heat_w, on.cool, on.heat, fan, doors[tick])
        state, flows = model.advance(state, drive, period_s)
        electric_j += flows.electric_j
    columns = np.array(rows).T
    cool_on, heat_on = np.array(running, dtype=np.bool_).T
    cool_starts_s, cool_offs_s = switchings(cool_on, t_s)
    return Trace(
        scenario=scenario.name,
        contestant=contestant,
        seed=seed,
        t_s=t_s,
        target_c=np.array([scenario.target_c(float(at_s)) for at_s in t_s]),
        beer_c=columns[0],
        wall_c=columns[1],
        air_c=columns[2],
        vessel_probe_c=columns[3],
        air_probe_c=columns[4],
        cool_on=cool_on,
        heat_on=heat_on,
        ambient_c=columns[5],
        heat_w=columns[6],
        door_open=np.array(doors, dtype=np.bool_),
        electric_j=electric_j,
        cool_starts_s=cool_starts_s,
        heat_starts_s=switchings(heat_on, t_s)[0],
        cool_offs_s=cool_offs_s,
        read_c=columns[7],
    )
