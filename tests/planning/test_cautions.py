"""What a brewer is warned of before a batch, with numbers that are worked out by hand."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import pytest
from plans import MARCH_S, VIENNA, WATER, chamber_of, fridge, line_of, plan, shipped

from fermd.control.calendar import parse_calendar_time
from fermd.control.settings import DAY_S, Duty, LimitSettings
from fermd.control.steps import FinalHold, FreeRise, Hold, HoldUntil, Profile, Ramp, WaitForPerson
from fermd.control.wording import Unit
from fermd.physics.ambient import ConstantAmbient, DayNightAmbient
from fermd.planning.batch import Closure, PlannedBatch, final_from, gravity_words, original_from
from fermd.planning.caution_words import caution_words
from fermd.planning.cautions import Caution, CautionRule, cautions, room_span_c
from fermd.planning.heat import heat_along
from fermd.planning.rehearsal import Plan, rehearse
from fermd.planning.timeline import timeline

CRASH = Profile("crash", (Ramp(1.0, 12.0, "crash"), FinalHold(1.0)))


def found(one: Plan) -> tuple[Caution, ...]:
    line = line_of(one)
    heat = heat_along(line, one.batch.fermentation())
    return cautions(line, heat, one.batch, one.chamber, one.room)


def rules(one: Plan) -> set[CautionRule]:
    return {caution.rule for caution in found(one)}


def first(told: Sequence[Caution], rule: CautionRule) -> Caution | None:
    return next((one for one in told if one.rule is rule), None)


def the(rule: CautionRule, one: Plan) -> Caution:
    caution = first(found(one), rule)
    assert caution is not None
    return caution


def test_a_crash_under_an_airlock_draws_in_air_by_the_gas_law_and_by_what_dissolves() -> None:
    """5 l of moist headspace: 0.402 l; 2.02 l at rest; 0.4 + 15.0 l of gas keep it out.

    By hand in test_suck_back.
    """
    caution = the(CautionRule.SUCK_BACK, plan(CRASH, batch=WATER))
    assert caution.numbers["gas_law_l"] == pytest.approx(0.402, abs=1e-3)
    assert caution.numbers["dissolves_l"] == pytest.approx(2.02 - 0.402, abs=0.01)
    assert caution.numbers["supply_l"] == pytest.approx(0.402 + 15.0, abs=0.1)
    words = caution_words(caution, CRASH)
    assert words.startswith(
        "step 1 (crash): from 20.0 °C to 1.0 °C the headspace of 5.0 l draws in"
    )
    assert "0.40 l of air through the airlock" in words
    assert "1.6 l more" in words


def test_twice_the_headspace_draws_in_twice_as_much_and_a_full_vessel_nothing() -> None:
    roomy = replace(WATER, vessel_l=30.0)
    assert the(CautionRule.SUCK_BACK, plan(CRASH, batch=roomy)).numbers[
        "gas_law_l"
    ] == pytest.approx(0.804, abs=2e-3)
    assert CautionRule.SUCK_BACK not in rules(plan(CRASH, batch=replace(WATER, vessel_l=20.0)))


def test_while_it_ferments_gas_comes_out_and_no_air_goes_in() -> None:
    """A fall of the target in the middle of fermentation is not what draws air in."""
    early = Profile("early", (Hold(20.0, DAY_S), Ramp(12.0, 8.0), Hold(12.0, 30 * DAY_S)))
    profile = replace(early, steps=(*early.steps, FinalHold(12.0)))
    assert CautionRule.SUCK_BACK not in rules(plan(profile))
    assert CautionRule.SUCK_BACK in rules(plan(profile, batch=WATER))


def test_a_shut_vessel_comes_under_vacuum_when_it_is_crashed() -> None:
    """66 mbar by the gas law, and 0.404 atm once the gas is in solution (see test_suck_back)."""
    shut = replace(WATER, closure=Closure.SEALED)
    caution = the(CautionRule.VACUUM, plan(CRASH, batch=shut))
    assert caution.numbers["gas_law_pa"] == pytest.approx(6567.0, abs=1.0)
    assert caution.numbers["at_rest_pa"] / 101325.0 == pytest.approx(0.404, abs=2e-3)
    assert CautionRule.SUCK_BACK not in rules(plan(CRASH, batch=shut))
    assert "66 mbar" in caution_words(caution, CRASH)


def test_a_vessel_that_is_shut_while_it_ferments_comes_to_a_pressure_that_bursts_it() -> None:
    shut = PlannedBatch(closure=Closure.SEALED)
    one = plan(shipped("lager-diacetyl-rest"), batch=shut)
    caution = the(CautionRule.PRESSURE, one)
    # 20 l of 12 °P: 20.93 kg of wort, 4.0146 % of alcohol by weight, 0.9565 times that of gas.
    assert caution.numbers["made_kg"] == pytest.approx(20.93 * 0.040146 * 0.9565, rel=0.005)
    assert caution.numbers["gauge_pa"] > 1e6
    assert CautionRule.VACUUM not in rules(one)
    assert "more than 10 bar" in caution_words(caution, one.profile)
    assert "relief valve" in caution_words(caution, one.profile)


def test_cold_beer_that_is_shut_and_warmed_comes_under_pressure() -> None:
    warm = Profile("warm", (Ramp(20.0, 5.0), FinalHold(20.0)))
    shut = replace(WATER, closure=Closure.SEALED)
    caution = the(CautionRule.PRESSURE, plan(warm, batch=shut, beer_c=1.0))
    # 64.32 + 9.78 g at 1 °C under 1 atm; at 20 °C 1 atm holds 35.02 + 9.15 g: 74.10 / 44.17 atm.
    assert caution.numbers["gauge_pa"] / 101325.0 == pytest.approx(74.10 / 44.17 - 1.0, abs=0.01)
    assert CautionRule.PRESSURE not in rules(plan(warm, batch=WATER, beer_c=1.0))


def test_a_weak_beer_is_not_held_below_its_freezing_point() -> None:
    """De Clerck's formula: 4 °P down to 1: -(0.42 × 1.21 + 0.04 × 4 + 0.2) = -0.87 °C."""
    weak = PlannedBatch(original_p=4.0, final_p=1.0, is_finished=True)
    caution = the(CautionRule.FREEZES, plan(shipped("lagering"), batch=weak))
    assert caution.numbers["freezes_at_c"] == pytest.approx(-0.87, abs=0.01)
    assert "is below -0.9 °C, where this beer freezes" in caution_words(
        caution, shipped("lagering")
    )
    assert CautionRule.FREEZES not in rules(plan(shipped("lagering"), batch=WATER))


def test_a_target_within_the_error_of_a_probe_above_freezing_is_told() -> None:
    near = PlannedBatch(original_p=6.0, final_p=1.5, is_finished=True)
    caution = the(CautionRule.NEAR_FREEZING, plan(shipped("lagering"), batch=near))
    assert 0.0 < caution.numbers["target_c"] - caution.numbers["freezes_at_c"] < 0.5
    assert "ice water" in caution_words(caution, shipped("lagering"))


def test_beer_that_has_hardly_fermented_freezes_as_wort_does() -> None:
    """Wort of 12 °P: -(0.04 × 12 + 0.2) = -0.68 °C."""
    icy = Profile("too soon", (Hold(-1.0, DAY_S, "ice"), FinalHold(4.0)))
    caution = the(CautionRule.FREEZES, plan(icy))
    assert caution.numbers["freezes_at_c"] == pytest.approx(-0.68, abs=0.01)


def test_a_beer_that_no_formula_holds_for_is_said_to_be_so() -> None:
    strong = PlannedBatch(original_p=30.0, final_p=4.0, is_finished=True)
    assert CautionRule.FREEZING_POINT_UNKNOWN in rules(plan(shipped("lagering"), batch=strong))


def test_a_site_file_with_the_freezing_point_of_a_stronger_beer_is_told() -> None:
    strong = fridge(limits=LimitSettings(freezing_point_c=-4.0))
    caution = the(CautionRule.SITE_FREEZING_POINT, plan(CRASH, batch=WATER, settings=strong))
    assert "set limits.freezing_point_c of the chamber to -2.4" in caution_words(caution, CRASH)
    warm = Profile("warm", (FinalHold(12.0),))
    assert CautionRule.SITE_FREEZING_POINT not in rules(plan(warm, settings=strong))


@pytest.mark.parametrize(
    ("rate_c_per_day", "room_c", "keeps_up"), [(5.0, 20.0, True), (25.0, 20.0, False)]
)
def test_a_ramp_that_the_chamber_cannot_follow_is_told_and_the_rehearsal_agrees(
    rate_c_per_day: float, room_c: float, keeps_up: bool
) -> None:
    fast = Profile("fast", (Ramp(1.0, rate_c_per_day), FinalHold(1.0)))
    one = plan(fast, batch=WATER, room=room_c)
    assert (CautionRule.RAMP_TOO_FAST not in rules(one)) == keeps_up
    assert (rehearse(one).shortfalls == ()) == keeps_up


def test_the_yeast_makes_a_ramp_slower_and_the_words_say_so() -> None:
    fall = Profile("fall", (Hold(20.0, DAY_S), Ramp(10.0, 30.0), FinalHold(10.0)))
    caution = the(CautionRule.RAMP_TOO_FAST, plan(fall, room=25.0, cooler_w=70.0))
    assert caution.numbers["yeast_w"] > 1.0
    assert "and the yeast at" in caution_words(caution, fall)
    assert "°F a day" in caution_words(caution, fall, Unit.FAHRENHEIT)


def test_a_ramp_that_makes_no_way_at_all_is_told_as_such() -> None:
    caution = the(CautionRule.RAMP_TOO_FAST, plan(CRASH, batch=WATER, room=45.0, cooler_w=40.0))
    assert caution.numbers["able_c_per_day"] > 0.0
    assert "makes no way at all" in caution_words(caution, CRASH)


def test_a_warming_ramp_in_a_cold_room_is_looked_at_too() -> None:
    rise = Profile("rise", (Ramp(30.0, 20.0), FinalHold(30.0)))
    weak = plan(rise, batch=WATER, room=0.0, heater_w=25.0)
    assert the(CautionRule.RAMP_TOO_FAST, weak).numbers["asked_c_per_day"] == 20.0
    assert CautionRule.RAMP_TOO_FAST not in rules(plan(rise, batch=WATER, room=25.0, heater_w=80.0))


def test_a_hold_that_the_chamber_cannot_keep_is_told_once_with_where_it_ends() -> None:
    two = Profile("two", (Hold(2.0, DAY_S), FinalHold(1.0)))
    one = plan(two, batch=WATER, room=38.0, cooler_w=50.0)
    (caution,) = [each for each in found(one) if each.rule is CautionRule.CANNOT_HOLD]
    assert caution.numbers["comes_to_c"] > 1.0
    assert "the chamber cannot hold 2.0 °C" in caution_words(caution, two)


def test_a_chamber_without_a_heater_is_told_what_a_cold_room_does() -> None:
    cold = fridge(duties=(Duty.COOL,))
    warm = Profile("warm", (FinalHold(20.0),))
    caution = the(CautionRule.NO_OUTPUT, plan(warm, batch=WATER, room=10.0, settings=cold))
    assert caution.numbers["comes_to_c"] == pytest.approx(10.0)
    assert "has no heater" in caution_words(caution, warm)


def test_a_free_rise_asks_nothing_of_the_chamber() -> None:
    rise = Profile("rise", (FreeRise(1.0, 30.0, DAY_S), FinalHold(18.0)))
    hot = plan(rise, batch=WATER, room=18.0, beer_c=10.0)
    assert rules(hot) <= {CautionRule.SUCK_BACK}


def test_a_date_that_the_beer_or_a_person_may_miss_is_told() -> None:
    late = HoldUntil(4.0, parse_calendar_time("2026-03-07 12:00"), "package")
    profile = Profile("late", (WaitForPerson(18.0, "hops"), late, FinalHold(1.0)))
    line = timeline(profile, MARCH_S, 18.0, VIENNA, {0: 2 * DAY_S})
    told = cautions(line, heat_along(line, None), WATER, chamber_of(WATER), ConstantAmbient(18.0))
    caution = first(told, CautionRule.MAY_BE_LATE)
    assert caution is not None
    assert caution.step == 1
    assert "expected to have passed" in caution_words(caution, profile)
    assert CautionRule.MAY_BE_LATE not in rules(plan(profile, batch=WATER))


def test_the_room_is_known_at_its_coldest_and_warmest() -> None:
    low_c, high_c = room_span_c(DayNightAmbient(18.0, 3.0), MARCH_S, MARCH_S + 2 * DAY_S)
    assert low_c == pytest.approx(15.0, abs=0.05)
    assert high_c == pytest.approx(21.0, abs=0.05)
    assert room_span_c(ConstantAmbient(7.0), 0.0, 0.0) == (7.0, 7.0)


def test_every_caution_has_words() -> None:
    names = (
        "target_c freezes_at_c alcohol_w_percent original_p site_freezing_point_c asked_c_per_day "
        "able_c_per_day beer_c room_c yeast_w comes_to_c cooling from_c to_c headspace_l gas_law_l "
        "dissolves_l supply_l gas_law_pa at_rest_pa gauge_pa co2_g at_c made_kg expected_utc_s"
    )
    numbers = dict.fromkeys(names.split(), 1.0)
    for rule in CautionRule:
        assert len(caution_words(Caution(rule, 0, numbers), CRASH)) > 40


@pytest.mark.parametrize(("said", "plato"), [(1.048, 11.91), (12.0, 12.0), (1.0, 0.0), (8.0, 8.0)])
def test_a_gravity_is_said_in_either_way(said: float, plato: float) -> None:
    assert original_from(said) == pytest.approx(plato, abs=0.05)


def test_the_end_of_a_fermentation_is_said_in_any_of_three_ways() -> None:
    assert final_from(12.0) == pytest.approx(2.52)
    assert final_from(12.0, attenuation_percent=75.0) == pytest.approx(3.0)
    assert final_from(12.0, final=1.010) == pytest.approx(2.56, abs=0.05)
    assert final_from(12.0, final=2.5) == 2.5
    # 12 °P and 2.5 °P are 5.13 % by volume.
    assert final_from(12.0, abv=5.127) == pytest.approx(2.5, abs=0.01)
    assert gravity_words(12.0) == "12.0 °P (1.048)"
