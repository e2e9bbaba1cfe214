"""The fixed scenarios: common chambers, and the ways in which chambers are difficult.

What a figure is chosen for stands beside it; figures without a source are measures of the most
ordinary thing of its kind, from memory, as in the chamber model itself.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from math import sin

from plants import Way, legs, wired
from scenario import DAY_S, HOUR_S, Door, Scenario

from fermd.control.settings import ChamberSettings, OutputKind
from fermd.physics.ambient import DayNightAmbient
from fermd.physics.cabinet import Cabinet, Cooler
from fermd.physics.fermentation import Batch, FermentationModel, Yeast
from fermd.physics.network import AirFilms, Network
from fermd.physics.parameters import ChamberParameters
from fermd.physics.thermal import ThermalModel
from fermd.physics.vessel import Heater, ProbePlacing, Vessel

_START_UTC_S = 1_772_323_200.0


def made(
    name: str,
    title: str,
    plant: ChamberParameters | Network,
    settings: ChamberSettings,
    ambient_c: Callable[[float], float],
    start_c: float,
    ways: Sequence[Way],
    *,
    fermentation: FermentationModel | None = None,
    doors: Sequence[Door] = (),
    fan_always: bool = False,
) -> Scenario:
    """Put a scenario together; what its legs need to settle is measured on its plant."""
    model = ThermalModel(plant)
    plan = legs(model, start_c, ways, ambient_c, _START_UTC_S, fan=fan_always)
    return Scenario(
        name,
        title,
        model,
        settings,
        ambient_c,
        start_c,
        plan,
        fermentation=fermentation,
        doors=doors,
        fan_always=fan_always,
        start_utc_s=_START_UTC_S,
    )


def ale(
    volume_l: float = 20.0, original_p: float = 12.0, final_p: float = 2.5
) -> FermentationModel:
    """Return an ale fermentation."""
    return FermentationModel(Batch(volume_l, original_p, final_p), Yeast.ale())


def lager(volume_l: float = 20.0) -> FermentationModel:
    """Return a lager fermentation of 12 °P."""
    return FermentationModel(Batch(volume_l), Yeast.lager())


def lager_in_a_chest() -> Scenario:
    """A chest freezer of 200 l: evaporator bonded to the liner, 60 mm of foam, no fan."""
    return made(
        "lager-chest",
        "Lager in a chest freezer",
        ChamberParameters.for_batch(volume_l=20.0, cabinet=Cabinet.chest()),
        wired(),
        DayNightAmbient(20.0, 2.0).temp_c,
        16.0,
        (Way(10.0, 2.5 * DAY_S), Way(13.0, DAY_S, 1.5 * DAY_S), Way(4.0, DAY_S, 2.5 * DAY_S)),
        fermentation=lager(),
    )


def fridge_with_a_fan() -> Scenario:
    """The model's own fridge with a circulation fan that always runs."""
    return made(
        "fridge-fan",
        "Upright fridge with a fan",
        ChamberParameters.for_batch(volume_l=20.0),
        wired(),
        DayNightAmbient(22.0, 3.0).temp_c,
        21.0,
        (Way(18.0, 2.5 * DAY_S), Way(21.0, 1.5 * DAY_S)),
        fermentation=ale(),
        fan_always=True,
    )


def heat_belt_only() -> Scenario:
    """A bucket in a cold room, with a belt and one probe: the "cabinet" is a cupboard of wood.

    A slow yeast, so that the batch alone never warms the beer beyond its target.
    """
    cupboard = Cabinet(volume_l=400.0, foam_m=0.005, built_in_j_per_k=4000.0)
    parts = ChamberParameters.for_batch(volume_l=20.0, cabinet=cupboard)
    return made(
        "belt-only",
        "Heat belt only, in a cold room",
        parts,
        wired(None, air=False),
        DayNightAmbient(13.0, 2.0).temp_c,
        17.0,
        (Way(18.0, 2.5 * DAY_S), Way(20.0, 1.5 * DAY_S)),
        fermentation=FermentationModel(Batch(20.0), Yeast(pace=0.25)),
    )


def cold_garage() -> Scenario:
    """Days that need cooling and nights that need heat: the batch's own 10 W lie between."""
    return made(
        "cold-garage",
        "Cold garage, day and night",
        ChamberParameters.for_batch(volume_l=20.0),
        wired(),
        DayNightAmbient(7.5, 8.0).temp_c,
        10.0,
        (Way(10.0, 4.0 * DAY_S), Way(14.0, 1.5 * DAY_S, 1.5 * DAY_S)),
        fermentation=lager(),
    )


def strong_wort() -> Scenario:
    """1.080 is 19.3 °P: at its peak the batch is the largest heat source in the fridge."""
    parts = ChamberParameters(
        vessel=Vessel(original_plato=19.3, final_plato=4.5),
    )
    return made(
        "strong-wort",
        "Peak of a 1.080 wort",
        parts,
        wired(),
        DayNightAmbient(22.0, 2.0).temp_c,
        19.0,
        (Way(19.0, 3.5 * DAY_S), Way(22.0, 1.5 * DAY_S, DAY_S)),
        fermentation=ale(20.0, 19.3, 4.5),
    )


def half_full() -> Scenario:
    """10 l in a vessel of 25 l: half the heat capacity under the same fridge."""
    return made(
        "half-full",
        "Half-full vessel",
        ChamberParameters.for_batch(volume_l=10.0, fill=0.4),
        wired(),
        DayNightAmbient(22.0, 2.0).temp_c,
        18.0,
        (Way(12.0, 2.0 * DAY_S), Way(17.0, 2.0 * DAY_S)),
        fermentation=lager(10.0),
    )


def _placed(name: str, title: str, placement: float) -> Scenario:
    return made(
        name,
        title,
        ChamberParameters.for_batch(volume_l=20.0, placement=placement),
        wired(),
        DayNightAmbient(24.0, 2.0).temp_c,
        22.0,
        (Way(18.0, 2.5 * DAY_S), Way(12.0, 1.5 * DAY_S)),
        fermentation=ale(),
    )


def probe_taped() -> Scenario:
    """The probe taped to the vessel's wall, under foam: it sees wall and a little air."""
    return _placed("probe-taped", "Probe taped to the wall", 0.0)


def probe_in_a_well() -> Scenario:
    """The same batch with the probe in a thermowell."""
    return _placed("probe-well", "Probe in a thermowell", 1.0)


def fast_crash() -> Scenario:
    """From 20 to 2 °C as fast as the fridge can."""
    return made(
        "fast-crash",
        "Fast crash to 2 °C",
        ChamberParameters.for_batch(volume_l=20.0),
        wired(),
        DayNightAmbient(20.0, 2.0).temp_c,
        20.0,
        (Way(20.0, 0.5 * DAY_S), Way(2.0, 2.0 * DAY_S)),
    )


def cellar_with_doors() -> Scenario:
    """A walk-in cellar of 6 m³ with 150 l in it, entered ten times a day for three minutes."""
    parts = ChamberParameters(
        cabinet=Cabinet(
            volume_l=6000.0, height_per_width=1.2, foam_m=0.080, built_in_j_per_k=20_000.0
        ),
        vessel=Vessel(capacity_l=180.0, beer_l=150.0),
        cooler=Cooler.of_power(1200.0),
        heater=Heater.tube(300.0),
    )
    # Ten visits between 9 and 21 o'clock, at times that look like chance and are the same always.
    doors = [
        Door(day * DAY_S + 9 * HOUR_S + 1.25 * HOUR_S * visit + 900.0 * sin(7 * day + visit), 180.0)
        for day in range(12)
        for visit in range(10)
    ]
    return made(
        "cellar-doors",
        "Cellar with door openings",
        parts,
        wired(),
        DayNightAmbient(22.0, 4.0).temp_c,
        13.0,
        (Way(12.0, 2.0 * DAY_S), Way(10.0, 2.0 * DAY_S)),
        doors=doors,
    )


def glycol_jacket() -> Scenario:
    """60 l in a jacketed steel fermenter, insulated; a valve lets glycol of -4 °C through.

    In the network's words the liner is the jacket's skin and the evaporator the glycol in it.
    Jacket to beer 60 W/K: 0.3 m² at 200 W/(m² K); glycol to skin ten times that; the flow carries
    90 W/K (1.4 l a minute of 3.8 kJ/(l K)), so that the jacket takes out 90 W/K × (glycol in the
    jacket + 4 °C). Insulation of 20 mm lets through some 2 W/K. There is no probe but that in
    the well: none in the air. The heater is a pad of 60 W on the cone.
    """
    film = AirFilms(
        liner_w_per_k=0.05, evaporator_w_per_k=0.0, vessel_w_per_k=0.5, air_probe_lag_s=290.0
    )
    wort = Vessel(capacity_l=75.0, beer_l=60.0)
    network = Network(
        air_j_per_k=200.0,
        liner_j_per_k=2500.0,
        evaporator_j_per_k=8000.0,
        heater_j_per_k=200.0,
        vessel_wall_j_per_k=5000.0,
        beer_j_per_k=wort.beer_j_per_k,
        leak_w_per_k=1.5,
        gasket_w_per_k=1.0,
        door_w_per_k=0.0,
        still=film,
        stirred=film,
        liner_evaporator_w_per_k=600.0,
        liner_vessel_w_per_k=60.0,
        heater_vessel_w_per_k=5.0,
        heater_air_w_per_k=0.2,
        vessel_beer_w_per_k=150.0,
        cooling_at_0c_w=90.0 * 4.0,
        cooling_w_per_k=90.0,
        compressor_w=30.0,
        heater_w=60.0,
        fan_w=0.0,
        vessel_probe_lag_s=ProbePlacing().vessel_lag_s,
        vessel_probe_beer_share=1.0,
        vessel_probe_air_share=0.0,
    )
    return made(
        "glycol-jacket",
        "Glycol jacket",
        network,
        wired(OutputKind.VALVE, air=False),
        DayNightAmbient(20.0, 2.0).temp_c,
        20.0,
        (Way(18.0, 2.5 * DAY_S), Way(21.0, 1.0 * DAY_S), Way(4.0, 1.5 * DAY_S)),
        fermentation=ale(60.0),
    )


def _powered(name: str, title: str, rated_w: float, ambient_c: float) -> Scenario:
    usual = ChamberParameters.for_batch(volume_l=20.0)
    return made(
        name,
        title,
        replace(usual, cooler=Cooler(rated_w=rated_w)),
        wired(),
        DayNightAmbient(ambient_c, 2.0).temp_c,
        21.0,
        (Way(18.0, 2.5 * DAY_S), Way(14.0, 1.5 * DAY_S)),
        fermentation=ale(),
    )


def oversized_compressor() -> Scenario:
    """Three times the usual compressor on the same plate."""
    return _powered("oversized", "Oversized compressor", 330.0, 22.0)


def weak_compressor() -> Scenario:
    """Just enough for a warm room and the batch's peak together."""
    return _powered("weak", "Weak compressor", 32.0, 26.0)


FIXED: Sequence[Callable[[], Scenario]] = (
    lager_in_a_chest,
    fridge_with_a_fan,
    heat_belt_only,
    cold_garage,
    strong_wort,
    half_full,
    probe_taped,
    probe_in_a_well,
    fast_crash,
    cellar_with_doors,
    glycol_jacket,
    oversized_compressor,
    weak_compressor,
)
