"""What scenarios are put together from: wiring, rooms, legs, and how long settling may take."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import inf

from scenario import HOUR_S, Leg

from fermd.control.settings import (
    PROTECTION_BY_KIND,
    ChamberSettings,
    Duty,
    OutputKind,
    OutputSettings,
    ProbeSettings,
)
from fermd.physics.thermal import Drive, ThermalModel

AMPLE = 2.0
"""A hold counts after so many times what the quickest way there takes ..."""
AMPLE_S = 12 * HOUR_S
"""... and this, s: for the way out of whatever a contestant then overshoots."""

TO_THE_PROBE_C = 0.05
"""Cooled or heated at full strength until the beer is this near, °C."""


def wired(
    cool: OutputKind | None = OutputKind.COMPRESSOR, *, heat: bool = True, air: bool = True
) -> ChamberSettings:
    """Return a chamber by fermd's defaults with these outputs and probes."""
    kinds = {Duty.COOL: cool, Duty.HEAT: OutputKind.HEATER if heat else None}
    outputs = tuple(
        OutputSettings(duty.value, f"line-{duty.value}", duty, kind, PROTECTION_BY_KIND[kind])
        for duty, kind in kinds.items()
        if kind is not None
    )
    return ChamberSettings(
        "chamber",
        ProbeSettings("vessel"),
        ProbeSettings("air") if air else None,
        outputs=outputs,
    )


@dataclass(frozen=True, slots=True)
class Way:
    """One leg as it is planned, before it is known how long settling takes."""

    target_c: float
    hold_s: float
    """How long the figures of the hold count, s."""
    ramp_s: float = 0.0


def legs(
    model: ThermalModel,
    start_c: float,
    ways: Sequence[Way],
    ambient_c: Callable[[float], float],
    start_utc_s: float,
    *,
    fan: bool = False,
) -> tuple[Leg, ...]:
    """Return the plan, each leg with an ample time to settle and then its hold.

    Ample is measured on the plant, at full strength and without fermentation, and is the same for
    every contestant.
    """
    made: list[Leg] = []
    before_c, at_s = start_c, 0.0
    for way in ways:
        quickest_s = 0.0
        if way.ramp_s == 0.0 and way.target_c != before_c:
            room_c = ambient_c(start_utc_s + at_s)
            quickest_s = _quickest_s(model, before_c, way.target_c, room_c, fan=fan)
        settle_s = HOUR_S * round((AMPLE * quickest_s + AMPLE_S) / HOUR_S)
        lasts_s = way.ramp_s + settle_s + way.hold_s
        made.append(Leg(way.target_c, lasts_s, way.ramp_s, settle_s))
        before_c, at_s = way.target_c, at_s + lasts_s
    return tuple(made)


def _quickest_s(
    model: ThermalModel, from_c: float, to_c: float, ambient_c: float, *, fan: bool
) -> float:
    drive = Drive(ambient_c, cooling=to_c < from_c, heating=to_c > from_c, fan=fan)
    state = model.held(Drive(ambient_c, fan=fan), from_c)
    way = 1.0 if to_c > from_c else -1.0
    for minute in range(10 * 24 * 60):
        if way * (to_c - state.beer_c) <= TO_THE_PROBE_C:
            return minute * 60.0
        state, _ = model.advance(state, drive, 60.0)
    return inf
