"""What a recipe in BeerXML says of fermentation arrives in the profile, or on the list.

Fields and units: BeerXML 1.0, beerxml.com/beerxml.htm, record RECIPE: ages in days, temperatures
in °C.
"""

from __future__ import annotations

import os

import pytest
from recipes import beerxml, recipe_xml, tags

from fermd.config.errors import ConfigError
from fermd.config.profile_file import parse_profile
from fermd.control.steps import FinalHold, Hold, WaitForPerson
from fermd.exchange.beerxml_in import from_beerxml
from fermd.exchange.carried import Carried
from fermd.exchange.documents import read_document
from fermd.exchange.profile_text import profile_text

DAY_S = 86400.0


def imported(**fields: object) -> Carried:
    return from_beerxml(beerxml(recipe_xml(tags(**fields))), "beer.xml")


def listed(carried: Carried, place: str) -> str:
    (found,) = [str(one) for one in carried.left_out if one.where.endswith(place)]
    return found


def refusal(data: bytes, name: str | None = None) -> ConfigError:
    with pytest.raises(ConfigError) as caught:
        from_beerxml(data, "beer.xml", name)
    assert all(line.startswith("beer.xml: ") for line in str(caught.value).splitlines())
    return caught.value


def test_three_stages_are_held_for_their_days() -> None:
    carried = imported(
        FERMENTATION_STAGES=3,
        PRIMARY_AGE="4.0000000",
        PRIMARY_TEMP="18.0000000",
        SECONDARY_AGE=10,
        SECONDARY_TEMP=20.5,
        TERTIARY_AGE=1.5,
        TERTIARY_TEMP=-0.5,
    )
    assert carried.profile.name == "Ale"
    assert carried.profile.steps == (
        Hold(18, 4 * DAY_S, "primary"),
        Hold(20.5, 10 * DAY_S, "secondary"),
        Hold(-0.5, 1.5 * DAY_S, "tertiary"),
    )
    assert carried.left_out == ()


def test_stages_beyond_their_number_are_listed_and_not_fermented() -> None:
    carried = imported(FERMENTATION_STAGES=1, PRIMARY_AGE=7, PRIMARY_TEMP=18, SECONDARY_AGE=3)
    assert carried.profile.steps == (Hold(18, 7 * DAY_S, "primary"),)
    assert "FERMENTATION_STAGES" in listed(carried, "SECONDARY_AGE")


def test_without_a_number_of_stages_all_that_say_something_count() -> None:
    for more in ({}, {"FERMENTATION_STAGES": ""}, {"FERMENTATION_STAGES": 0}):
        carried = imported(PRIMARY_AGE=7, PRIMARY_TEMP=18, TERTIARY_AGE=2, TERTIARY_TEMP=4, **more)
        assert [step.name for step in carried.profile.steps] == ["primary", "tertiary"]


def test_more_stages_than_there_are_fields_for_and_stages_without_fields_are_listed() -> None:
    four = imported(FERMENTATION_STAGES=4, PRIMARY_AGE=7, PRIMARY_TEMP=18)
    assert "three stages only" in listed(four, "FERMENTATION_STAGES")
    two = imported(FERMENTATION_STAGES=2, PRIMARY_AGE=7, PRIMARY_TEMP=18)
    assert "nothing is said of stage SECONDARY" in listed(two, "FERMENTATION_STAGES")


def test_a_stage_without_days_is_held_without_end_if_it_is_the_last() -> None:
    carried = imported(PRIMARY_TEMP=20)
    assert carried.profile.steps == (FinalHold(20, "primary"),)
    assert "without end" in listed(carried, "PRIMARY_AGE")


def test_a_stage_without_temperature_keeps_that_of_the_one_before() -> None:
    carried = imported(PRIMARY_AGE=7, PRIMARY_TEMP=18, SECONDARY_AGE=3)
    assert carried.profile.steps[1] == Hold(18, 3 * DAY_S, "secondary")
    assert "as before" in listed(carried, "SECONDARY_TEMP")
    error = refusal(beerxml(recipe_xml(tags(PRIMARY_AGE=7))))
    assert "RECIPE[1].PRIMARY_TEMP: is missing" in str(error)


def test_stages_of_no_days_are_left_out() -> None:
    carried = imported(PRIMARY_AGE=7, PRIMARY_TEMP=18, SECONDARY_AGE=0, SECONDARY_TEMP=20)
    assert len(carried.profile.steps) == 1
    assert "takes no time" in listed(carried, "SECONDARY_AGE")
    assert "PRIMARY_AGE" in str(refusal(beerxml(recipe_xml(tags(PRIMARY_AGE=0)))))


def test_ageing_in_the_bottle_follows_when_a_person_has_packaged_the_beer() -> None:
    carried = imported(PRIMARY_AGE=7, PRIMARY_TEMP=18, AGE=30, AGE_TEMP=12)
    primary, wait, ageing = carried.profile.steps
    assert primary == Hold(18, 7 * DAY_S, "primary")
    assert isinstance(wait, WaitForPerson)
    assert wait.target_c == 18
    assert ageing == Hold(12, 30 * DAY_S, "ageing")
    assert "wait" in listed(carried, "AGE")


def test_ageing_after_a_stage_without_end_waits_twice_and_ends() -> None:
    carried = imported(PRIMARY_TEMP=18, AGE=30, AGE_TEMP=12)
    assert [step.kind for step in carried.profile.steps] == ["wait", "wait", "hold"]


def test_ageing_that_lacks_days_or_temperature_is_listed() -> None:
    stage = {"PRIMARY_AGE": 7, "PRIMARY_TEMP": 18}
    assert "AGE gives no days" in listed(imported(**stage, AGE=0, AGE_TEMP=4), "AGE_TEMP")
    assert "AGE_TEMP gives no" in listed(imported(**stage, AGE=30), "AGE")


def test_the_rest_of_the_recipe_is_listed_and_its_own_names_do_not_count() -> None:
    body = (
        tags(BREWER="me", PRIMARY_AGE=7, PRIMARY_TEMP=18, DISPLAY_PRIMARY_TEMP="64.4 F")
        + "<STYLE><NAME>Other</NAME><PRIMARY_TEMP>99</PRIMARY_TEMP></STYLE>"
        + "<HOPS><HOP><NAME>Saaz</NAME><USE>Dry Hop</USE></HOP>"
        + "<HOP><NAME>Magnum</NAME><USE>Boil</USE></HOP></HOPS>"
        + "<MISCS><MISC><NAME>Plum</NAME><USE>Secondary</USE></MISC></MISCS>"
    )
    carried = from_beerxml(beerxml(recipe_xml(body)))
    assert carried.profile.name == "Ale"
    assert carried.profile.steps == (Hold(18, 7 * DAY_S, "primary"),)
    rest = listed(carried, "RECIPE[1]")
    assert "BREWER, DISPLAY_PRIMARY_TEMP, STYLE, HOPS, MISCS" in rest
    assert "Saaz" in listed(carried, ".HOP")
    assert "Plum" in listed(carried, ".MISC")


def test_a_recipe_without_name_or_of_another_version_is_read_and_listed() -> None:
    stage = tags(PRIMARY_AGE=7, PRIMARY_TEMP=18)
    carried = from_beerxml(beerxml(f"<RECIPE><VERSION>2</VERSION>{stage}</RECIPE>"))
    assert carried.profile.name == "imported"
    assert "is empty" in listed(carried, "NAME")
    assert "read as if it were" in listed(carried, "VERSION")
    bare = f"<RECIPE><NAME>Ale</NAME>{stage}</RECIPE>".encode()
    assert from_beerxml(bare).profile.steps == (Hold(18, 7 * DAY_S, "primary"),)


def test_of_several_recipes_one_is_named_or_all_are_listed() -> None:
    stage = tags(PRIMARY_AGE=7, PRIMARY_TEMP=18)
    data = beerxml(
        recipe_xml(stage, "Ale"),
        recipe_xml("", "Water"),
        recipe_xml(tags(PRIMARY_AGE=14, PRIMARY_TEMP=10), "Lager"),
    )
    assert from_beerxml(data, name="Lager").profile.steps[0] == Hold(10, 14 * DAY_S, "primary")
    assert '1. "Ale", 2. "Lager"' in str(refusal(data))
    assert refusal(data, "Stout").exit_code == os.EX_USAGE
    assert "PRIMARY_AGE or PRIMARY_TEMP" in str(refusal(beerxml(recipe_xml(""))))


@pytest.mark.parametrize("encoding", ["ISO-8859-1", "UTF-8", "UTF-16", "windows-1252", "US-ASCII"])
def test_the_encoding_that_the_first_line_names_is_used(encoding: str) -> None:
    name = "Kolsch" if encoding == "US-ASCII" else "Kölsch"
    data = beerxml(recipe_xml(tags(PRIMARY_TEMP=18), name), encoding=encoding)
    assert read_document(data, "beer.xml").profile.name == name


def test_characters_written_as_codes_and_comments_are_understood() -> None:
    body = "<PRIMARY_TEMP>1<!-- not 8 -->9</PRIMARY_TEMP>"
    carried = from_beerxml(beerxml(recipe_xml(body, "B &amp; K&#246;lsch &lt;3")))
    assert carried.profile.name == "B & Kölsch <3"
    assert carried.profile.steps == (FinalHold(19, "primary"),)


@pytest.mark.parametrize(
    ("tag", "value", "words"),
    [
        ("PRIMARY_TEMP", "80", "-10 to 45 °C"),
        ("PRIMARY_TEMP", "18 C", "must be a number of °C, without a unit"),
        ("PRIMARY_TEMP", "18,5", "with a point, not a comma"),
        ("PRIMARY_TEMP", "nan", "must be a number"),
        ("PRIMARY_TEMP", "1e999", "-10 to 45 °C"),
        ("PRIMARY_AGE", "-1", "from 0 to 400 days"),
        ("PRIMARY_AGE", "20160", "from 0 to 400 days"),
        ("PRIMARY_AGE", "two", "must be a number of days"),
        ("FERMENTATION_STAGES", "1.5", "whole number"),
        ("FERMENTATION_STAGES", "two", "must be a number"),
        ("AGE", "many", "must be a number of days"),
    ],
)
def test_a_bad_field_is_named_with_its_value_and_what_is_allowed(
    tag: str, value: str, words: str
) -> None:
    fields = {"PRIMARY_AGE": 7, "PRIMARY_TEMP": 18, tag: value}
    error = refusal(beerxml(recipe_xml(tags(**fields))))
    assert error.exit_code == os.EX_DATAERR
    (line,) = str(error).splitlines()
    assert line.startswith(f'beer.xml: RECIPE[1].{tag} = "{value}": ')
    assert words in line


def test_a_field_that_is_there_twice_or_holds_tags_is_refused() -> None:
    twice = beerxml(recipe_xml(tags(PRIMARY_TEMP=18) + tags(PRIMARY_TEMP=20)))
    assert 'RECIPE[1].PRIMARY_TEMP = "18": is there a second time' in str(refusal(twice))
    nested = beerxml(recipe_xml("<PRIMARY_TEMP>18</PRIMARY_TEMP><PRIMARY_AGE>1<X/>4</PRIMARY_AGE>"))
    assert "RECIPE[1].PRIMARY_AGE: must hold a value" in str(refusal(nested))


def test_an_age_of_any_number_of_days_is_the_same_again_from_the_profiles_text() -> None:
    """Found by bad input in bulk: more digits of a second than a file keeps."""
    carried = imported(
        TERTIARY_AGE="3.375533315538174", TERTIARY_TEMP=0, PRIMARY_AGE=7, PRIMARY_TEMP=18
    )
    assert parse_profile(profile_text(carried.profile), "again") == carried.profile
