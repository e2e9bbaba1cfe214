"""What a fermentation in BeerJSON says arrives in the profile, or on the list.

Fields and units: schema of BeerJSON 1.0 (npm package @beerjson/beerjson 1.0.2).
"""

from __future__ import annotations

import json
import os
from typing import Any

import pytest
from recipes import celsius, document, fahrenheit, fermentation, held, steps, time

from fermd.config.errors import ConfigError
from fermd.control.steps import FinalHold, FreeRise, Hold, Jump, Ramp, Step, WaitForPerson
from fermd.exchange.beerjson_in import from_beerjson
from fermd.exchange.carried import Carried

DAY_S = 86400.0


def imported(*written: dict[str, Any]) -> Carried:
    return from_beerjson(steps(*written), "beer.json")


def only(carried: Carried) -> Step:
    (step,) = carried.profile.steps
    return step


def listed(carried: Carried, place: str) -> str:
    """The one entry of the list whose place ends so."""
    (found,) = [str(one) for one in carried.left_out if one.where.endswith(place)]
    return found


def refusal(data: bytes, name: str | None = None) -> ConfigError:
    with pytest.raises(ConfigError) as caught:
        from_beerjson(data, "beer.json", name)
    assert all(line.startswith("beer.json: ") for line in str(caught.value).splitlines())
    return caught.value


def test_two_stages_at_one_temperature_each_are_held_for_their_time() -> None:
    carried = imported(held(19.4, 14, "primary"), held(18.3, 10, "secondary"))
    assert carried.profile.steps == (
        Hold(19.4, 14 * DAY_S, "primary"),
        Hold(18.3, 10 * DAY_S, "secondary"),
    )
    assert carried.left_out == ()


def test_one_temperature_alone_is_held_whichever_it_is() -> None:
    for key in ("start_temperature", "end_temperature"):
        step = {"name": "a", key: celsius(18), "step_time": time(3)}
        assert only(imported(step)) == Hold(18, 3 * DAY_S, "a")


def test_two_temperatures_are_a_ramp_over_the_time() -> None:
    crash = {
        "name": "crash",
        "start_temperature": celsius(20),
        "end_temperature": celsius(2),
        "step_time": time(36, "hr"),
    }
    carried = imported(held(20, 10), crash)
    assert carried.profile.steps[1] == Ramp(2, 12, "crash")  # 18 °C in 1.5 d.
    assert carried.left_out == ()


def test_a_ramp_that_does_not_begin_where_the_beer_is_gets_a_jump_which_is_listed() -> None:
    warm = {
        "name": "warm up",
        "start_temperature": celsius(18),
        "end_temperature": celsius(21),
        "step_time": time(3),
    }
    carried = imported(held(16, 5), warm)
    assert carried.profile.steps[1:] == (
        Jump(18, name="warm up: to its start"),
        Ramp(21, 1.0, "warm up"),
    )
    assert "jump" in listed(carried, "[2].start_temperature")


@pytest.mark.parametrize(
    ("value", "unit", "seconds"),
    [
        (90, "sec", 90),
        (90, "min", 5400),
        (36, "hr", 129600),
        (2, "day", 172800),
        (1, "week", 604800),
    ],
)
def test_all_units_of_time(value: int, unit: str, seconds: float) -> None:
    step = {"name": "a", "start_temperature": celsius(18), "step_time": time(value, unit)}
    assert only(imported(step)) == Hold(18, seconds, "a")


@pytest.mark.parametrize(("temp_f", "temp_c"), [(32, 0.0), (50, 10.0), (67, 19.4444), (113, 45.0)])
def test_fahrenheit_becomes_celsius(temp_f: float, temp_c: float) -> None:
    step = {"name": "a", "start_temperature": fahrenheit(temp_f), "step_time": time(1)}
    assert only(imported(step)) == Hold(temp_c, DAY_S, "a")


def test_a_free_rise_goes_from_its_start_to_its_end() -> None:
    # The shape of the standard's own saison: 74 to 82 °F, free, in seven days.
    step = {
        "name": "rise",
        "start_temperature": fahrenheit(74),
        "end_temperature": fahrenheit(82),
        "free_rise": True,
        "step_time": time(7),
    }
    carried = imported(step)
    assert only(carried) == FreeRise(23.3333, 27.7778, 7 * DAY_S, "rise")
    assert "over sooner" in listed(carried, "step_time")


def test_a_free_rise_without_an_end_is_never_cooled_and_says_so() -> None:
    step = {
        "name": "rise",
        "start_temperature": celsius(18),
        "free_rise": True,
        "step_time": time(4),
    }
    for also in ({}, {"end_temperature": celsius(18)}):
        carried = imported({**step, **also})
        assert only(carried) == FreeRise(18, 45, 4 * DAY_S, "rise")
        assert "never cooled below 45 °C" in listed(carried, "end_temperature")


def test_a_free_rise_without_temperatures_says_which_were_chosen() -> None:
    step = {"name": "rise", "free_rise": True, "step_time": time(4)}
    first = imported(step)
    assert only(first) == FreeRise(4, 45, 4 * DAY_S, "rise")
    assert "floor_c" in listed(first, "start_temperature")
    assert "ceiling_c" in listed(first, "end_temperature")
    after = imported(held(18, 2), step)
    assert after.profile.steps[1] == FreeRise(18, 45, 4 * DAY_S, "rise")


def test_a_free_rise_that_falls_is_turned_round_and_listed() -> None:
    step = {
        "name": "rise",
        "start_temperature": celsius(20),
        "end_temperature": celsius(18),
        "free_rise": True,
        "step_time": time(4),
    }
    carried = imported(step)
    assert only(carried) == FreeRise(18, 20, 4 * DAY_S, "rise")
    assert "floor" in listed(carried, "end_temperature")


def test_a_free_rise_without_a_time_ends_at_its_ceiling() -> None:
    step = {
        "name": "rise",
        "start_temperature": celsius(18),
        "end_temperature": celsius(22),
        "free_rise": True,
    }
    carried = imported(step)
    assert only(carried) == FreeRise(18, 22, 400 * DAY_S, "rise")
    assert "ends at its ceiling" in listed(carried, "step_time")


def test_a_free_rise_needs_room_to_rise() -> None:
    step = {"name": "a", "start_temperature": celsius(45), "free_rise": True, "step_time": time(4)}
    assert "start_temperature = 45.0: must be below 45 °C" in str(refusal(steps(step)))


def test_a_fermentation_without_a_name_gets_one_which_is_listed() -> None:
    carried = from_beerjson(document(fermentation(held(18, 3), name="")))
    assert carried.profile.name == "imported"
    assert "is empty" in listed(carried, "fermentations[1].name")


def test_nothing_is_known_of_the_beer_after_a_free_rise_without_a_limit() -> None:
    rise = {
        "name": "rise",
        "start_temperature": celsius(18),
        "free_rise": True,
        "step_time": time(4),
    }
    rest = {"name": "rest", "step_time": time(2)}
    error = refusal(steps(rise, rest))
    assert "fermentation_steps[2].start_temperature: is missing" in str(error)


def test_a_stage_without_time_waits_for_a_person_unless_it_is_the_last() -> None:
    carried = imported(
        {"name": "primary", "start_temperature": celsius(18)},
        {"name": "cellar", "start_temperature": celsius(8)},
    )
    wait, final = carried.profile.steps
    assert isinstance(wait, WaitForPerson)
    assert wait.target_c == 18
    assert final == FinalHold(8, "cellar")
    assert "person" in listed(carried, "[1].step_time")
    assert "without end" in listed(carried, "[2].step_time")


def test_a_change_without_time_is_made_at_once_and_listed() -> None:
    chill = {"name": "chill", "start_temperature": celsius(18), "end_temperature": celsius(4)}
    carried = imported(held(18, 7), chill)
    assert carried.profile.steps[1] == Jump(4, name="chill")
    assert "at once" in listed(carried, "[2].step_time")
    too_quick = {**chill, "step_time": time(10, "min")}
    assert imported(held(18, 7), too_quick).profile.steps[1] == Jump(4, name="chill")
    only_its_end = {"name": "chill", "end_temperature": celsius(4)}
    assert imported(held(18, 7), only_its_end).profile.steps[1] == Jump(4, name="chill")


def test_a_stage_without_temperature_keeps_that_of_the_one_before_and_is_listed() -> None:
    carried = imported(held(18, 7), {"name": "rest", "step_time": time(2)})
    assert carried.profile.steps[1] == Hold(18, 2 * DAY_S, "rest")
    assert "held at 18 °C as before" in listed(carried, "[2].start_temperature")


def test_a_first_stage_without_temperature_is_refused_for_nobody_knows_what_to_hold() -> None:
    error = refusal(steps({"name": "primary", "step_time": time(14)}, held(2, 2)))
    assert "fermentation_steps[1].start_temperature: is missing" in str(error)


def test_a_stage_that_takes_no_time_is_left_out_and_listed() -> None:
    carried = imported(held(18, 0), held(20, 3))
    assert carried.profile.steps == (Hold(20, 3 * DAY_S, "primary"),)
    assert "takes no time" in listed(carried, "[1].step_time")
    assert "give one a step_time" in str(refusal(steps(held(18, 0))))


def test_what_a_thermostat_does_not_do_is_listed_with_its_value() -> None:
    carried = imported(
        {
            **held(18, 3),
            "description": "until it calms",
            "start_gravity": {"unit": "sg", "value": 1.048},
            "end_gravity": {"unit": "plato", "value": 3.1},
            "start_ph": {"unit": "pH", "value": 5.2},
            "end_ph": {"unit": "pH", "value": 4.4},
            "vessel": "bucket",
            "vessel_pressure": {"unit": "bar", "value": 0.8},
            "flavour": "plum",
        }
    )
    assert only(carried) == Hold(18, 3 * DAY_S, "primary")
    shown = {one.where.rsplit(".", 1)[1]: one.what for one in carried.left_out}
    assert shown == {
        "description": '"until it calms"',
        "start_gravity": "1.048 sg",
        "end_gravity": "3.1 plato",
        "start_ph": "5.2 pH",
        "end_ph": "4.4 pH",
        "vessel": '"bucket"',
        "vessel_pressure": "0.8 bar",
        "flavour": '"plum"',
    }
    assert "after BeerJSON 1.0" in listed(carried, "vessel_pressure")


def test_name_and_description_arrive_and_notes_are_listed() -> None:
    data = document(fermentation(held(18, 3), name="Bitter", description="dry", notes="rack it"))
    carried = from_beerjson(data)
    assert (carried.profile.name, carried.profile.description) == ("Bitter", "dry")
    assert "rack it" in listed(carried, ".notes")


def test_long_and_unprintable_names_are_tidied_and_a_cut_is_listed() -> None:
    data = document(fermentation(held(18, 3, "a\u202eb\x00"), name="very " * 1000))
    carried = from_beerjson(data)
    assert carried.profile.steps[0].name == "a\ufffdb\ufffd"
    assert len(carried.profile.name) <= 120
    assert "cut" in listed(carried, "fermentations[1].name")


def recipe(name: str, **more: Any) -> dict[str, Any]:
    return {"name": name, "type": "all grain", "author": "me", **more}


def test_of_a_recipe_the_fermentation_is_taken_and_the_rest_is_listed() -> None:
    hop = {"name": "Saaz", "timing": {"use": "add_to_fermentation", "step": 2}}
    bitter = {"name": "Magnum", "timing": {"use": "add_to_boil"}}
    one = recipe(
        "Pils",
        fermentation=fermentation(held(10, 14), name="Lager"),
        ingredients={"hop_additions": [bitter, hop]},
    )
    carried = from_beerjson(document(recipes=[one]))
    assert carried.profile.name == "Pils"
    assert '"Lager"' in listed(carried, "fermentation.name")
    assert "Saaz" in listed(carried, "hop_additions[2]")
    assert "type, author, ingredients" in listed(carried, "recipes[1]")
    assert not [one for one in carried.left_out if "Magnum" in one.what]


def test_other_records_of_a_document_are_listed() -> None:
    data = document(fermentation(held(18, 3)), mashes=[], colour="red")
    assert listed(from_beerjson(data), "beerjson").startswith("beerjson: mashes, colour: only")


def test_of_several_fermentations_one_is_named_or_all_are_listed() -> None:
    data = document(
        fermentation(held(18, 7), name="Ale"),
        fermentation(held(10, 14), name="Lager"),
        recipes=[recipe("Water"), recipe("Saison", fermentation=fermentation(held(28, 7)))],
    )
    assert from_beerjson(data, name="Lager").profile.steps == (Hold(10, 14 * DAY_S, "primary"),)
    assert from_beerjson(data, name="saison").profile.steps[0] == Hold(28, 7 * DAY_S, "primary")
    assert from_beerjson(data, name="2").profile.name == "Lager"
    error = refusal(data)
    assert error.exit_code == os.EX_DATAERR
    for name in ('1. "Ale"', '2. "Lager"', '3. "Saison"', "--name"):
        assert name in str(error)
    unknown = refusal(data, "Stout")
    assert unknown.exit_code == os.EX_USAGE
    assert '"Stout" is not in the file; there is 1. "Ale"' in str(unknown)


def test_fermentations_of_one_name_are_told_apart_by_number() -> None:
    data = document(fermentation(held(18, 7)), fermentation(held(20, 7)))
    assert "1 or 2" in str(refusal(data, "Ale"))
    assert from_beerjson(data, name="2").profile.steps == (Hold(20, 7 * DAY_S, "primary"),)


def test_a_document_without_fermentation_says_where_one_would_stand() -> None:
    assert "beerjson.fermentations" in str(refusal(document(recipes=[recipe("Water")])))


def test_an_unknown_version_is_read_and_listed() -> None:
    data = json.dumps({"beerjson": {"version": 7, "fermentations": [fermentation(held(18, 3))]}})
    assert "as if it were 1.0" in listed(from_beerjson(data.encode()), "version")


BAD: list[tuple[dict[str, Any], str, str]] = [
    ({"start_temperature": celsius(80)}, "start_temperature.value = 80", "-10 to 45 °C"),
    ({"start_temperature": fahrenheit(10)}, "start_temperature.value = 10", "14 to 113 °F"),
    ({"start_temperature": time(20, "K")}, 'start_temperature.unit = "K"', '"C" or "F"'),
    ({"start_temperature": 20}, "start_temperature = 20", "object with unit and value"),
    ({"start_temperature": {"unit": "C"}}, "start_temperature.value", "is missing"),
    ({"start_temperature": celsius("20")}, 'start_temperature.value = "20"', "must be a number"),
    ({"start_temperature": celsius(True)}, "start_temperature.value = true", "must be a number"),
    ({"start_temperature": celsius(10**400)}, "start_temperature.value", "must be a number"),
    ({"step_time": time(1.5)}, "step_time.value = 1.5", '1.5 "day" is 36 "hr"'),
    ({"step_time": time(-1)}, "step_time.value = -1", "from 0 to 400 day"),
    ({"step_time": time(99, "week")}, "step_time.value = 99", "from 0 to 57.1429 week"),
    ({"step_time": time(3, "month")}, 'step_time.unit = "month"', '"day" or "week"'),
    ({"step_time": "3 days"}, 'step_time = "3 days"', "object with unit and value"),
    ({"free_rise": "yes"}, 'free_rise = "yes"', "true or false"),
    ({"name": 3}, "name = 3", "must be text"),
]


@pytest.mark.parametrize(("bad", "value", "allowed"), BAD)
def test_a_bad_field_is_named_with_its_value_and_what_is_allowed(
    bad: dict[str, Any], value: str, allowed: str
) -> None:
    error = refusal(steps(held(18, 3), {**held(18, 3), **bad}))
    assert error.exit_code == os.EX_DATAERR
    (line,) = str(error).splitlines()
    assert line.startswith(f"beer.json: beerjson.fermentations[1].fermentation_steps[2].{value}")
    assert allowed in line


def test_all_faults_of_a_document_are_told_at_once() -> None:
    error = refusal(steps(*({**held(18, 3), **bad} for bad, _, _ in BAD)))
    assert len(error.faults) == len(BAD)


@pytest.mark.parametrize(
    ("root", "words"),
    [
        ({}, "beerjson: is missing"),
        ({"beerjson": []}, "beerjson = []: must be an object"),
        ({"beerjson": {}}, "beerjson.version: is missing"),
        ({"beerjson": {"version": "1"}}, 'beerjson.version = "1": must be a number'),
        ({"beerjson": {"version": 1, "fermentations": {}}}, "beerjson.fermentations = a table"),
        ({"beerjson": {"version": 1, "fermentations": [3]}}, "fermentations[1] = 3"),
        ({"beerjson": {"version": 1, "fermentations": [{}]}}, "fermentations[1].name: is missing"),
        (
            {"beerjson": {"version": 1, "fermentations": [fermentation()]}},
            "fermentation_steps = []: must be a list of at least one step",
        ),
        (
            {"beerjson": {"version": 1, "fermentations": [{"name": "a"}]}},
            "fermentation_steps: is missing",
        ),
        (
            {"beerjson": {"version": 1, "fermentations": [fermentation(*[held(18, 1)] * 301)]}},
            "at most 300",
        ),
    ],
)
def test_a_document_of_another_shape_is_refused(root: dict[str, Any], words: str) -> None:
    assert words in str(refusal(json.dumps(root).encode()))
