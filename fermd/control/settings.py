"""Every number that a brewer can set, with its meaning, unit, allowed range and default.

A default has its one home here, with the reason for it; the site file, its checks, its JSON
Schema and the docs all come from these types. Ranges are `annotated_types`, so that whoever
reads a file can check them; `crossed()` says what is wrong between numbers that are each fine.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum
from typing import Annotated

from annotated_types import Ge, Gt, Le, Lt, MinLen

from fermd.control.calendar import Calendar

HOUR_S = 3600.0
DAY_S = 86400.0


class Duty(StrEnum):
    """What an output does to the chamber."""

    HEAT = "heat"
    COOL = "cool"
    FAN = "fan"


class OutputKind(StrEnum):
    """What is wired to an output; decides which protections apply by default."""

    COMPRESSOR = "compressor"
    HEATER = "heater"
    VALVE = "valve"
    FAN = "fan"


@dataclass(frozen=True, slots=True)
class BandSettings:
    """When a call begins and ends, either side of the target."""

    band_c: Annotated[float, Gt(0), Le(5)] = 0.2
    """Nothing is called for closer to the target than this, °C. Three steps of a 12-bit probe
    (3 × 0.0625 °C): wider than its noise, and narrower than a yeast cares about. Half of it is half
    the swing, and twice as many starts."""

    differential_c: Annotated[float, Gt(0), Le(10)] = 0.4
    """How far back past the band's edge a call ends, °C. Twice the band lets the beer swing evenly
    about its target. Where the coasting cannot be foreseen (`foresight`) a call ends at the target
    at the latest, and what the beer coasts comes on top."""

    changeover_band_c: Annotated[float, Gt(0), Le(5)] = 0.5
    """While the other side was the last to run, the band is this wide if it is not wider, °C. Wider
    than what a fridge or a heater still gives after its call (0.3 °C for 20 l in a 150 l fridge, by
    the chamber model), so that neither makes up for the other's coasting."""

    @property
    def after_the_other_c(self) -> float:
        """The band while the other side was the last to run, °C."""
        return max(self.band_c, self.changeover_band_c)


@dataclass(frozen=True, slots=True)
class HeatBandSettings(BandSettings):
    """When a call for heat begins and ends."""


@dataclass(frozen=True, slots=True)
class CoolBandSettings(BandSettings):
    """When a call for cooling begins and ends."""


@dataclass(frozen=True, slots=True)
class ProtectionSettings:
    """What one output needs to be protected from.

    A zero switches a protection off; a compressor may not do without the first three.
    """

    minimum_off_s: Annotated[float, Ge(0), Le(3600)] = 0.0
    """After a stop the output stays off for at least this long, s."""

    minimum_run_s: Annotated[float, Ge(0), Le(3600)] = 0.0
    """Once started it runs for at least this long, s, unless safety wants it off."""

    starts_per_hour: Annotated[int, Ge(0), Le(60)] = 0
    """No more starts than this in any hour; 0 for no limit."""

    power_up_delay_s: Annotated[float, Ge(0), Le(3600)] = 0.0
    """Stays off for at least this long after a start with unknown history, s. The starts per hour
    that may have been used up by then can hold it off for longer."""

    longest_run_s: Annotated[float, Gt(0), Le(7 * DAY_S)] = 12 * HOUR_S
    """Runs no longer than this without a rest, s; then it is switched off with an alarm."""

    rest_s: Annotated[float, Ge(60), Le(DAY_S)] = 900.0
    """How long it rests after its longest run, or after it was found to have no effect, s. Never
    without a rest: an output that has no effect would go straight on, and raise no alarm."""


PROTECTION_BY_KIND: dict[OutputKind, ProtectionSettings] = {
    # Off 300 s: above the 180 s that Danfoss FRCC.PC.007 recommends between a stop and a start,
    # and Carrier 50FC sec. 12.1 requires; capillary systems of domestic fridges equalise more
    # slowly. Run 180 s: above the 120 s of the same two. 6 starts an hour: half of Danfoss's 12.
    # Longest run 8 h, rest 30 min: common practice against an iced evaporator, no source.
    OutputKind.COMPRESSOR: ProtectionSettings(
        minimum_off_s=300.0,
        minimum_run_s=180.0,
        starts_per_hour=6,
        power_up_delay_s=300.0,
        longest_run_s=8 * HOUR_S,
        rest_s=1800.0,
    ),
    # A relay lives for about 10^5 switchings under load (common practice, no source): the short
    # times keep a chattering call from using them up in a month.
    OutputKind.HEATER: ProtectionSettings(
        minimum_off_s=30.0, minimum_run_s=30.0, longest_run_s=12 * HOUR_S, rest_s=900.0
    ),
    OutputKind.VALVE: ProtectionSettings(
        minimum_off_s=30.0, minimum_run_s=30.0, longest_run_s=24 * HOUR_S, rest_s=300.0
    ),
    OutputKind.FAN: ProtectionSettings(longest_run_s=7 * DAY_S, rest_s=60.0),
}

SHORTEST_COMPRESSOR_OFF_S = 180.0
"""The shortest minimum off time that is accepted for a compressor (Danfoss FRCC.PC.007)."""

SHORTEST_COMPRESSOR_RUN_S = 120.0
"""The shortest minimum run time that is accepted for a compressor (Danfoss FRCC.PC.007)."""

MOST_COMPRESSOR_STARTS_PER_HOUR = 12
"""The most starts per hour that are accepted for a compressor (Danfoss FRCC.PC.007)."""


@dataclass(frozen=True, slots=True)
class EffectSettings:
    """What counts as an output that has no effect."""

    within_s: Annotated[float, Ge(300), Le(DAY_S)] = 2 * HOUR_S
    """How long an output may run before its effect must show, s. A vessel of 20 l warms by about
    1 °C in an hour at 30 W without losses (20 kg × 4.18 kJ/(kg K) / 30 W = 46 min a degree), and
    by nothing where the heater only just carries the leak: hence long, and judged by a move in
    the wrong direction."""

    wrong_way_c: Annotated[float, Gt(0), Le(10)] = 0.5
    """Moved this far against the output since it started, °C: it has no effect."""


@dataclass(frozen=True, slots=True)
class OutputSettings:
    """One relay and what hangs on it."""

    name: Annotated[str, MinLen(1)]
    line: Annotated[str, MinLen(1)]
    """The electrical line it is on. History belongs to the line, not to the name, so that a
    renamed output cannot forget when its compressor stopped."""
    duty: Duty
    kind: OutputKind
    protection: ProtectionSettings
    effect: EffectSettings = EffectSettings()
    circuit: str | None = None
    """The supply circuit that feeds it."""
    rated_a: Annotated[float, Ge(0), Le(100)] = 0.0
    """Rated current of the load, A (name plate)."""
    run_on_s: Annotated[float, Ge(0), Le(HOUR_S)] = 0.0
    """For a fan: goes on this long after heating or cooling has ended, s."""


class ProbeRole(StrEnum):
    """What depends on a probe."""

    CONTROLLING = "controlling"
    LIMITING = "limiting"
    WATCHING = "watching"


@dataclass(frozen=True, slots=True)
class ProbeSettings:
    """One probe: what it measures and when it is believed."""

    name: Annotated[str, MinLen(1)]
    role: ProbeRole = ProbeRole.WATCHING
    offset_c: Annotated[float, Ge(-5), Le(5)] = 0.0
    """Added to every reading, °C; found in ice water (0 °C). More than 5 °C is a broken probe."""
    lowest_c: Annotated[float, Ge(-55), Le(125)] = -30.0
    highest_c: Annotated[float, Ge(-55), Le(125)] = 60.0
    """Readings outside are faults, °C. A DS18B20 itself spans -55 to +125 °C (data sheet)."""
    jump_c: Annotated[float, Gt(0), Le(50)] = 3.0
    """A reading may differ from the last good one by this, °C, plus `jump_c_per_min` for the time
    between them. Beer in a vessel cannot do it; an air probe in an opened fridge hardly."""
    jump_c_per_min: Annotated[float, Gt(0), Le(60)] = 6.0
    stale_s: Annotated[float, Ge(10), Le(1800)] = 120.0
    """No good reading for this long, s, and the probe is no longer trusted."""
    bad_run: Annotated[int, Ge(1), Le(100)] = 5
    """So many bad samples in a row, and the probe is no longer trusted."""
    good_run: Annotated[int, Ge(1), Le(100)] = 3
    """So many good samples in a row, and it is trusted (again)."""
    frozen_s: Annotated[float, Ge(0), Le(30 * DAY_S)] = 24 * HOUR_S
    """The very same value for this long, s, is a fault; 0 switches the check off. The noise of a
    12-bit probe toggles its last bit within hours even in still beer (common practice, no
    source)."""
    median_of: Annotated[int, Ge(1), Le(15)] = 3
    """The reading is the median of so many good samples. A median of n lags a ramp by (n-1)/2
    sample periods: 10 s for three samples 10 s apart, and a single spike never passes."""


@dataclass(frozen=True, slots=True)
class LimitSettings:
    """What must not be exceeded whatever is called for."""

    air_lowest_c: Annotated[float, Ge(-30), Le(40)] = -5.0
    """No cooling while the chamber's air is colder than this, °C."""
    air_highest_c: Annotated[float, Ge(-10), Le(60)] = 40.0
    """No heating while the chamber's air is warmer than this, °C."""
    air_differential_c: Annotated[float, Gt(0), Le(10)] = 1.0
    """How far the air must come back from a limit before the output may start again, °C."""
    freezing_point_c: Annotated[float, Ge(-15), Le(0)] = -2.2
    """Freezing point of this beer, °C. -(0.42 A + 0.04 E + 0.2) with A alcohol % by weight and E
    original extract °P (brewing texts, from memory) gives -2.36 for A 4, E 12; a little warmer
    is the safe side."""
    freezing_margin_c: Annotated[float, Ge(0.2), Le(10)] = 0.7
    """The beer is not cooled below its freezing point plus this, °C: the probe's ±0.5 °C
    (DS18B20 data sheet) and the cold that a fridge still gives after it is switched off."""
    carry_on_without_air: bool = False
    """When the air probe is lost: false holds heat and cooling off until it is back; true goes on
    by the vessel probe alone, with an alarm."""

    @property
    def coldest_beer_c(self) -> float:
        """The coldest that the beer is ever cooled to, and the lowest allowed target, °C."""
        return self.freezing_point_c + self.freezing_margin_c


@dataclass(frozen=True, slots=True)
class ForesightSettings:
    """Whether calls begin and end early by what the chamber was seen to do after earlier ones."""

    foresee: bool = True
    """true: how far the beer goes on by itself after a switching is learned and allowed for; false:
    the plain bands decide."""
    first_share: Annotated[float, Ge(0), Le(0.3)] = 0.06
    """What is taken before a run has been seen: °C of coasting for each °C that the air is away
    from the beer. 0.06 is 20 l of beer in a chest freezer, twice what they coast in a
    fridge, by the chamber model: a first run that ends early is made up for by a second."""
    most_c: Annotated[float, Ge(0), Le(3)] = 1.0
    """No more than this is ever allowed for, °C: three times what 20 l coast in a 150 l fridge."""
    largest_error_c: Annotated[float, Gt(0), Le(3)] = 0.3
    """While what was foreseen has been wrong by more than this in the mean, °C, and by more than
    half of it, the plain bands decide: one and a half bands."""


@dataclass(frozen=True, slots=True)
class FailSafeSettings:
    """What the outputs do while no trustworthy reading of the vessel is to be had."""

    duty: Duty | None = None
    """None: everything off. Else this output runs for `run_s` out of every `every_s`, blind."""
    run_s: Annotated[float, Ge(60), Le(12 * HOUR_S)] = 600.0
    every_s: Annotated[float, Ge(600), Le(DAY_S)] = HOUR_S


@dataclass(frozen=True, slots=True)
class AttentionSettings:
    """When a deviation of the beer is worth a person's attention."""

    off_target_c: Annotated[float, Gt(0), Le(20)] = 2.0
    """The beer is further than this from its target, °C, ..."""
    off_target_for_s: Annotated[float, Ge(60), Le(7 * DAY_S)] = 4 * HOUR_S
    """... for this long without coming nearer, s."""


@dataclass(frozen=True, slots=True)
class ChamberSettings:
    """One chamber: its probes, its outputs and the numbers it is run by."""

    name: Annotated[str, MinLen(1)]
    vessel_probe: ProbeSettings
    air_probe: ProbeSettings | None = None
    watching_probes: tuple[ProbeSettings, ...] = ()
    outputs: tuple[OutputSettings, ...] = ()
    heat: HeatBandSettings = HeatBandSettings()
    cool: CoolBandSettings = CoolBandSettings()
    changeover_s: Annotated[float, Ge(0), Le(DAY_S)] = 600.0
    """From the end of heating to the start of cooling and the other way round, s: longer than a
    heater's or an evaporator's stored heat takes to reach the air."""
    limits: LimitSettings = LimitSettings()
    foresight: ForesightSettings = ForesightSettings()
    fail_safe: FailSafeSettings = FailSafeSettings()
    attention: AttentionSettings = AttentionSettings()
    calendar: Calendar | None = field(default=None, compare=False, repr=False)
    """Turns the calendar times of profiles into instants; without one such steps wait for ever."""
    by_duty: dict[Duty, OutputSettings] = field(init=False, compare=False, repr=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "by_duty", {output.duty: output for output in self.outputs})

    @property
    def probes(self) -> tuple[ProbeSettings, ...]:
        """All probes of the chamber, the controlling one first."""
        air = (self.air_probe,) if self.air_probe is not None else ()
        return (self.vessel_probe, *air, *self.watching_probes)


@dataclass(frozen=True, slots=True)
class CircuitSettings:
    """One supply circuit that several outputs hang on."""

    name: Annotated[str, MinLen(1)]
    limit_a: Annotated[float, Gt(0), Lt(1000)]
    """The rated currents of what is on at one time never add up to more than this, A."""


@dataclass(frozen=True, slots=True)
class SiteSettings:
    """All chambers of one board and the supply that they share."""

    chambers: tuple[ChamberSettings, ...]
    circuits: tuple[CircuitSettings, ...] = ()


@dataclass(frozen=True, slots=True)
class Objection:
    """Something wrong between numbers that are each within their range."""

    key: str
    """Dotted path below the object that was checked."""
    value: object
    why: str
    """What is allowed and what to do."""


def crossed(chamber: ChamberSettings) -> list[Objection]:
    """All contradictions between a chamber's settings; an empty list if there are none."""
    found = _crossed_bands(chamber) + _crossed_limits(chamber)
    for output in chamber.outputs:
        found += _crossed_protection(output)
    for probe in chamber.probes:
        if probe.lowest_c >= probe.highest_c:
            found.append(
                Objection(
                    f"probe.{probe.name}.lowest_c",
                    probe.lowest_c,
                    f"must be below highest_c, which is {probe.highest_c:g} °C",
                )
            )
    return found


def _crossed_bands(chamber: ChamberSettings) -> list[Objection]:
    found = []
    for side, band, other in (
        ("heat", chamber.heat, chamber.cool),
        ("cool", chamber.cool, chamber.heat),
    ):
        room_c = band.band_c + other.after_the_other_c
        if band.differential_c >= room_c:
            why = (
                f"must be below {room_c:g} °C, which is {side}.band_c + the changeover_band_c of "
                "the other side: a call that ends beyond the other side's band makes heating and "
                "cooling fight each other"
            )
            found.append(Objection(f"{side}.differential_c", band.differential_c, why))
    return found


def _crossed_limits(chamber: ChamberSettings) -> list[Objection]:
    limits, fail_safe, found = chamber.limits, chamber.fail_safe, []
    if limits.air_lowest_c + 2 * limits.air_differential_c >= limits.air_highest_c:
        found.append(
            Objection(
                "limits.air_lowest_c",
                limits.air_lowest_c,
                "must be below air_highest_c by more than twice air_differential_c "
                f"(air_highest_c is {limits.air_highest_c:g} °C)",
            )
        )
    if fail_safe.duty is not None and fail_safe.run_s >= fail_safe.every_s:
        found.append(
            Objection(
                "fail_safe.run_s",
                fail_safe.run_s,
                f"must be below every_s, which is {fail_safe.every_s:g} s",
            )
        )
    runs = chamber.by_duty.get(fail_safe.duty) if fail_safe.duty is not None else None
    if runs is not None and fail_safe.run_s < runs.protection.minimum_run_s:
        found.append(
            Objection(
                "fail_safe.run_s",
                fail_safe.run_s,
                f"must be at least the minimum run time of {runs.name}, which is "
                f"{runs.protection.minimum_run_s:g} s: it would run longer than is said here",
            )
        )
    if fail_safe.duty is not None and fail_safe.duty not in chamber.by_duty:
        found.append(
            Objection(
                "fail_safe.duty",
                fail_safe.duty.value,
                "the chamber has no such output; leave the key out to keep everything off",
            )
        )
    return found


def _crossed_protection(output: OutputSettings) -> list[Objection]:
    protection, found = output.protection, []
    key = f"output.{output.name}.protection."
    if protection.minimum_run_s >= protection.longest_run_s:
        found.append(
            Objection(
                key + "minimum_run_s",
                protection.minimum_run_s,
                f"must be below longest_run_s, which is {protection.longest_run_s:g} s",
            )
        )
    if output.kind is OutputKind.COMPRESSOR:
        found += _too_weak_for_a_compressor(protection, key)
    return found


def _too_weak_for_a_compressor(protection: ProtectionSettings, key: str) -> list[Objection]:
    found = []
    if protection.minimum_off_s < SHORTEST_COMPRESSOR_OFF_S:
        found.append(
            Objection(
                key + "minimum_off_s",
                protection.minimum_off_s,
                f"must be at least {SHORTEST_COMPRESSOR_OFF_S:g} s for a compressor; "
                "300 to 600 s suits a domestic fridge",
            )
        )
    if protection.minimum_run_s < SHORTEST_COMPRESSOR_RUN_S:
        found.append(
            Objection(
                key + "minimum_run_s",
                protection.minimum_run_s,
                f"must be at least {SHORTEST_COMPRESSOR_RUN_S:g} s for a compressor, "
                "so that its oil comes back",
            )
        )
    if not 1 <= protection.starts_per_hour <= MOST_COMPRESSOR_STARTS_PER_HOUR:
        found.append(
            Objection(
                key + "starts_per_hour",
                protection.starts_per_hour,
                f"must be 1 to {MOST_COMPRESSOR_STARTS_PER_HOUR} for a compressor; 6 is usual",
            )
        )
    return found
