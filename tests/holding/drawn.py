"""Scenarios whose parameters nobody has chosen: drawn from a seed, so that none is tuned to.

Everything is drawn: cabinet, foam, cooler, heater, fan, vessel, fill, where the probe is, whether
there is an air probe, room, wort, yeast and plan. What no thermostat could do is drawn again: a
target that the plant cannot reach against that room with the batch at its peak.
"""

from __future__ import annotations

from dataclasses import dataclass
from random import Random

from plants import Way, wired
from scenario import DAY_S, HOUR_S, Scenario
from scenarios import made

from fermd.physics.ambient import DayNightAmbient
from fermd.physics.cabinet import Cabinet, Cooler, Fan
from fermd.physics.errors import PhysicsError
from fermd.physics.fermentation import Batch, FermentationModel, Yeast
from fermd.physics.parameters import ChamberParameters
from fermd.physics.thermal import Drive, ThermalModel
from fermd.physics.vessel import Heater, ProbePlacing, Vessel

SPARE_C = 3.0
"""So far beyond every target the plant must be able to go, °C: else a hold is beyond anybody."""

LONGEST_S = 14 * DAY_S


@dataclass(frozen=True, slots=True)
class _World:
    parts: ChamberParameters
    room: DayNightAmbient
    fermentation: FermentationModel
    fan: bool
    air: bool
    start_c: float
    ways: tuple[Way, ...]
    words: str


def drawn(seed: int, count: int) -> list[Scenario]:
    """Return so many scenarios of a seed."""
    return [_one(Random(f"holding {seed} {number}"), number) for number in range(1, count + 1)]


def _one(random: Random, number: int) -> Scenario:
    while True:
        try:
            world = _draw(random)
        except PhysicsError:
            continue  # A vessel that does not go into its cabinet.
        if not _can(world):
            continue
        scenario = made(
            f"drawn-{number}",
            f"Drawn {number}: {world.words}",
            world.parts,
            wired(air=world.air),
            world.room.temp_c,
            world.start_c,
            world.ways,
            fermentation=world.fermentation,
            fan_always=world.fan,
        )
        if scenario.lasts_s <= LONGEST_S:
            return scenario


def _draw(random: Random) -> _World:
    volume_l = random.uniform(8.0, 45.0)
    fill = random.uniform(0.4, 0.9)
    is_chest = random.random() < 0.4
    room_l = max(80.0, volume_l / fill * random.uniform(4.0, 9.0))
    rated_w = random.uniform(50.0, 300.0)
    if is_chest:
        cabinet, cooler = Cabinet.chest(room_l), Cooler.bonded(rated_w)
    else:
        cabinet = Cabinet(volume_l=room_l, foam_m=random.uniform(0.03, 0.07))
        plate_m2 = Cooler.of_power(rated_w).plate_m2 * random.uniform(0.6, 1.4)
        cooler = Cooler(rated_w=rated_w, plate_m2=plate_m2)
    original_p = random.uniform(9.0, 20.0)
    final_p = original_p * random.uniform(0.15, 0.3)
    placement = random.choice((0.0, 1.0, random.random()))
    heater_w = random.uniform(20.0, 80.0)
    heater = Heater.tube(heater_w) if random.random() < 0.3 else Heater(power_w=heater_w)
    parts = ChamberParameters(
        cabinet=cabinet,
        vessel=Vessel(
            capacity_l=volume_l / fill,
            beer_l=volume_l,
            original_plato=original_p,
            final_plato=final_p,
        ),
        cooler=cooler,
        heater=heater,
        fan=Fan(),
        probes=ProbePlacing(placement=placement),
    )
    is_lager = random.random() < 0.5
    yeast = Yeast.lager() if is_lager else Yeast.ale()
    main_c = random.uniform(8.0, 13.0) if is_lager else random.uniform(16.0, 22.0)
    rest_c = main_c + random.uniform(2.0, 5.0)
    cold_c = random.uniform(2.0, 8.0)
    # Whole hours: the search for the best possible goes in blocks of minutes.
    ways = (
        Way(main_c, round(random.uniform(36.0, 60.0)) * HOUR_S),
        Way(rest_c, 1.5 * DAY_S, random.choice((0, round(random.uniform(12.0, 48.0)))) * HOUR_S),
        Way(cold_c, 1.5 * DAY_S, random.choice((0, round(random.uniform(24.0, 72.0)))) * HOUR_S),
    )
    room = DayNightAmbient(random.uniform(6.0, 27.0), random.uniform(0.0, 7.0))
    fan = random.random() < 0.35
    air = random.random() < 0.8
    words = (
        f"{'chest' if is_chest else 'fridge'} of {room_l:.0f} l, {rated_w:.0f} W, "
        f"{volume_l:.0f} l of {original_p:.0f} °P, room {room.mean_c:.0f} ± "
        f"{room.amplitude_k:.0f} °C, "
        f"{'well' if placement == 1.0 else 'taped' if placement == 0.0 else 'probe between'}"
        f"{', fan' if fan else ''}{'' if air else ', no air probe'}"
    )
    start_c = main_c + random.uniform(-3.0, 4.0)
    fermentation = FermentationModel(Batch(volume_l, original_p, final_p), yeast)
    return _World(parts, room, fermentation, fan, air, start_c, ways, words)


def _can(world: _World) -> bool:
    """Tell whether the plant can reach every target against its room with its batch at its peak."""
    model = ThermalModel(world.parts)
    targets_c = [way.target_c for way in world.ways]
    hottest_c = world.room.mean_c + world.room.amplitude_k
    coldest_c = world.room.mean_c - world.room.amplitude_k
    # The batch is done, or nearly so, when it is cooled down: its peak counts for the main hold.
    peak_w = _peak_w(world.fermentation, max(targets_c))
    works = Drive(hottest_c, peak_w, cooling=True, fan=world.fan)
    rests = Drive(hottest_c, cooling=True, fan=world.fan)
    heats = Drive(coldest_c, heating=True, fan=world.fan)
    return (
        model.steady(works).beer_c <= targets_c[0] - SPARE_C
        and model.steady(rests).beer_c <= min(targets_c) - SPARE_C
        and model.steady(heats).beer_c >= max(targets_c) + SPARE_C
    )


def _peak_w(model: FermentationModel, beer_c: float) -> float:
    state, peak_w = model.pitched(), 0.0
    for _ in range(10 * 24):
        state, heat_w = model.advance(state, beer_c, HOUR_S)
        peak_w = max(peak_w, heat_w)
    return peak_w
