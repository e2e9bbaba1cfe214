"""Cautions in words: the one place that makes sentences of them."""

from __future__ import annotations

from typing import Final

from fermd.control.steps import Profile
from fermd.control.wording import Unit, difference, temperature
from fermd.planning.cautions import HIGH_PA, Caution, CautionRule

_BAR_PA: Final = 1e5


def caution_words(found: Caution, profile: Profile, unit: Unit = Unit.CELSIUS) -> str:
    """Say a caution in a sentence or three, with its step in front."""
    words = _WORDS[found.rule](found.numbers, unit)
    if found.step is None:
        return words
    step = profile.steps[found.step]
    named = f" ({step.name})" if step.name else ""
    return f"step {found.step + 1}{named}: {words}"


def _freezes(n: dict[str, float], unit: Unit) -> str:
    return (
        f"{temperature(n['target_c'], unit)} is below {temperature(n['freezes_at_c'], unit)}, "
        f"where this beer freezes ({n['alcohol_w_percent']:.1f} % alcohol by weight by then, "
        f"{n['original_p']:.1f} °P)."
    )


def _near_freezing(n: dict[str, float], unit: Unit) -> str:
    away = difference(n["target_c"] - n["freezes_at_c"], unit)
    return (
        f"{temperature(n['target_c'], unit)} is only {away} above "
        f"{temperature(n['freezes_at_c'], unit)}, where this beer freezes "
        f"({n['alcohol_w_percent']:.1f} % alcohol by weight by then, {n['original_p']:.1f} °P); "
        f"a probe may be off by {difference(0.5, unit)}. Calibrate it in ice water."
    )


def _site_freezing_point(n: dict[str, float], unit: Unit) -> str:
    return (
        f"this beer freezes at {temperature(n['freezes_at_c'], unit)}, the site file has "
        f"{temperature(n['site_freezing_point_c'], unit)}: set limits.freezing_point_c of the "
        f"chamber to {n['freezes_at_c']:.1f}, so that the margin is this beer's."
    )


def _freezing_point_unknown(n: dict[str, float], unit: Unit) -> str:
    return (
        f"{temperature(n['target_c'], unit)} is below the freezing point of water, and no formula "
        "holds for so strong a beer."
    )


def _ramp_too_fast(n: dict[str, float], unit: Unit) -> str:
    asked, able = n["asked_c_per_day"], n["able_c_per_day"]
    asked_words = difference(abs(asked), unit)
    yeast = f" and the yeast at {n['yeast_w']:.0f} W" if n["yeast_w"] >= 0.5 else ""
    where = (
        f"at {temperature(n['beer_c'], unit)} in a room of {temperature(n['room_c'], unit)}{yeast}"
    )
    if able * asked <= 0.0:
        return f"asks for {asked_words} a day; {where} the chamber makes no way at all."
    return (
        f"asks for {asked_words} a day; {where} the chamber manages {difference(abs(able), unit)} "
        "a day. The target runs ahead of the beer."
    )


def _cannot_hold(n: dict[str, float], unit: Unit) -> str:
    way = "colder" if n["cooling"] else "warmer"
    yeast = f" with the yeast at {n['yeast_w']:.0f} W" if n["yeast_w"] >= 0.5 else ""
    return (
        f"in a room of {temperature(n['room_c'], unit)}{yeast} the chamber cannot hold "
        f"{temperature(n['target_c'], unit)}: running all the time it gets no {way} than "
        f"{temperature(n['comes_to_c'], unit)}, and it has to rest after its longest run."
    )


def _no_output(n: dict[str, float], unit: Unit) -> str:
    what = "cooling" if n["cooling"] else "heater"
    return (
        f"the chamber has no {what}: in a room of {temperature(n['room_c'], unit)} the beer goes "
        f"from {temperature(n['target_c'], unit)} towards {temperature(n['comes_to_c'], unit)}."
    )


def _suck_back(n: dict[str, float], unit: Unit) -> str:
    return (
        f"from {temperature(n['from_c'], unit)} to {temperature(n['to_c'], unit)} the headspace of "
        f"{n['headspace_l']:.1f} l draws in {n['gas_law_l']:.2f} l of air through the airlock (gas "
        f"law), and up to {n['dissolves_l']:.1f} l more as carbon dioxide goes into the beer over "
        f"days. Give it carbon dioxide (up to {n['supply_l']:.1f} l keep the air out), or at least "
        "take the liquid out of the lock."
    )


def _vacuum(n: dict[str, float], unit: Unit) -> str:
    return (
        f"shut without pressure at {temperature(n['from_c'], unit)}, the vessel comes under a "
        f"vacuum of {n['gas_law_pa'] / 100:.0f} mbar at {temperature(n['to_c'], unit)} (gas law), "
        f"and of up to {n['at_rest_pa'] / 100:.0f} mbar as carbon dioxide goes into the beer. "
        "Glass bears none: let gas in."
    )


def _pressure(n: dict[str, float], unit: Unit) -> str:
    bar = n["gauge_pa"] / _BAR_PA
    shown = f"{bar:.1f} bar" if bar < 10 else "more than 10 bar"
    why = (
        f"{n['made_kg']:.2f} kg of carbon dioxide that this fermentation makes"
        if n["made_kg"]
        else f"{n['co2_g']:.0f} g of carbon dioxide that the beer held when it was shut"
    )
    danger = (
        " Only a vessel that is made for pressure bears that." if n["gauge_pa"] >= HIGH_PA else ""
    )
    return (
        f"shut tight, the vessel comes to {shown} of gauge pressure at "
        f"{temperature(n['at_c'], unit)}, from the {why}.{danger} It needs a relief valve that is "
        "rated for it."
    )


def _may_be_late(n: dict[str, float], unit: Unit) -> str:  # noqa: ARG001 - all take the same
    return (
        "its date is expected to have passed when the steps before it are over; it is then over "
        "at once."
    )


_WORDS = {
    CautionRule.FREEZES: _freezes,
    CautionRule.NEAR_FREEZING: _near_freezing,
    CautionRule.SITE_FREEZING_POINT: _site_freezing_point,
    CautionRule.FREEZING_POINT_UNKNOWN: _freezing_point_unknown,
    CautionRule.RAMP_TOO_FAST: _ramp_too_fast,
    CautionRule.CANNOT_HOLD: _cannot_hold,
    CautionRule.NO_OUTPUT: _no_output,
    CautionRule.SUCK_BACK: _suck_back,
    CautionRule.VACUUM: _vacuum,
    CautionRule.PRESSURE: _pressure,
    CautionRule.MAY_BE_LATE: _may_be_late,
}
