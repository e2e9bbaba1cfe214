"""What a brewer should know before a batch starts: each caution with its numbers, then in words.

Nothing here refuses anything: what the chamber would never do is refused where profiles are held
against it (`fermd.config.profile_file`, `fermd.control.foresight`).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from fermd.control.settings import ChamberSettings, Duty
from fermd.control.steps import FreeRise, HoldUntil, Ramp, coldest_target_c
from fermd.physics import carbon_dioxide as co2
from fermd.physics.ambient import AmbientTrace
from fermd.physics.beer import freezing_point_c
from fermd.physics.errors import PhysicsError
from fermd.planning.ability import Ability
from fermd.planning.batch import Closure, PlannedBatch
from fermd.planning.chamber import PlannedChamber
from fermd.planning.heat import HeatTrack
from fermd.planning.timeline import Segment, Timeline, target_at

NEAR_FREEZING_C: Final = 0.5
"""Nearer to its freezing point than this, °C, a beer may freeze although its probe says no: it
may be off by so much (DS18B20 data sheet)."""

WORTH_TELLING_L: Final = 0.05
"""Less gas than this drawn in, l, stays in the tube of the lock (common practice, no source)."""

WORTH_TELLING_PA: Final = 2000.0
"""A vacuum that is worth a word, Pa: 20 mbar press on a flat lid of 10 dm² as 20 kg do."""

HIGH_PA: Final = 100_000.0
"""Gauge pressure above which only a vessel that is made for pressure is safe, Pa (common practice,
no source)."""

ROOM_STEP_S: Final = 3600.0
"""How often the room is looked at, s."""


class CautionRule(StrEnum):
    """What a caution is about. The values stand in JSON: never rename one."""

    FREEZES = "freezes"
    NEAR_FREEZING = "near-freezing"
    SITE_FREEZING_POINT = "site-freezing-point"
    FREEZING_POINT_UNKNOWN = "freezing-point-unknown"
    RAMP_TOO_FAST = "ramp-too-fast"
    CANNOT_HOLD = "cannot-hold"
    NO_OUTPUT = "no-output"
    SUCK_BACK = "suck-back"
    VACUUM = "vacuum"
    PRESSURE = "pressure"
    MAY_BE_LATE = "may-be-late"


@dataclass(frozen=True, slots=True)
class Caution:
    """One caution: numbers by name (with their unit in it)."""

    rule: CautionRule
    step: int | None
    """From 0; None for the batch as a whole."""
    numbers: dict[str, float]


def cautions(
    line: Timeline,
    heat: HeatTrack,
    batch: PlannedBatch,
    chamber: PlannedChamber,
    room: AmbientTrace,
) -> tuple[Caution, ...]:
    """Everything that is worth a word of this plan, in the order of its steps."""
    found = [
        *_freezing(line, heat, batch),
        *_site_freezing_point(batch, chamber.settings, line),
        *_following(line, heat, chamber, room),
        *_gas(line, heat, batch),
        *_late(line),
    ]
    return tuple(sorted(found, key=lambda one: -1 if one.step is None else one.step))


def room_span_c(room: AmbientTrace, from_utc_s: float, to_utc_s: float) -> tuple[float, float]:
    """The coldest and the warmest that the room is in a span, °C, looked at every hour."""
    count = max(1, int((to_utc_s - from_utc_s) / ROOM_STEP_S))
    temps_c = [room.temp_c(from_utc_s + n * ROOM_STEP_S) for n in range(count + 1)]
    return min(temps_c), max(temps_c)


def _freezing(line: Timeline, heat: HeatTrack, batch: PlannedBatch) -> Iterator[Caution]:
    told_c = 0.0
    for segment in line.segments:
        coldest_c = coldest_target_c(segment.step)
        # A ramp is at its coldest when it ends, and by then more has fermented.
        at_s = segment.corners[-1].utc_s if isinstance(segment.step, Ramp) else segment.begins_utc_s
        share = heat.share_at(at_s)
        try:
            freezes_c = freezing_point_c(batch.alcohol_w_percent * share, batch.original_p)
        except PhysicsError:
            if coldest_c < 0.0:
                yield Caution(
                    CautionRule.FREEZING_POINT_UNKNOWN, segment.index, {"target_c": coldest_c}
                )
            continue
        numbers = {
            "target_c": coldest_c,
            "freezes_at_c": freezes_c,
            "alcohol_w_percent": batch.alcohol_w_percent * share,
            "original_p": batch.original_p,
        }
        if coldest_c >= freezes_c + NEAR_FREEZING_C or coldest_c >= told_c:
            continue
        told_c = coldest_c
        frozen = coldest_c <= freezes_c
        rule = CautionRule.FREEZES if frozen else CautionRule.NEAR_FREEZING
        yield Caution(rule, segment.index, numbers)


def _site_freezing_point(
    batch: PlannedBatch, settings: ChamberSettings, line: Timeline
) -> Iterator[Caution]:
    """The site's freezing point guards this beer only if it is not colder than the beer's own."""
    if min(coldest_target_c(step) for step in line.profile.steps) > 2.0:
        return
    try:
        freezes_c = batch.freezes_at_c
    except PhysicsError:
        return
    limits = settings.limits
    if limits.freezing_point_c < freezes_c - 0.05:
        yield Caution(
            CautionRule.SITE_FREEZING_POINT,
            None,
            {"freezes_at_c": freezes_c, "site_freezing_point_c": limits.freezing_point_c},
        )


def _following(
    line: Timeline, heat: HeatTrack, chamber: PlannedChamber, room: AmbientTrace
) -> Iterator[Caution]:
    ability = Ability.of(chamber)
    told: set[tuple[CautionRule, bool]] = set()
    for segment in line.segments:
        if isinstance(segment.step, FreeRise):
            continue
        end_s = segment.corners[-1].utc_s
        room_c = room_span_c(room, segment.begins_utc_s, end_s)
        if isinstance(segment.step, Ramp) and segment.step.to_c != segment.entry_c:
            yield from _ramp(segment, segment.step, heat, ability, room_c)
        else:
            for found in _hold(line, segment, heat, ability, room_c):
                # Once is enough: what cannot hold in one step cannot in the next either.
                if (key := (found.rule, bool(found.numbers["cooling"]))) not in told:
                    told.add(key)
                    yield found


def _ramp(
    segment: Segment,
    step: Ramp,
    heat: HeatTrack,
    ability: Ability,
    room_c: tuple[float, float],
) -> Iterator[Caution]:
    """Whether the chamber follows, at the start, half-way and at the end of a ramp."""
    down = step.to_c < segment.entry_c
    duty = Duty.COOL if down else Duty.HEAT
    if duty not in ability.settings.by_duty:
        return  # Said of the profile anyway, whatever the numbers (`profile_cautions`).
    asked = -step.rate_c_per_day if down else step.rate_c_per_day
    worst_room_c = room_c[1] if down else room_c[0]
    rates = []
    for share in (0.0, 0.5, 1.0):
        beer_c = segment.entry_c + share * (step.to_c - segment.entry_c)
        at_s = segment.begins_utc_s + share * segment.lasts_s
        # Yeast helps to warm, but nobody counts on it; it hinders cooling for certain.
        yeast_w = heat.heat_at_w(at_s) if down else 0.0
        rates.append((ability.rate_c_per_day(duty, beer_c, worst_room_c, yeast_w), beer_c, yeast_w))
    slowest, at_c, yeast_w = (max if down else min)(rates)
    # With rests after the longest run it is a little slower still.
    able = slowest * ability.working_share(duty)
    if (able <= asked) if down else (able >= asked):
        return
    yield Caution(
        CautionRule.RAMP_TOO_FAST,
        segment.index,
        {
            "asked_c_per_day": asked,
            "able_c_per_day": able,
            "beer_c": at_c,
            "room_c": worst_room_c,
            "yeast_w": yeast_w,
        },
    )


def _hold(
    line: Timeline,
    segment: Segment,
    heat: HeatTrack,
    ability: Ability,
    room_c: tuple[float, float],
) -> Iterator[Caution]:
    """Whether the chamber holds, in the warmest and the coldest hour of a step."""
    times = [at for at in heat.times_s if segment.begins_utc_s <= at < segment.corners[-1].utc_s]
    peak_s = max(times or [segment.begins_utc_s], key=heat.heat_at_w)
    cool_c = target_at(line.corners, peak_s)[1]
    yeast_w = heat.heat_at_w(peak_s)
    checks = (
        (Duty.COOL, cool_c, room_c[1], yeast_w),
        (Duty.HEAT, max(c.heat_c for c in segment.corners), room_c[0], 0.0),
    )
    for duty, held_c, worst_c, given_w in checks:
        sign = -1.0 if duty is Duty.COOL else 1.0
        alone = ability.rate_c_per_day(None, held_c, worst_c, given_w)
        if sign * alone >= 0.0:
            continue  # Left alone the beer goes the way that this output would push it.
        has = duty in ability.settings.by_duty
        driven = ability.rate_c_per_day(duty, held_c, worst_c, given_w)
        able = alone + (driven - alone) * ability.working_share(duty) if has else alone
        if sign * able >= 0.0:
            continue
        comes_to_c = ability.furthest_c(duty, worst_c, given_w)
        yield Caution(
            CautionRule.CANNOT_HOLD if has else CautionRule.NO_OUTPUT,
            segment.index,
            {
                "target_c": held_c,
                "comes_to_c": comes_to_c,
                "room_c": worst_c,
                "yeast_w": given_w,
                "cooling": float(duty is Duty.COOL),
            },
        )


def _gas(line: Timeline, heat: HeatTrack, batch: PlannedBatch) -> Iterator[Caution]:
    """What gas does on the way down, and what it does in a vessel that is shut."""
    warmest_c, coldest = _fall_after(line, heat.done_utc_s)
    # What a vessel makes while it is shut stays in it: no cold turns that into a vacuum.
    keeps_its_gas = batch.closure is Closure.SEALED and not batch.is_finished
    if coldest is not None and not keeps_its_gas:
        to_c, index = coldest
        yield from _cooling_gas(batch, warmest_c, to_c, index)
    if batch.closure is Closure.SEALED:
        yield from _sealed(line, batch)


def _fall_after(line: Timeline, from_utc_s: float) -> tuple[float, tuple[float, int] | None]:
    """The warmest target from then on, and the coldest one after it with its step."""
    warmest_c = target_at(line.corners, from_utc_s)[1]
    best: tuple[float, float, int] | None = None
    for segment in line.segments:
        for corner in segment.corners:
            if corner.utc_s < from_utc_s:
                continue
            warmest_c = max(warmest_c, corner.cool_c)
            fall_c = warmest_c - corner.cool_c
            if fall_c > 0.0 and (best is None or fall_c > best[0] - best[1] + 1e-9):
                best = (warmest_c, corner.cool_c, segment.index)
    if best is None:
        return warmest_c, None
    return best[0], (best[1], best[2])


def _cooling_gas(batch: PlannedBatch, from_c: float, to_c: float, index: int) -> Iterator[Caution]:
    numbers = {"from_c": from_c, "to_c": to_c, "headspace_l": batch.headspace_l}
    if batch.closure is Closure.AIRLOCK:
        by_gas_law_l = co2.suck_back_l(batch.headspace_l, from_c, to_c)
        henry_c = max(to_c, _COLDEST_HENRY_C)
        supply_l = by_gas_law_l + co2.reabsorbed_l(batch.volume_l, from_c, henry_c)
        at_rest_l = co2.suck_back_at_rest_l(batch.volume_l, batch.headspace_l, from_c, henry_c)
        if by_gas_law_l >= WORTH_TELLING_L:
            yield Caution(
                CautionRule.SUCK_BACK,
                index,
                numbers
                | {
                    "gas_law_l": by_gas_law_l,
                    "dissolves_l": max(0.0, at_rest_l - by_gas_law_l),
                    "supply_l": supply_l,
                },
            )
        return
    # Shut at 1 atm when it was warm: the gas shrinks, and goes into the beer besides.
    drop_pa = co2.sealed_pressure_drop_pa(from_c, to_c)
    held_g = co2.sealed_co2_g(batch.volume_l, batch.headspace_l, from_c, co2.ATMOSPHERE_PA)
    at_rest_pa = co2.sealed_co2_pa(
        batch.volume_l, batch.headspace_l, max(to_c, _COLDEST_HENRY_C), held_g
    )
    if drop_pa >= WORTH_TELLING_PA:
        yield Caution(
            CautionRule.VACUUM,
            index,
            numbers | {"gas_law_pa": drop_pa, "at_rest_pa": co2.ATMOSPHERE_PA - at_rest_pa},
        )


_COLDEST_HENRY_C: Final = -3.0
"""As cold as the solubility's formula is asked for, °C."""


def _sealed(line: Timeline, batch: PlannedBatch) -> Iterator[Caution]:
    warmest = max(
        ((corner.cool_c, segment.index) for segment in line.segments for corner in segment.corners),
        key=lambda one: one[0],
    )
    warmest_c, index = warmest
    start_c = line.start_c
    held_g = co2.sealed_co2_g(batch.volume_l, batch.headspace_l, start_c, co2.ATMOSPHERE_PA)
    if not batch.is_finished:
        # Wort has no gas in it; what is in the headspace at first is air.
        held_g = batch.co2_made_kg * 1e3
    pressure_pa = co2.sealed_co2_pa(batch.volume_l, batch.headspace_l, warmest_c, held_g)
    air_pa = 0.0 if batch.is_finished else co2.ATMOSPHERE_PA
    gauge_pa = pressure_pa + air_pa - co2.ATMOSPHERE_PA
    if gauge_pa >= WORTH_TELLING_PA:
        yield Caution(
            CautionRule.PRESSURE,
            index,
            {
                "gauge_pa": gauge_pa,
                "co2_g": held_g,
                "at_c": warmest_c,
                "made_kg": batch.co2_made_kg,
                "headspace_l": batch.headspace_l,
            },
        )


def _late(line: Timeline) -> Iterator[Caution]:
    """A date that is expected to have passed when its step begins, though it need not have."""
    for segment in line.segments:
        step = segment.step
        if isinstance(step, HoldUntil) and step.until.date is not None and segment.lasts_s <= 0.0:
            yield Caution(
                CautionRule.MAY_BE_LATE, segment.index, {"expected_utc_s": segment.begins_utc_s}
            )
