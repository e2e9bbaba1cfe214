"""Cooling ends early by what the beer is going to coast, and learns how much that is."""

from __future__ import annotations

import pytest
from chamber_bench import Bench, fridge, settings, unprotected

from fermd.control.bands import Call
from fermd.control.coast import (
    LEAST_DIFFERENCE_C,
    OVER_C,
    WATCHED_S,
    Coast,
    Stop,
    foreseen_c,
    learn,
)
from fermd.control.commands import SetTarget
from fermd.control.reasons import Rule
from fermd.control.settings import CoastSettings, Duty

HALF_LEARNED = CoastSettings(first_share=0.04, highest_share=0.1)


def follow(coast: Coast, *points: tuple[float, bool, float, float], **given: bool) -> Coast:
    """Feed (time s, cooling on, beer °C, air °C) one after the other."""
    was_on = False
    for at_s, is_on, beer_c, air_c in points:
        coast = learn(
            coast,
            HALF_LEARNED,
            was_on=was_on,
            is_on=is_on,
            disturbed=given.get("disturbed", False),
            beer_c=beer_c,
            air_c=air_c,
            mono_s=at_s,
        )
        was_on = is_on
    return coast


def test_the_beer_is_foreseen_to_coast_in_proportion_to_the_cold_of_the_air() -> None:
    seen = foreseen_c(Coast(), HALF_LEARNED, cooling=True, beer_c=12.0, air_c=2.0)
    assert seen == pytest.approx(0.4)
    known = Coast(share=0.02)
    assert foreseen_c(known, HALF_LEARNED, cooling=True, beer_c=12.0, air_c=2.0) == pytest.approx(
        0.2
    )


def test_warm_air_lets_nothing_coast() -> None:
    assert foreseen_c(Coast(), HALF_LEARNED, cooling=True, beer_c=12.0, air_c=15.0) == 0.0


def test_without_a_trusted_air_probe_the_plain_bands_decide() -> None:
    assert foreseen_c(Coast(), HALF_LEARNED, cooling=True, beer_c=12.0, air_c=None) == 0.0


def test_foresight_can_be_switched_off() -> None:
    plain = CoastSettings(foresee=False)
    assert foreseen_c(Coast(0.1), plain, cooling=True, beer_c=12.0, air_c=2.0) == 0.0


def test_after_the_stop_what_is_left_of_the_way_is_foreseen() -> None:
    coast = Coast(0.04, Stop(0.0, beer_c=12.0, difference_c=10.0, lowest_c=12.0))
    assert foreseen_c(coast, HALF_LEARNED, cooling=False, beer_c=11.9, air_c=8.0) == pytest.approx(
        0.3
    )
    assert foreseen_c(coast, HALF_LEARNED, cooling=False, beer_c=11.5, air_c=8.0) == 0.0
    assert foreseen_c(Coast(0.04), HALF_LEARNED, cooling=False, beer_c=11.9, air_c=8.0) == 0.0


def test_a_coast_is_learned_once_the_beer_comes_back() -> None:
    # 0.8 °C for a difference of 10 °C: 0.08. A new observation counts three tenths.
    coast = follow(
        Coast(),
        (0.0, True, 12.0, 2.0),
        (60.0, False, 12.0, 2.0),
        (1800.0, False, 11.2, 8.0),
        (3600.0, False, 11.2 + 2 * OVER_C, 11.0),
    )
    assert coast.share == pytest.approx(0.04 + 0.3 * (0.08 - 0.04))
    assert coast.stop is None


def test_a_coast_that_never_turns_is_over_after_its_time() -> None:
    coast = follow(
        Coast(),
        (0.0, True, 12.0, 2.0),
        (10.0, False, 12.0, 2.0),
        (WATCHED_S + 10.0, False, 12.0, 9.0),
    )
    assert coast.share == pytest.approx(0.04 * 0.7)


def test_what_is_learned_is_bounded() -> None:
    coast = Coast()
    for n in range(20):
        start_s = n * 1e5
        coast = follow(
            coast,
            (start_s, True, 12.0, 2.0),
            (start_s + 10.0, False, 12.0, 2.0),
            (start_s + 20.0, False, 2.0, 2.0),
            (start_s + 30.0, False, 3.0, 2.0),
        )
    assert coast.share == HALF_LEARNED.highest_share


@pytest.mark.parametrize(
    "second",
    [
        (60.0, False, 12.0, 12.0 - LEAST_DIFFERENCE_C + 0.1),
        (60.0, True, 12.0, 2.0),
    ],
    ids=["air hardly colder", "cooling goes on"],
)
def test_nothing_is_learned_from(second: tuple[float, bool, float, float]) -> None:
    coast = follow(Coast(), (0.0, True, 12.0, 2.0), second)
    assert coast == Coast()


def test_heat_or_a_new_start_ends_the_lesson() -> None:
    coast = follow(Coast(), (0.0, True, 12.0, 2.0), (10.0, False, 12.0, 2.0))
    assert coast.stop is not None
    disturbed = learn(
        coast,
        HALF_LEARNED,
        was_on=False,
        is_on=False,
        disturbed=True,
        beer_c=11.0,
        air_c=5.0,
        mono_s=20.0,
    )
    assert disturbed == Coast()


def test_cooling_ends_where_the_beer_coasts_to_the_end_of_the_call_and_does_not_begin_again() -> (
    None
):
    given = unprotected(coast=CoastSettings(first_share=0.05), outputs=(fridge(),))
    bench = Bench(given, vessel_c=12.0, air_c=12.0).knows_its_past()
    bench.tick(SetTarget(10.0))
    bench.run(60.0)
    assert bench.on(Duty.COOL)
    # 10.4 °C with air at 2 °C: it will coast 0.42 °C, to where the call ends (10.0 °C).
    bench.vessel_c, bench.air_c = 10.4, 2.0
    bench.run(600.0)
    assert not bench.on(Duty.COOL)
    assert bench.decision is not None
    assert bench.decision.call is Call.IDLE
    assert bench.decision.call_reason.rule is Rule.COASTS


def test_what_was_learned_is_shown_and_outlives_a_restart() -> None:
    from fermd.control.memory import from_plain, to_plain
    from fermd.control.state import first_state

    bench = Bench(settings())
    bench.tick()
    bench.state = from_plain(
        first_state(settings(), 0.0), to_plain(bench.state) | {"coast_share": 0.07}, 0.0
    )
    bench.mono_s = 0.0
    assert bench.tick().coast_share == 0.07
