"""Whether a chamber is big enough: a balance that can be done again by hand, and that is true."""

from __future__ import annotations

from dataclasses import replace

import pytest
from plans import MARCH_S, WATER, fridge, line_of, plan, shipped

from fermd.control.settings import (
    DAY_S,
    PROTECTION_BY_KIND,
    Duty,
    OutputKind,
    OutputSettings,
)
from fermd.control.steps import FinalHold, Hold, Profile, Ramp
from fermd.physics.ambient import ConstantAmbient, DayNightAmbient
from fermd.planning.ability import Ability
from fermd.planning.batch import PlannedBatch, YeastKind
from fermd.planning.chamber import planned_chamber
from fermd.planning.heat import STEP_S, heat_along
from fermd.planning.rehearsal import Plan, rehearse
from fermd.planning.sizing import TIGHT, Case, size


def sized(one: Plan) -> tuple[Case, ...]:
    line = line_of(one)
    return size(line, heat_along(line, one.batch.fermentation()), one.chamber, one.room)


def the(duty: Duty, words: str, one: Plan) -> Case:
    (case,) = [case for case in sized(one) if case.duty is duty and words in case.what]
    return case


COLD = Profile("cold", (Hold(20.0, DAY_S), Ramp(2.0, 6.0), FinalHold(2.0)))


def test_the_working_shown_comes_to_the_watts_that_are_shown() -> None:
    """The plain lines by hand, from the numbers that stand in them."""
    case = the(Duty.COOL, "in the ramp", plan(COLD, batch=WATER, room=25.0))
    leak, pull = case.terms
    # (foam 1.04 + gasket 0.12 W/K) × 15.5 K
    w_per_k = sum(float(part) for part in ("1.04", "0.12"))
    kelvin = float(leak.working.split("×")[1].split("K")[0])
    assert leak.watts == pytest.approx(w_per_k * kelvin, rel=0.01)
    # (beer 83.1 + vessel and cabinet 3.9 kJ/K) × 6 °C / 86400 s
    assert "× 6 °C / 86400 s" in pull.working
    assert pull.watts == pytest.approx((83.1 + 3.9) * 1e3 * 6.0 / 86400.0, rel=0.01)
    assert case.needed_w == pytest.approx(leak.watts + pull.watts)
    assert case.load == pytest.approx(case.needed_w / case.has.watts)


def test_20_litres_of_12_plato_at_12_degrees_peak_at_a_few_watts() -> None:
    """Published kinetics, isothermal at 12 °C, give 3.1 W (slow) and 5.3 W (quick).

    Gee & Ramirez, J. Inst. Brew. 100, 321-329, 1994; de Andrés-Toro et al., Math. Comput. Simul.
    48, 65-74, 1998 (its parameters from memory), with 587 kJ/kg.
    """
    ten_days = plan(Profile("hold", (Hold(12.0, 10 * DAY_S), FinalHold(12.0))))
    model = ten_days.batch.fermentation()
    assert model is not None
    track = heat_along(line_of(ten_days), model)
    assert track.times_s[0] == MARCH_S
    assert 2.5 < track.heat_w[track.peak] < 6.0
    whole_j = sum(watts * STEP_S for watts in track.heat_w)
    assert whole_j == pytest.approx(model.total_heat_j * track.share[-1], rel=0.02)


@pytest.mark.parametrize(
    ("room_c", "cooler_w"), [(20.0, 100.0), (25.0, 60.0), (38.0, 100.0), (30.0, 60.0)]
)
def test_a_fridge_runs_no_more_than_its_load_and_nearly_so_much_when_that_is_high(
    room_c: float, cooler_w: float
) -> None:
    profile = Profile("hold", (Hold(2.0, 4 * DAY_S), FinalHold(2.0)))
    one = plan(profile, batch=WATER, room=room_c, cooler_w=cooler_w)
    case = the(Duty.COOL, "holding", one)
    seen = rehearse(one)
    (use,) = [use for use in seen.outputs if use.duty is Duty.COOL]
    at_most = case.load * Ability.of(one.chamber).working_share(Duty.COOL)
    ran = use.on_s / seen.lasted_s
    assert ran < at_most
    assert ran > at_most * (0.85 if case.is_tight else 0.65)


def test_a_fridge_whose_load_is_above_one_does_not_hold_in_the_rehearsal() -> None:
    profile = Profile("hold", (Hold(2.0, 4 * DAY_S), FinalHold(2.0)))
    one = plan(profile, batch=WATER, room=35.0, cooler_w=60.0)
    assert the(Duty.COOL, "holding", one).load > 1.0
    assert rehearse(one).in_band_share < 0.1


def test_a_heater_runs_as_long_as_its_load_says() -> None:
    profile = Profile("hold", (Hold(18.0, 4 * DAY_S), FinalHold(18.0)))
    one = plan(profile, batch=WATER, room=5.0)
    case = the(Duty.HEAT, "holding", one)
    seen = rehearse(one)
    (use,) = [use for use in seen.outputs if use.duty is Duty.HEAT]
    share = case.load * Ability.of(one.chamber).working_share(Duty.HEAT)
    assert use.on_s / seen.lasted_s == pytest.approx(share, rel=0.1)


def test_a_stronger_batch_in_a_hotter_room_needs_more() -> None:
    lager = shipped("lager-diacetyl-rest")
    usual = the(Duty.COOL, "at the peak", plan(lager, room=20.0))
    strong = the(
        Duty.COOL, "at the peak", plan(lager, batch=PlannedBatch(original_p=18.0, final_p=4.0))
    )
    hot = the(Duty.COOL, "at the peak", plan(lager, room=30.0))
    assert strong.terms[1].watts > 1.3 * usual.terms[1].watts
    assert hot.needed_w > usual.needed_w
    assert hot.load > usual.load


def test_the_coldest_and_the_warmest_hour_of_the_room_count() -> None:
    one = plan(shipped("ale-free-rise"), room=DayNightAmbient(18.0, 6.0))
    cases = sized(one)
    assert {round(case.room_c) for case in cases if case.duty is Duty.COOL} == {24}
    assert {round(case.room_c) for case in cases if case.duty is Duty.HEAT} == {12}


def test_above_four_fifths_it_is_tight_and_above_one_it_is_too_small() -> None:
    loads = [
        the(Duty.COOL, "holding", plan(COLD, batch=WATER, room=room_c)).load
        for room_c in (10.0, 20.0, 30.0, 40.0)
    ]
    assert loads == sorted(loads)
    weak = the(Duty.COOL, "holding", plan(COLD, batch=WATER, room=38.0, cooler_w=40.0))
    assert weak.load > 1.0
    assert weak.is_tight
    assert not the(Duty.COOL, "holding", plan(COLD, batch=WATER, room=10.0)).is_tight
    assert TIGHT == 0.8


def test_what_goes_that_way_by_itself_needs_nothing() -> None:
    case = the(Duty.COOL, "holding", plan(COLD, batch=WATER, room=0.0))
    assert case.needed_w < 0.0
    assert case.load == 0.0


def test_a_chamber_without_an_output_has_nothing() -> None:
    bare = fridge(duties=(Duty.COOL,))
    warm = Profile("warm", (Ramp(25.0, 4.0), FinalHold(25.0)))
    case = the(Duty.HEAT, "in the ramp", plan(warm, batch=WATER, room=10.0, settings=bare))
    assert (case.has.watts, case.load) == (0.0, float("inf"))
    cooled = fridge(duties=(Duty.HEAT,))
    assert the(Duty.COOL, "holding", plan(COLD, batch=WATER, settings=cooled)).has.watts == 0.0


def test_a_fan_takes_its_own_heat_from_what_cooling_has() -> None:
    plain = fridge()
    fan = OutputSettings(
        "fan", "sim:1", Duty.FAN, OutputKind.FAN, PROTECTION_BY_KIND[OutputKind.FAN]
    )
    stirred = replace(plain, outputs=(*plain.outputs, fan))
    case = the(Duty.COOL, "holding", plan(COLD, batch=WATER, settings=stirred))
    assert "and the fan gives" in case.has.working


def test_the_chamber_that_is_assumed_is_said_and_what_is_given_is_not() -> None:
    settings = fridge()
    usual = planned_chamber(settings, WATER, None)
    assert len(usual.assumed) == 3
    given = planned_chamber(settings, WATER, None, cooler_w=150.0, heater_w=60.0, cabinet_l=200.0)
    assert given.assumed == ()
    assert given.parts.cooler.rated_w == 150.0
    assert given.parts.cabinet.volume_l == 200.0
    bare = planned_chamber(fridge(duties=(Duty.HEAT,)), WATER, None)
    assert not any("cooling" in words for words in bare.assumed)


def test_how_fast_a_chamber_cools_falls_with_the_beer_and_with_the_room() -> None:
    ability = Ability.of(plan(COLD, batch=WATER).chamber)
    rates = [ability.rate_c_per_day(Duty.COOL, beer_c, 20.0, 0.0) for beer_c in (20.0, 10.0, 1.0)]
    assert rates == sorted(rates)
    assert ability.rate_c_per_day(Duty.COOL, 10.0, 30.0, 0.0) > rates[1]
    rest_c = ability.furthest_c(Duty.COOL, 20.0, 0.0)
    assert ability.rate_c_per_day(Duty.COOL, rest_c, 20.0, 0.0) == pytest.approx(0.0, abs=1e-6)
    # 8 h of running, half an hour of rest.
    assert ability.working_share(Duty.COOL) == pytest.approx(8.0 / 8.5)
    assert ability.working_share(Duty.FAN) == 0.0


def test_an_ale_yeast_peaks_higher_and_sooner_than_a_lager_yeast() -> None:
    profile = Profile("hold", (Hold(18.0, 8 * DAY_S), FinalHold(18.0)))
    one = plan(profile, room=ConstantAmbient(18.0))
    ale = heat_along(line_of(one), PlannedBatch(yeast=YeastKind.ALE).fermentation())
    cold = Profile("hold", (Hold(10.0, 20 * DAY_S), FinalHold(10.0)))
    lager = heat_along(line_of(plan(cold)), PlannedBatch().fermentation())
    assert ale.heat_w[ale.peak] > lager.heat_w[lager.peak]
    assert ale.done_utc_s < lager.done_utc_s
    assert ale.share_at(MARCH_S - 1.0) == 0.0
    assert ale.heat_at_w(ale.times_s[ale.peak]) == ale.heat_w[ale.peak]
