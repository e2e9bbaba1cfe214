"""An exported profile keeps the rules of BeerJSON 1.0, and says what those cannot say."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any

import pytest
from any_profile import profiles, whole_minutes
from beerjson_rules import broken_rules
from hypothesis import given

from fermd.config.profile_file import load_profile, shipped_profiles
from fermd.control.calendar import parse_calendar_time
from fermd.control.steps import (
    Change,
    FinalHold,
    FreeRise,
    Hold,
    HoldUntil,
    Jump,
    Profile,
    Ramp,
    Schedule,
    Soak,
    Step,
    WaitForPerson,
)
from fermd.exchange.beerjson_in import from_beerjson
from fermd.exchange.beerjson_out import to_beerjson
from fermd.exchange.carried import Carried

NIGHT = parse_calendar_time("22:00")
HOUR_S = 3600.0
DAY_S = 24 * HOUR_S


def written(*steps: Step) -> tuple[list[dict[str, Any]], list[str]]:
    document, left_out = to_beerjson(Profile("Ale", steps, "dry"))
    assert broken_rules(document) == []
    (fermentation,) = document["beerjson"]["fermentations"]
    assert (fermentation["name"], fermentation["description"]) == ("Ale", "dry")
    return fermentation["fermentation_steps"], [str(one) for one in left_out]


def back(profile: Profile) -> Carried:
    return from_beerjson(json.dumps(to_beerjson(profile)[0]).encode())


@pytest.mark.parametrize(
    ("seconds", "time"),
    [
        (14 * DAY_S, {"unit": "day", "value": 14}),
        (1.5 * DAY_S, {"unit": "hr", "value": 36}),
        (90 * 60, {"unit": "min", "value": 90}),
        (100, {"unit": "sec", "value": 100}),
    ],
)
def test_a_time_is_written_in_the_largest_unit_that_keeps_it_whole(
    seconds: float, time: dict[str, Any]
) -> None:
    (step,), left_out = written(Hold(18, seconds, "primary"))
    assert step == {
        "name": "primary",
        "start_temperature": {"unit": "C", "value": 18},
        "end_temperature": {"unit": "C", "value": 18},
        "step_time": time,
    }
    assert left_out == []


def test_a_time_that_cannot_be_whole_is_rounded_and_listed() -> None:
    (step,), (told,) = written(Hold(18, 100.4))
    assert step["step_time"] == {"unit": "sec", "value": 100}
    assert told.startswith("step[1]: 100.4 s: written as 100 s")


def test_a_ramp_is_written_with_its_ends_and_its_time() -> None:
    (_, crash), left_out = written(Hold(20, DAY_S), Ramp(2, 12, "crash"))
    assert crash["start_temperature"] == {"unit": "C", "value": 20}
    assert crash["end_temperature"] == {"unit": "C", "value": 2}
    assert crash["step_time"] == {"unit": "hr", "value": 36}
    assert left_out == []


def test_a_ramp_that_comes_first_has_no_start_to_write() -> None:
    (step,), (told,) = written(Ramp(2, 12))
    assert "start_temperature" not in step
    assert "step_time" not in step
    assert "12 °C a day" in told


@pytest.mark.parametrize(
    ("step", "words"),
    [
        (Soak(18, DAY_S, 0.7), "within 0.7 °C"),
        (Jump(18, 0.4), "within 0.4 °C"),
        (FreeRise(18, 22, DAY_S), "reached 22 °C"),
        (WaitForPerson(18, "add the hops"), "add the hops"),
        (FinalHold(18), "without end"),
        (HoldUntil(18, parse_calendar_time("fri 18:00")), "until fri 18:00"),
        (
            Schedule((Change(parse_calendar_time("07:00"), 12), Change(NIGHT, 10))),
            "12 °C from 07:00, 10 °C from 22:00",
        ),
    ],
)
def test_what_beerjson_cannot_say_is_listed_and_described(step: Step, words: str) -> None:
    (plain,), (told,) = written(step)
    assert words in told
    assert words in plain["description"]


def test_a_free_rise_is_written_as_one() -> None:
    (step,), _ = written(FreeRise(18, 22, 4 * DAY_S))
    assert step["free_rise"] is True
    assert step["start_temperature"]["value"] == 18
    assert step["end_temperature"]["value"] == 22


def test_a_ramp_after_a_free_rise_says_that_its_start_is_a_guess() -> None:
    _, left_out = written(FreeRise(18, 22, DAY_S), Ramp(2, 10))
    assert any("free rise has left the beer" in told for told in left_out)


@pytest.mark.parametrize("name", shipped_profiles())
def test_every_shipped_profile_can_be_exported_and_read_back(name: str) -> None:
    profile = load_profile(shipped_profiles()[name])
    document, _ = to_beerjson(profile)
    assert broken_rules(document) == []
    again = back(profile).profile
    assert again.name == profile.name
    without_calendar = {"schedule": "final-hold", "hold-until": "wait"}
    expected = ["hold" if isinstance(step, Soak) else step.kind for step in profile.steps]
    if expected[0] == "ramp":
        # BeerJSON has no rate, and nobody knows where the first one begins.
        expected[0] = "jump"
    # It has no calendar: what goes by one is held without end, or until a person confirms.
    expected = [without_calendar.get(kind, kind) for kind in expected]
    assert [step.kind for step in again.steps] == expected


@given(profiles())
def test_every_profile_keeps_the_rules_of_beerjson(profile: Profile) -> None:
    document, left_out = to_beerjson(profile)
    assert broken_rules(json.loads(json.dumps(document))) == []
    assert len(document["beerjson"]["fermentations"][0]["fermentation_steps"]) == len(profile.steps)
    assert all(one.where and one.what and one.why for one in left_out)


@given(profiles(kinds=(Hold, FreeRise), for_s=whole_minutes))
def test_what_beerjson_can_say_survives_the_way_there_and_back(profile: Profile) -> None:
    assert [replace(step, name="") for step in back(profile).profile.steps] == [
        replace(step, name="") for step in profile.steps
    ]


@given(profiles(kinds=(Hold, Ramp), for_s=whole_minutes))
def test_ramps_arrive_where_and_when_they_did(profile: Profile) -> None:
    first = Hold(12.5, DAY_S)
    steps = (first, *profile.steps)
    again = back(replace(profile, steps=steps)).profile.steps
    at_c, expected = first.target_c, []
    for step in steps:
        if isinstance(step, Hold):
            expected.append(("hold", step.target_c, step.for_s))
            at_c = step.target_c
        elif isinstance(step, Ramp):
            takes_s = abs(step.to_c - at_c) / step.rate_c_per_day * DAY_S
            # One that goes nowhere is a hold of the shortest time that can be written.
            kind = "ramp" if step.to_c != at_c else "hold"
            expected.append((kind, step.to_c, max(1, round(takes_s))))
            at_c = step.to_c
    at_c, found = first.target_c, []
    for step in again:
        if isinstance(step, Ramp):
            found.append(("ramp", step.to_c, abs(step.to_c - at_c) / step.rate_c_per_day * DAY_S))
            at_c = step.to_c
        elif isinstance(step, Hold):
            found.append(("hold", step.target_c, step.for_s))
            at_c = step.target_c
        else:
            # Quicker than a profile goes, by the rounding to a second.
            assert isinstance(step, Jump)
            found.append(("ramp", step.to_c, abs(step.to_c - at_c) / 480 * DAY_S))
            at_c = step.to_c
    assert [one[:2] for one in found] == [one[:2] for one in expected]
    assert [one[2] for one in found] == pytest.approx([one[2] for one in expected], abs=1)
