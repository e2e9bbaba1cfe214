"""Against BeerJSON itself: the schema and the examples of the standard, where they are at hand.

They are not part of this repository. Fetch and unpack the published package, and say where:

    npm pack @beerjson/beerjson@1.0.2 && tar xzf beerjson-beerjson-1.0.2.tgz
    BEERJSON_PACKAGE=package pytest tests/exchange

It holds the schema of BeerJSON 1.0 (json/), its examples (tests/generic, tests/real,
tests/converted) and recipes in BeerXML 1.0 (tests/xml).
"""

from __future__ import annotations

import json
import os
from pathlib import Path
from typing import Any

import pytest
from any_profile import profiles
from beerjson_rules import broken_rules
from hypothesis import given

from fermd.config.errors import ConfigError
from fermd.config.profile_file import load_profile, parse_profile, shipped_profiles
from fermd.control.steps import FinalHold, FreeRise, Hold, Profile
from fermd.exchange.beerjson_out import to_beerjson
from fermd.exchange.documents import load_document
from fermd.exchange.profile_text import profile_text

PACKAGE = Path(os.environ.get("BEERJSON_PACKAGE", ""))

pytestmark = pytest.mark.skipif(
    not (PACKAGE / "json" / "beer.json").is_file(),
    reason="needs BEERJSON_PACKAGE, the unpacked npm package @beerjson/beerjson 1.0.2",
)


def example(name: str) -> Path:
    return PACKAGE / "tests" / name


@pytest.fixture(scope="module")
def schema() -> Any:
    jsonschema = pytest.importorskip("jsonschema")
    from referencing import Registry, Resource

    files = sorted((PACKAGE / "json").glob("*.json"))
    resources = [Resource.from_contents(json.loads(file.read_text("utf-8"))) for file in files]
    registry = Registry().with_resources([(one.id() or "", one) for one in resources])
    root = json.loads((PACKAGE / "json" / "beer.json").read_text("utf-8"))
    return jsonschema.Draft7Validator(root, registry=registry)


def test_it_is_the_version_that_is_meant() -> None:
    assert json.loads((PACKAGE / "package.json").read_text())["version"] == "1.0.2"


@pytest.mark.parametrize("name", shipped_profiles())
def test_every_shipped_profile_is_exported_as_valid_beerjson(schema: Any, name: str) -> None:
    document, _ = to_beerjson(load_profile(shipped_profiles()[name]))
    assert [error.message for error in schema.iter_errors(document)] == []


@given(profile=profiles())
def test_every_profile_is_exported_as_valid_beerjson(schema: Any, profile: Profile) -> None:
    assert list(schema.iter_errors(to_beerjson(profile)[0])) == []


@pytest.mark.parametrize(
    "change",
    [
        {},
        {"name": None},
        {"free_rise": "yes"},
        {"step_time": {"unit": "day", "value": 1.5}},
        {"step_time": {"unit": "day", "value": 2.0}},
        {"step_time": {"unit": "month", "value": 1}},
        {"step_time": {"unit": "day"}},
        {"start_temperature": {"unit": "K", "value": 290}},
        {"start_temperature": {"unit": "C", "value": True}},
        {"start_temperature": {"unit": "C", "value": 20, "more": 1}},
        {"start_gravity": {"unit": "brix", "value": 12}},
        {"end_ph": {"unit": "pH", "value": "low"}},
        {"vessel": 3},
        {"vessel_pressure": {"unit": "bar", "value": 1}},
    ],
)
def test_our_own_rules_say_what_the_schema_says(schema: Any, change: dict[str, Any]) -> None:
    step = {"name": "a", **change}
    step = {key: value for key, value in step.items() if value is not None}
    document = {
        "beerjson": {
            "version": 2.06,
            "fermentations": [{"name": "b", "fermentation_steps": [step]}],
        }
    }
    assert bool(broken_rules(document)) == bool(list(schema.iter_errors(document)))


def test_every_example_is_read_or_refused_in_one_line() -> None:
    read = []
    for file in sorted(example("").rglob("*.json")) + sorted(example("").rglob("*.xml")):
        try:
            carried = load_document(file)
        except ConfigError as error:
            assert "has no fermentation" in str(error)  # noqa: PT017 - most have none
        else:
            text = profile_text(carried.profile, [str(one) for one in carried.left_out])
            # A ceiling or a °F in full digits must survive the file, too.
            assert parse_profile(text, file.name) == carried.profile
            read.append(file.name)
    assert len(read) == 11


def test_the_example_of_a_fermentation_becomes_its_three_holds() -> None:
    carried = load_document(example("generic/fermentation.json"))
    assert carried.profile.steps == (
        Hold(19.4, 14 * 86400, "Primary"),
        Hold(18.3, 10 * 86400, "Secondary"),
        Hold(18.3, 7 * 86400, "Tertiary"),
    )
    assert carried.left_out == ()


def test_the_example_of_a_saison_rises_freely_and_its_gravities_are_listed() -> None:
    carried = load_document(example("real/BrettDosedKegsSaison.json"))
    assert carried.profile.steps == (FreeRise(23.3333, 27.7778, 7 * 86400, "Free rise"),)
    told = {one.where.rsplit(".", 1)[-1]: one.what for one in carried.left_out}
    assert (told["start_gravity"], told["end_gravity"]) == ("1.046 sg", "1.012 sg")


def test_the_recipes_in_beerxml_become_their_stages() -> None:
    crashed = load_document(example("xml/Kolsh.xml")).profile
    assert crashed.steps == (
        Hold(18, 14 * 86400, "primary"),
        Hold(0, 4 * 86400, "secondary"),
    )
    open_ended = load_document(example("xml/Londonpride.xml")).profile
    assert open_ended.steps == (FinalHold(20, "primary"),)
    aged = load_document(example("xml/RRSummerBitter.xml")).profile
    assert [step.kind for step in aged.steps] == ["hold", "wait", "hold"]
