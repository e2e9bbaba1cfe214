"""What a rehearsal came to, in words."""

from __future__ import annotations

from collections.abc import Callable

from fermd.control.reasons import Rule
from fermd.control.settings import HOUR_S, Duty
from fermd.control.steps import Profile
from fermd.control.wording import Unit, alarm, difference, span, temperature
from fermd.planning.outcome import OutputUse, Rehearsal, Shortfall
from fermd.review.figures import IN_BAND_C

_DUTIES = {Duty.COOL: "cooling", Duty.HEAT: "heating", Duty.FAN: "fan"}

_HELD = {
    Rule.RESTING: "it rested after its longest run",
    Rule.LONGEST_RUN: "it rested after its longest run",
    Rule.AIR_LIMIT: "the air was at its limit",
    Rule.AIR_UNKNOWN: "the air probe was not trusted",
    Rule.FREEZING: "the freezing margin held it off",
    Rule.MINIMUM_OFF: "it was in its minimum off time",
    Rule.START_TO_START: "the time between two starts held it off",
    Rule.STARTS_PER_HOUR: "its starts per hour were used up",
    Rule.POWER_UP: "its past was not known yet (power-up delay)",
    Rule.CHANGEOVER: "the changeover delay held it off",
    Rule.SUPPLY_LIMIT: "its supply circuit was full",
    Rule.NO_EFFECT: "it seemed to have no effect",
    Rule.FAIL_SAFE: "the vessel probe was not trusted",
}
"""What held an output off, as a clause."""

Date = Callable[[float], str]
"""How a time is written."""


def beer_words(seen: Rehearsal, unit: Unit) -> str:
    """How well the beer was held."""
    band, over = difference(IN_BAND_C, unit), difference(seen.over_c, unit, 2)
    under = difference(seen.under_c, unit, 2)
    return (
        f"within {band} of its target for {seen.in_band_share:.1%} of the time; once there, at "
        f"most {over} above and {under} below it"
    )


def coldest_words(seen: Rehearsal, planned_utc_s: float | None, date: Date, unit: Unit) -> str:
    """When the beer came to the coldest target; `planned_utc_s` is when the target did."""
    target = temperature(seen.coldest.target_c, unit)
    at_s = seen.coldest.utc_s
    if at_s is None:
        return f"never comes to {target}"
    words = f"within {difference(IN_BAND_C, unit)} of {target} on {date(at_s)}"
    if planned_utc_s is not None and at_s - planned_utc_s >= HOUR_S:
        words += f", {span(at_s - planned_utc_s)} later than its target"
    return words


def output_words(use: OutputUse, lasted_s: float) -> str:
    """What an output did."""
    if not use.starts:
        return "never on"
    words = (
        f"{use.starts} starts, at most {use.most_starts_in_an_hour} in an hour; "
        f"{use.on_s / 3600:.1f} h on ({use.on_s / lasted_s:.1%})"
    )
    if use.shortest_run_s is not None:
        words += f"; shortest run {span(use.shortest_run_s)}"
    if use.shortest_off_s is not None:
        words += f", shortest off {span(use.shortest_off_s)}"
    return f"{words}; {use.kwh:.2f} kWh"


def output_name(use: OutputUse) -> str:
    """What an output is called."""
    return f"{_DUTIES[use.duty]} ({use.name})"


def energy_words(seen: Rehearsal, tariff: float | None, currency: str) -> str:
    """What it takes, and what that costs at a tariff for a kWh."""
    words = f"{seen.kwh:.2f} kWh"
    if tariff is None:
        return words
    money = f" {currency}" if currency else ""
    return f"{words}, {seen.kwh * tariff:.2f}{money} at {tariff:g}{money} a kWh"


def shortfall_words(short: Shortfall, profile: Profile, date: Date, unit: Unit) -> str:
    """A time in which the chamber did not keep up."""
    step = profile.steps[short.step]
    name = f" ({step.name})" if step.name else ""
    side = "warm" if short.duty is Duty.COOL else "cold"
    words = (
        f"{date(short.begins_utc_s)}, step {short.step + 1}{name}: for {span(short.lasted_s)} up "
        f"to {difference(short.worst_c, unit)} too {side}"
    )
    if short.on_the_way:
        words += ", on the way to a new target"
    output = _DUTIES[short.duty]
    if short.ran_share == 0.0 and short.held_by is None:
        return f"{words}; {output} was never on"
    words += f"; {output} was on for {short.ran_share:.0%} of it"
    if short.held_by is not None:
        words += f", else {_HELD.get(short.held_by, short.held_by.value)}"
    return words


def alarm_words(seen: Rehearsal, date: Date) -> list[str]:
    """The alarms that would have been raised."""
    return [f"{date(one.utc_s)}: {alarm(one.kind, one.subject)}" for one in seen.alarms]
