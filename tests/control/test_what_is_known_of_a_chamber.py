"""What was learned of a chamber, told in the terms that a brewer knows it by."""

from __future__ import annotations

from dataclasses import replace

import pytest
from chamber_bench import Bench, unprotected

from fermd.control import wording
from fermd.control.decision import Decision
from fermd.control.knowledge import Knowledge, KnownSide, knowledge
from fermd.control.placing import LEAST_SHARE, Placing
from fermd.control.settings import Duty, ForesightSettings
from fermd.control.swing import LEAST_DIFFERENCE_C, Learned
from fermd.control.wording import Unit

COOLED = KnownSide(Duty.COOL, 12, 0.36, 4.8, -0.03, 0.02, acted_on=True)
TAPED = Placing(numbers=(0.1, 0.04, 0.0, 0.0, 0.11, 0.172, 0.0), error_of_share=0.002, beer_c=10.2)


@pytest.fixture
def decision() -> Decision:
    bench = Bench(unprotected())
    bench.tick()
    assert bench.decision is not None
    return bench.decision


def test_a_chamber_that_was_never_run_is_not_known(decision: Decision) -> None:
    assert knowledge(decision) == Knowledge(())
    assert wording.known_of(Knowledge(())) == []


def test_a_side_is_known_once_a_run_was_seen_to_its_turn(decision: Decision) -> None:
    learned = {
        Duty.COOL: Learned(12, 0.36, 4.8, 900.0, -0.03, 0.0, 0.01, 0.02),
        Duty.HEAT: Learned(),
    }
    known = knowledge(replace(decision, learned=learned))
    assert known == Knowledge((COOLED,))
    wrong = {Duty.COOL: replace(learned[Duty.COOL], error_c=0.5)}
    (side,) = knowledge(replace(decision, learned=wrong)).sides
    assert not side.acted_on


def test_the_vessel_is_known_with_its_probe_its_time_constant_and_its_fermentation(
    decision: Decision,
) -> None:
    known = knowledge(replace(decision, placing=TAPED, learned={Duty.COOL: Learned(1)}))
    assert [side.duty for side in known.sides] == [Duty.COOL]
    assert known.air_share == pytest.approx(0.14)
    assert known.beer_c == 10.2
    assert known.time_constant_h == pytest.approx(1 / 0.11)
    assert known.warms_c_per_h == pytest.approx(0.2)
    plain = replace(decision, placing=TAPED, foresight=ForesightSettings(foresee=False))
    assert knowledge(plain).beer_c is None


def test_a_probe_in_a_well_sees_none_of_the_air(decision: Decision) -> None:
    numbers = (0.01, 0.0, 0.0, 0.0, -0.01, 0.0, 0.0)
    known = knowledge(replace(decision, placing=replace(TAPED, numbers=numbers, beer_c=None)))
    assert (known.air_share, known.time_constant_h) == (0.0, None)


def test_all_of_it_is_told_in_words() -> None:
    heated = replace(COOLED, duty=Duty.HEAT, coast_c=0.1, difference_c=2.0)
    belt = replace(COOLED, duty=Duty.HEAT, coast_c=0.1, difference_c=0.4, acted_on=False)
    known = Knowledge((COOLED, heated, belt), 10.2, 0.14, 9.1, 0.05)
    assert wording.known_of(known) == [
        "after cooling the beer goes on by 0.36 °C (air 4.8 °C colder)",
        "after heating the beer goes on by 0.10 °C (air 2.0 °C warmer)",
        "after heating the beer goes on by 0.10 °C, which is not acted on: the plain bands decide",
        "the vessel probe sees 14% of the air; the beer is at 10.20 °C",
        "the beer follows the air within 9 h",
        "by itself the beer warms by 1.2 °C a day",
    ]
    assert wording.known_of(replace(known, sides=(), beer_c=None), Unit.FAHRENHEIT) == [
        "the vessel probe sees 14% of the air",
        "the beer follows the air within 9 h",
        "by itself the beer warms by 2.2 °F a day",
    ]
    assert wording.known_of(Knowledge((), air_share=0.0)) == []


def test_a_probe_sees_the_air_from_the_least_share_that_is_told(decision: Decision) -> None:
    least = replace(TAPED, numbers=(LEAST_SHARE, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0))
    known = knowledge(replace(decision, placing=least))
    assert known.air_share == LEAST_SHARE
    # Beer that does not follow the air at all has no time constant.
    assert known.time_constant_h is None


def test_a_side_is_told_in_the_brewers_unit_with_its_air_from_the_least_that_tells() -> None:
    (side,) = wording.known_of(Knowledge((COOLED,)), Unit.FAHRENHEIT)
    assert side == "after cooling the beer goes on by 0.65 °F (air 8.6 °F colder)"
    least = replace(COOLED, difference_c=LEAST_DIFFERENCE_C)
    (side,) = wording.known_of(Knowledge((least,)))
    assert side == "after cooling the beer goes on by 0.36 °C (air 1.5 °C colder)"


def test_a_fermentation_is_told_by_the_day_of_24_hours() -> None:
    (words,) = wording.known_of(Knowledge((), warms_c_per_h=0.1))
    assert words == "by itself the beer warms by 2.4 °C a day"
