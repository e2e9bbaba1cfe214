"""A chamber as a network: heat capacities, the conductances that join them, powers and lags.

Six bodies hold heat: air, liner (with the inner foam and what is built in), evaporator, heater,
vessel wall and beer. Two probes follow them with a lag; the 2 J/K of a probe are a 50 000th of the
beer's and are left out of the balance.

    ambient ──leak── liner ──────── air ──door, gasket── ambient
                     │   └─evaporator┘│└─heater
                     └──vessel wall───┘    │
                         │   └─────────────┘
                        beer

Everything is linear with constants for each mode (compressor, heater, fan, door), which is what
lets the model step exactly. Left out, and to be known when reading results: layers in the beer
(fermenting beer stirs itself, resting beer does not), moisture and frost, defrosting, the change of
convection with temperature, and the refrigerant's own start-up minute.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Final, NamedTuple

from fermd.physics.errors import PhysicsError, require
from fermd.physics.matrix import Matrix

# Places of the bodies and probes in a row of coefficients.
AIR, LINER, EVAPORATOR, HEATER, WALL, BEER, VESSEL_PROBE, AIR_PROBE = range(8)
BODIES: Final = 6
NODES: Final = 8


class Mode(NamedTuple):
    """What is switched on and standing open; each mode is a linear system of its own."""

    cooling: bool
    heating: bool
    fan: bool
    door_open: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class AirFilms:
    """What depends on whether the air stands still or is stirred by the fan."""

    liner_w_per_k: float
    evaporator_w_per_k: float
    vessel_w_per_k: float
    air_probe_lag_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Network:
    """The constants of one chamber. `ChamberParameters.network()` derives them from its parts."""

    air_j_per_k: float
    liner_j_per_k: float
    evaporator_j_per_k: float
    heater_j_per_k: float
    vessel_wall_j_per_k: float
    beer_j_per_k: float

    leak_w_per_k: float
    """Ambient to liner, through the foam."""
    gasket_w_per_k: float
    """Ambient to air, past the closed door."""
    door_w_per_k: float
    """Ambient to air on top of that while the door is open."""
    still: AirFilms
    stirred: AirFilms
    liner_evaporator_w_per_k: float
    """Radiation, and contact where the tubes are bonded to the liner."""
    liner_vessel_w_per_k: float
    heater_vessel_w_per_k: float
    heater_air_w_per_k: float
    vessel_beer_w_per_k: float

    cooling_at_0c_w: float
    """Cooling power with the evaporator at 0 °C."""
    cooling_w_per_k: float
    """How much more for each degree that the evaporator is warmer."""
    compressor_w: float
    """Electrical power while it runs."""
    heater_w: float
    fan_w: float

    vessel_probe_lag_s: float
    vessel_probe_beer_share: float
    """How much of what the probe follows is beer; the rest is vessel wall and air."""
    vessel_probe_air_share: float

    def __post_init__(self) -> None:
        """Check that every constant is one that a real chamber can have.

        Raises:
            PhysicsError: naming the constant, its value and what is allowed.

        """
        for each in fields(self):
            value = getattr(self, each.name)
            if isinstance(value, float | int):
                must_hold = each.name.endswith("_j_per_k") or each.name.endswith("_lag_s")
                require(each.name, value, 1e-3 if must_hold else 0.0, 1e12)
        for films in (self.still, self.stirred):
            require("air_probe_lag_s", films.air_probe_lag_s, 1e-3, 1e12)
            for film in (films.liner_w_per_k, films.evaporator_w_per_k, films.vessel_w_per_k):
                require("film of air", film, 0.0, 1e12)
        if self.vessel_probe_beer_share + self.vessel_probe_air_share > 1.0 + 1e-12:
            raise PhysicsError(
                f"vessel probe: shares of beer {self.vessel_probe_beer_share!r} and air "
                f"{self.vessel_probe_air_share!r} must not add up to more than 1"
            )

    @property
    def capacities_j_per_k(self) -> tuple[float, float, float, float, float, float]:
        """The six bodies' heat capacities, in the order of the places above."""
        return (
            self.air_j_per_k,
            self.liner_j_per_k,
            self.evaporator_j_per_k,
            self.heater_j_per_k,
            self.vessel_wall_j_per_k,
            self.beer_j_per_k,
        )

    def ambient_air_w_per_k(self, mode: Mode) -> float:
        """Return the conductance from ambient straight to the air."""
        return self.gasket_w_per_k + (self.door_w_per_k if mode.door_open else 0.0)

    def equations(self, mode: Mode) -> Matrix:
        """Return the rows of dx/dt, K/s, over (8 temperatures, ambient, fermentation W, 1)."""
        films = self.stirred if mode.fan else self.still
        joints = (
            (AIR, LINER, films.liner_w_per_k),
            (AIR, EVAPORATOR, films.evaporator_w_per_k),
            (AIR, WALL, films.vessel_w_per_k),
            (AIR, HEATER, self.heater_air_w_per_k),
            (LINER, EVAPORATOR, self.liner_evaporator_w_per_k),
            (LINER, WALL, self.liner_vessel_w_per_k),
            (HEATER, WALL, self.heater_vessel_w_per_k),
            (WALL, BEER, self.vessel_beer_w_per_k),
        )
        ambient, fermentation, constant = NODES, NODES + 1, NODES + 2
        # Heat flows in W first; they become rates when divided by the capacities.
        rows = [[0.0] * (NODES + 3) for _ in range(NODES)]
        for one, other, w_per_k in joints:
            for here, there in ((one, other), (other, one)):
                rows[here][here] -= w_per_k
                rows[here][there] += w_per_k
        for body, w_per_k in ((LINER, self.leak_w_per_k), (AIR, self.ambient_air_w_per_k(mode))):
            rows[body][body] -= w_per_k
            rows[body][ambient] += w_per_k
        rows[BEER][fermentation] = 1.0
        if mode.heating:
            rows[HEATER][constant] += self.heater_w
        if mode.fan:
            rows[AIR][constant] += self.fan_w
        if mode.cooling:
            rows[EVAPORATOR][EVAPORATOR] -= self.cooling_w_per_k
            rows[EVAPORATOR][constant] -= self.cooling_at_0c_w
        for body, j_per_k in enumerate(self.capacities_j_per_k):
            rows[body] = [each / j_per_k for each in rows[body]]

        wall_share = 1.0 - self.vessel_probe_beer_share - self.vessel_probe_air_share
        follows = ((BEER, self.vessel_probe_beer_share), (WALL, wall_share))
        for body, share in (*follows, (AIR, self.vessel_probe_air_share)):
            rows[VESSEL_PROBE][body] = share / self.vessel_probe_lag_s
        rows[VESSEL_PROBE][VESSEL_PROBE] = -1.0 / self.vessel_probe_lag_s
        rows[AIR_PROBE][AIR] = 1.0 / films.air_probe_lag_s
        rows[AIR_PROBE][AIR_PROBE] = -1.0 / films.air_probe_lag_s
        return rows
