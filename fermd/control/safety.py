"""What must be off at once, whatever is called for.

Each rule looks at one output and returns the reason why it may not be on, or None. A limit that
has taken an output off keeps it off until the temperature has come back by a differential.
"""

from __future__ import annotations

from fermd.control.bands import Call, Called
from fermd.control.reading import Reading, Trusted, Untrusted, just_started
from fermd.control.reasons import Reason, Rule
from fermd.control.settings import ChamberSettings, Duty, FailSafeSettings, LimitSettings

FREEZING_DIFFERENTIAL_C = 0.2
"""How far the beer must come back from its coldest allowed temperature before cooling may start
again, °C: three steps of a 12-bit probe."""

DRIVING_DIFFERENCE_C = 1.0
"""Air colder (or warmer) than the beer by this, °C, shows that an output has an effect: twice the
±0.5 °C that two uncalibrated probes may be apart (DS18B20 data sheet)."""


def against(
    settings: ChamberSettings,
    duty: Duty,
    on: bool,
    vessel_c: float | None,
    air: Reading | None,
) -> tuple[Reason, ...]:
    """All reasons why this output must be off now; empty if it may be on."""
    if duty is Duty.FAN:
        return ()
    found = [
        _fail_safe(settings.fail_safe, duty, vessel_c),
        _air_unknown(settings.limits, air),
        _air_limit(settings.limits, duty, on, air),
        _freezing(settings.limits, duty, on, vessel_c),
    ]
    return tuple([reason for reason in found if reason is not None])


def fail_safe_call(settings: FailSafeSettings, vessel: Reading, mono_s: float) -> Called | None:
    """What is called for without a trustworthy reading, if the brewer chose anything but off."""
    if settings.duty is None or not isinstance(vessel, Untrusted):
        return None
    if just_started(vessel, mono_s):
        # Else every restart would begin with a blind run.
        return None
    into_cycle_s = (mono_s - vessel.since_mono_s) % settings.every_s
    until_s = mono_s - into_cycle_s + settings.run_s
    if into_cycle_s >= settings.run_s:
        until_s = mono_s - into_cycle_s + settings.every_s
        return Called(Call.IDLE, Reason(Rule.FAIL_SAFE_CYCLE, until_mono_s=until_s))
    call = Call.COOL if settings.duty is Duty.COOL else Call.HEAT
    return Called(call, Reason(Rule.FAIL_SAFE_CYCLE, until_mono_s=until_s))


def drives(duty: Duty, vessel_c: float | None, air_c: float | None) -> bool:
    """Whether the air is so far from the beer that the output plainly has an effect."""
    if vessel_c is None or air_c is None:
        return False
    sign = 1.0 if duty is Duty.HEAT else -1.0
    return sign * (air_c - vessel_c) >= DRIVING_DIFFERENCE_C


def _fail_safe(settings: FailSafeSettings, duty: Duty, vessel_c: float | None) -> Reason | None:
    if vessel_c is not None or settings.duty is duty:
        return None
    return Reason(Rule.FAIL_SAFE)


def _air_unknown(limits: LimitSettings, air: Reading | None) -> Reason | None:
    if not isinstance(air, Untrusted) or limits.carry_on_without_air:
        return None
    return Reason(Rule.AIR_UNKNOWN)


def _air_limit(limits: LimitSettings, duty: Duty, on: bool, air: Reading | None) -> Reason | None:
    if not isinstance(air, Trusted):
        return None
    differential_c = 0.0 if on else limits.air_differential_c
    if duty is Duty.COOL and air.temp_c <= limits.air_lowest_c + differential_c:
        return Reason(Rule.AIR_LIMIT, air.temp_c, limits.air_lowest_c)
    if duty is Duty.HEAT and air.temp_c >= limits.air_highest_c - differential_c:
        return Reason(Rule.AIR_LIMIT, air.temp_c, limits.air_highest_c)
    return None


def _freezing(limits: LimitSettings, duty: Duty, on: bool, vessel_c: float | None) -> Reason | None:
    if duty is not Duty.COOL or vessel_c is None:
        return None
    differential_c = 0.0 if on else FREEZING_DIFFERENTIAL_C
    if vessel_c <= limits.coldest_beer_c + differential_c:
        return Reason(Rule.FREEZING, vessel_c, limits.coldest_beer_c)
    return None
