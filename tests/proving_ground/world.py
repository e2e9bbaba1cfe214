"""One seed makes one world: chambers, site, room, batch, profile, commands, and a script of faults.

The same seed and scale make the same world on every machine. What is drawn for one part does not
depend on how much was drawn for another, so that a script can be cut without changing the rest.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from enum import StrEnum
from itertools import pairwise
from random import Random
from typing import Any
from zoneinfo import ZoneInfo

from faults import draw_fault
from orders import draw_order, draw_profile
from script import Entry, Script
from site_text import draw_site

from fermd.control.settings import DAY_S, HOUR_S
from fermd.hardware.simulated_plant import Fermenting, HeatSource, no_fermentation
from fermd.physics.ambient import DayNightAmbient, SampledAmbient
from fermd.physics.cabinet import Cabinet, Cooler, Fan
from fermd.physics.errors import PhysicsError
from fermd.physics.fermentation import Batch, FermentationModel
from fermd.physics.parameters import ChamberParameters
from fermd.physics.probe import ProbeModel
from fermd.physics.vessel import Heater, ProbePlacing, Vessel


class Scale(StrEnum):
    """How long a world lasts, and how dense its faults are."""

    SHORT = "short"
    """A day or two of one or two chambers, a fault every hour: for every run of the tests."""
    USUAL = "usual"
    """Three to forty days, a batch."""
    YEARS = "years"
    """A whole year."""


@dataclass(frozen=True, slots=True)
class Room:
    """One chamber's plant before anything happens."""

    parameters: ChamberParameters
    ambient_c: Callable[[float], float]
    beer_c: float
    batch: Batch | None
    probe: ProbeModel

    def heat_source(self) -> HeatSource:
        """Return a fresh batch."""
        if self.batch is None:
            return no_fermentation
        return Fermenting(FermentationModel(self.batch))


@dataclass(frozen=True, slots=True)
class World:
    """Everything that one seed decides."""

    seed: int
    scale: Scale
    start_utc_s: float
    span_s: float
    site: dict[str, Any]
    rooms: dict[str, Room]
    drift_ppm: float
    noise_seed: int
    script: Script = ()

    @property
    def changes_of_clocks(self) -> int:
        """How often the zone's clocks are changed in this world."""
        zone = ZoneInfo(self.site["time_zone"])
        days = range(int(self.span_s / DAY_S) + 2)
        offsets = [
            datetime.fromtimestamp(self.start_utc_s + day * DAY_S, UTC).astimezone(zone).utcoffset()
            for day in days
        ]
        return sum(early != late for early, late in pairwise(offsets))


def world_of(seed: int, scale: Scale = Scale.USUAL) -> World:
    """Make the world of a seed."""
    random = Random(f"{scale} {seed}")
    days = {
        Scale.SHORT: random.uniform(1.0, 1.8),
        Scale.USUAL: random.choice([random.uniform(3.0, 14.0), random.uniform(8.0, 40.0)]),
        Scale.YEARS: 365.0,
    }[scale]
    most = 2 if scale is Scale.SHORT else 3
    site = draw_site(Random(f"site {scale} {seed}"), most)
    rooms = {name: _draw_room(Random(f"{name} {scale} {seed}")) for name in site["chamber"]}
    world = World(
        seed,
        scale,
        _draw_start(random, site["time_zone"], days),
        round(days * DAY_S),
        site,
        rooms,
        random.choice([0.0, 0.0, 20.0, -80.0]),
        random.randrange(2**31),
    )
    return replace(world, script=_draw_script(Random(f"script {scale} {seed}"), world))


def _draw_start(random: Random, zone: str, days: float) -> float:
    """Half of all worlds see the clocks changed, where they ever are."""
    start_s = datetime(2026, 1, 1, 9, 17, tzinfo=UTC).timestamp() + random.uniform(0, 364) * DAY_S
    if random.random() < 0.5:
        return round(start_s)
    there = ZoneInfo(zone)
    for day in range(370):
        at = datetime.fromtimestamp(start_s + day * DAY_S, UTC).astimezone(there)
        later = datetime.fromtimestamp(start_s + (day + 1) * DAY_S, UTC).astimezone(there)
        if at.utcoffset() != later.utcoffset():
            return round(start_s + (day - random.uniform(0.0, max(0.1, days - 1.0))) * DAY_S)
    return round(start_s)


def _draw_room(random: Random) -> Room:
    while True:
        try:
            parameters = _draw_parameters(random)
        except PhysicsError:
            continue
        break
    mean_c = random.uniform(-3.0, 32.0)
    ambient: DayNightAmbient | SampledAmbient = DayNightAmbient(mean_c, random.uniform(0.0, 8.0))
    if random.random() < 0.3:
        # Weather: a new temperature every six hours, a week of it from a random moment on.
        from_s = datetime(2026, 1, 1, tzinfo=UTC).timestamp()
        temps_c = [mean_c]
        for _ in range(4 * 800):
            nearer_c = 0.85 * (temps_c[-1] - mean_c)
            temps_c.append(mean_c + nearer_c + random.gauss(0.0, 2.0))
        times_s = tuple(from_s + 6 * HOUR_S * number for number in range(len(temps_c)))
        ambient = SampledAmbient(times_s, tuple(temps_c))
    vessel = parameters.vessel
    batch = None
    if random.random() < 0.8:
        batch = Batch(vessel.beer_l, vessel.original_plato, vessel.final_plato)
    probe = ProbeModel(random.uniform(-0.4, 0.4), random.choice([0.0, 0.03, 0.03, 0.08]))
    beer_c = random.uniform(-0.5, 4.0) if random.random() < 0.15 else random.uniform(3.0, 24.0)
    return Room(parameters, ambient.temp_c, beer_c, batch, probe)


def _draw_parameters(random: Random) -> ChamberParameters:
    plato = random.uniform(8.0, 24.0)
    beer_l = random.uniform(5.0, 45.0)
    chest = random.random() < 0.35
    cabinet = Cabinet.chest(random.uniform(150.0, 300.0))
    cooler = Cooler.bonded(random.uniform(60.0, 200.0))
    if not chest:
        cabinet = Cabinet(volume_l=random.uniform(110.0, 260.0))
        cooler = Cooler.of_power(random.choice([40.0, 70.0, 100.0, 150.0, 300.0]))
    heater = Heater(power_w=random.choice([15.0, 30.0, 40.0, 100.0]))
    if random.random() < 0.3:
        heater = Heater.tube(random.choice([60.0, 120.0]))
    return ChamberParameters(
        cabinet=cabinet,
        vessel=Vessel(
            capacity_l=beer_l / random.uniform(0.5, 0.9),
            beer_l=beer_l,
            original_plato=plato,
            final_plato=plato * random.uniform(0.15, 0.3),
        ),
        cooler=cooler,
        heater=heater,
        fan=Fan(),
        probes=ProbePlacing(placement=random.choice([0.0, 0.5, 1.0, 1.0])),
    )


def _draw_script(random: Random, world: World) -> Script:
    every_s = {Scale.SHORT: HOUR_S, Scale.USUAL: 14 * HOUR_S, Scale.YEARS: 30 * HOUR_S}
    entries = [
        Entry(600.0 + 30.0 * number, "order", {"chamber": chamber, **_first_order(random, world)})
        for number, chamber in enumerate(world.site["chamber"])
    ]
    at_s = 900.0
    while (at_s := at_s + random.expovariate(1.0 / every_s[world.scale])) < world.span_s:
        entries.append(draw_fault(random, world, round(at_s, 3)))
    at_s = 900.0
    while (at_s := at_s + random.expovariate(0.2 / every_s[world.scale])) < world.span_s:
        chamber = random.choice(sorted(world.site["chamber"]))
        order = {"chamber": chamber, **draw_order(random, world.span_s)}
        entries.append(Entry(round(at_s, 3), "order", order))
    return tuple(sorted(entries, key=lambda entry: entry.at_s))


def _first_order(random: Random, world: World) -> dict[str, Any]:
    if random.random() < 0.3:
        return {"what": "SetTarget", "target_c": random.choice([-1.5, 1.0, 4.0, 12.0, 18.0, 20.0])}
    return {"what": "StartProfile", "profile": draw_profile(random, world.span_s)}
