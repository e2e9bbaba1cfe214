"""The thermal model of a chamber: from one state to the next, exactly, with the heat accounted for.

Within a step the inputs stand still, and the equations are linear: the answer is a matrix
exponential, not an approximation. A step of 600 s gives what 6000 steps of 0.1 s give, nothing can
become unstable, and the heat that crossed the chamber's border is integrated exactly along with the
temperatures, so that the balance closes to rounding.

The exponentials are kept in the model, by mode and length of step. The first step of a new length
costs milliseconds, the following ones microseconds: use one length, or a few.
"""

from __future__ import annotations

from collections.abc import Callable
from operator import mul
from typing import Final, NamedTuple

from fermd.physics.errors import PhysicsError, require
from fermd.physics.matrix import Matrix, exponential, solve
from fermd.physics.network import AIR, BEER, BODIES, EVAPORATOR, LINER, NODES, Mode, Network
from fermd.physics.parameters import ChamberParameters

_KEPT_STEPS: Final = 512
_STIFFEST: Final = 1e9
"""Length of step over the shortest time constant. Each squaring of the exponential doubles its
error; up to here it stays below a millionth. Real chambers lie below 1e5."""
# Rows of the propagator: the eight temperatures, then the two integrals of heat.
_LEAK, _COOLING = NODES, NODES + 1
_ROWS: Final = NODES + 2
_INPUTS: Final = 3


class ThermalState(NamedTuple):
    """The temperatures of a chamber at one moment, °C."""

    air_c: float
    liner_c: float
    evaporator_c: float
    heater_c: float
    vessel_wall_c: float
    beer_c: float
    vessel_probe_c: float
    air_probe_c: float


class Drive(NamedTuple):
    """What acts on a chamber during a step."""

    ambient_c: float
    fermentation_w: float = 0.0
    cooling: bool = False
    heating: bool = False
    fan: bool = False
    door_open: bool = False


class HeatFlows(NamedTuple):
    """What crossed the chamber's border during a step, J.

    leak + heater + fan + fermentation - cooling = change of the heat stored. The compressor's own
    heat goes into the room and is in `compressor_electric_j` only; the heater's and the fan's
    electricity is their heat.
    """

    leak_j: float
    cooling_j: float
    heater_j: float
    fan_j: float
    fermentation_j: float
    compressor_electric_j: float

    @property
    def gained_j(self) -> float:
        """The heat that the chamber gained in all."""
        return self.leak_j + self.heater_j + self.fan_j + self.fermentation_j - self.cooling_j

    @property
    def electric_j(self) -> float:
        """The electricity used in all."""
        return self.compressor_electric_j + self.heater_j + self.fan_j


_Step = Callable[[ThermalState, float, float], tuple[ThermalState, float, float]]


class ThermalModel:
    """A chamber that can be stepped through time.

    Example:
        >>> model = ThermalModel(ChamberParameters())
        >>> state = model.settled(ambient_c=22.0, beer_c=18.0)
        >>> cooling = Drive(ambient_c=22.0, cooling=True)
        >>> for minute in range(30):
        ...     state, flows = model.advance(state, cooling, dt_s=60.0)
        >>> state.air_c < 10.0 < state.beer_c < 18.0
        True

    """

    __slots__ = ("_steps", "network")

    network: Final[Network]

    def __init__(self, parameters: ChamberParameters | Network) -> None:
        self.network = (
            parameters.network() if isinstance(parameters, ChamberParameters) else parameters
        )
        self._steps: dict[
            tuple[float, bool, bool, bool, bool], tuple[_Step, float, float, float]
        ] = {}

    def advance(
        self, state: ThermalState, drive: Drive, dt_s: float
    ) -> tuple[ThermalState, HeatFlows]:
        """Return the state `dt_s` later and the heat that crossed the border in that time.

        Raises:
            PhysicsError: a step that is not from 1 ms to 10 days, or a chamber too stiff for it.

        """
        ambient_c, fermentation_w, cooling, heating, fan, door_open = drive
        key = (dt_s, cooling, heating, fan, door_open)
        known = self._steps.get(key)
        if known is None:
            known = self._prepare(dt_s, Mode(cooling, heating, fan, door_open))
            if len(self._steps) >= _KEPT_STEPS:
                del self._steps[next(iter(self._steps))]
            self._steps[key] = known
        step, heater_j, fan_j, compressor_j = known
        later, leak_j, cooling_j = step(state, ambient_c, fermentation_w)
        return later, HeatFlows(
            leak_j, cooling_j, heater_j, fan_j, fermentation_w * dt_s, compressor_j
        )

    def settled(self, ambient_c: float, beer_c: float) -> ThermalState:
        """Return where everything comes to rest, all off, with the beer held at `beer_c`."""
        return self.held(Drive(ambient_c), beer_c)

    def held(self, drive: Drive, beer_c: float) -> ThermalState:
        """Return where all but the beer comes to rest under `drive`, the beer held at `beer_c`.

        A vessel moves by hours and all around it by minutes: this is how a chamber stands while its
        beer passes through `beer_c`, and `beer_gains_w` says how fast that goes.
        """
        mode = Mode(drive.cooling, drive.heating, drive.fan, drive.door_open)
        rows = self.network.equations(mode)
        rows[BEER] = [0.0] * (NODES + _INPUTS)
        rows[BEER][BEER], rows[BEER][-1] = 1.0, -beer_c
        return _at_rest(rows, drive.ambient_c, drive.fermentation_w)

    def beer_gains_w(self, state: ThermalState) -> float:
        """Return the heat that flows into the beer through the vessel's wall, W."""
        return self.network.vessel_beer_w_per_k * (state.vessel_wall_c - state.beer_c)

    def moved_j_per_k(self, drive: Drive) -> float:
        """Return what has to be taken out for each degree that the beer is cooled, J/K.

        Its own heat and that of all that goes down with it: the vessel by nearly as much, the
        cabinet by less, since the room holds on to it.
        """
        warm, cold = self.held(drive, 10.5), self.held(drive, 9.5)
        return self.stored_j(warm) - self.stored_j(cold)

    def cooling_w(self, state: ThermalState) -> float:
        """Return what the compressor takes out of the chamber if it runs in this state, W."""
        return self.network.cooling_at_0c_w + self.network.cooling_w_per_k * state.evaporator_c

    def leak_w(self, state: ThermalState, ambient_c: float) -> float:
        """Return what comes in from the room with the door shut, W."""
        network = self.network
        through_foam_w = network.leak_w_per_k * (ambient_c - state.liner_c)
        return through_foam_w + network.gasket_w_per_k * (ambient_c - state.air_c)

    def steady(self, drive: Drive) -> ThermalState:
        """Return where everything comes to rest if `drive` goes on for ever.

        With the compressor on it is the coldest that the chamber can make its beer against that
        room and that fermentation; with the heater on, the warmest.
        """
        mode = Mode(drive.cooling, drive.heating, drive.fan, drive.door_open)
        return _at_rest(self.network.equations(mode), drive.ambient_c, drive.fermentation_w)

    def stored_j(self, state: ThermalState) -> float:
        """Return the heat stored in a state, counted from 0 °C."""
        return sum(
            j_per_k * temp_c
            for j_per_k, temp_c in zip(self.network.capacities_j_per_k, state, strict=False)
        )

    def _prepare(self, dt_s: float, mode: Mode) -> tuple[_Step, float, float, float]:
        require("time step", dt_s, 1e-3, 864_000.0)
        network = self.network
        size = _ROWS + _INPUTS
        inputs = slice(_ROWS, size)
        # Rates of (temperatures, integrals, inputs): the inputs stand still, the integrals act on
        # nothing. One exponential of this gives the temperatures and the integrals together.
        rates = [[0.0] * size for _ in range(size)]
        for node, row in enumerate(network.equations(mode)):
            rates[node][:NODES], rates[node][inputs] = row[:NODES], row[NODES:]
        through_air_w_per_k = network.ambient_air_w_per_k(mode)
        rates[_LEAK][LINER] = -network.leak_w_per_k
        rates[_LEAK][AIR] = -through_air_w_per_k
        rates[_LEAK][_ROWS] = network.leak_w_per_k + through_air_w_per_k
        if mode.cooling:
            rates[_COOLING][EVAPORATOR] = network.cooling_w_per_k
            rates[_COOLING][-1] = network.cooling_at_0c_w
        fastest_per_s = max(-rates[node][node] for node in range(NODES))
        if fastest_per_s * dt_s > _STIFFEST:
            raise PhysicsError(
                f"chamber: a part changes within {1.0 / fastest_per_s:.1e} s, too fast for a step "
                f"of {dt_s:g} s; give it more heat capacity or take shorter steps"
            )
        propagator = exponential([[each * dt_s for each in row] for row in rates])
        return (
            _unrolled(propagator),
            network.heater_w * dt_s if mode.heating else 0.0,
            network.fan_w * dt_s if mode.fan else 0.0,
            network.compressor_w * dt_s if mode.cooling else 0.0,
        )


def _at_rest(rows: Matrix, ambient_c: float, fermentation_w: float) -> ThermalState:
    given = (ambient_c, fermentation_w, 1.0)
    right = [-sum(map(mul, row[NODES:], given)) for row in rows]
    return ThermalState(*solve([row[:NODES] for row in rows], right))


def _unrolled(propagator: Matrix) -> _Step:
    """Return the propagator as a function: rows written out, several times faster than a loop.

    Only what can differ from zero is multiplied: bodies and inputs everywhere, and each probe in
    its own row. In a row the bodies come first, in the order of the state; 6 is ambient, 7
    fermentation, 8 the constant of the mode.
    """
    rows = [row[:BODIES] + row[_ROWS:] for row in propagator[:_ROWS]]
    (a0, a1, a2, a3, a4, a5, a6, a7, a8) = rows[0]
    (l0, l1, l2, l3, l4, l5, l6, l7, l8) = rows[1]
    (e0, e1, e2, e3, e4, e5, e6, e7, e8) = rows[2]
    (h0, h1, h2, h3, h4, h5, h6, h7, h8) = rows[3]
    (w0, w1, w2, w3, w4, w5, w6, w7, w8) = rows[4]
    (b0, b1, b2, b3, b4, b5, b6, b7, b8) = rows[5]
    (v0, v1, v2, v3, v4, v5, v6, v7, v8) = rows[6]
    (p0, p1, p2, p3, p4, p5, p6, p7, p8) = rows[7]
    (q0, q1, q2, q3, q4, q5, q6, q7, q8) = rows[_LEAK]
    (c0, c1, c2, c3, c4, c5, c6, c7, c8) = rows[_COOLING]
    v_self, p_self = propagator[6][6], propagator[7][7]

    def step(s: ThermalState, t: float, f: float) -> tuple[ThermalState, float, float]:
        a, l, e, h, w, b, v, p = s  # noqa: E741
        return (
            ThermalState(
                a0 * a + a1 * l + a2 * e + a3 * h + a4 * w + a5 * b + a6 * t + a7 * f + a8,
                l0 * a + l1 * l + l2 * e + l3 * h + l4 * w + l5 * b + l6 * t + l7 * f + l8,
                e0 * a + e1 * l + e2 * e + e3 * h + e4 * w + e5 * b + e6 * t + e7 * f + e8,
                h0 * a + h1 * l + h2 * e + h3 * h + h4 * w + h5 * b + h6 * t + h7 * f + h8,
                w0 * a + w1 * l + w2 * e + w3 * h + w4 * w + w5 * b + w6 * t + w7 * f + w8,
                b0 * a + b1 * l + b2 * e + b3 * h + b4 * w + b5 * b + b6 * t + b7 * f + b8,
                v0 * a
                + v1 * l
                + v2 * e
                + v3 * h
                + v4 * w
                + v5 * b
                + v6 * t
                + v7 * f
                + v8
                + v_self * v,
                p0 * a
                + p1 * l
                + p2 * e
                + p3 * h
                + p4 * w
                + p5 * b
                + p6 * t
                + p7 * f
                + p8
                + p_self * p,
            ),
            q0 * a + q1 * l + q2 * e + q3 * h + q4 * w + q5 * b + q6 * t + q7 * f + q8,
            c0 * a + c1 * l + c2 * e + c3 * h + c4 * w + c5 * b + c6 * t + c7 * f + c8,
        )

    return step
