"""The JSON Schemas say the same as the checks."""

from __future__ import annotations

import json
from dataclasses import fields

from fermd.config.attribute_docs import attribute_docs
from fermd.config.profile_tables import STEP_TYPES
from fermd.config.schema import profile_schema, site_schema
from fermd.control.settings import HeatBandSettings, LimitSettings


def test_ranges_defaults_and_meanings_are_those_of_the_settings() -> None:
    band = site_schema()["$defs"]["HeatBandSettings"]["properties"]["band_c"]
    assert band["exclusiveMinimum"] == 0
    assert band["maximum"] == 5
    assert band["default"] == HeatBandSettings().band_c
    assert band["description"] == attribute_docs(HeatBandSettings)["band_c"]
    assert band["description"].startswith("Nothing is called for closer to the target")


def test_every_number_of_the_limits_is_in_the_schema() -> None:
    properties = site_schema()["$defs"]["LimitSettings"]["properties"]
    assert properties.keys() == {field.name for field in fields(LimitSettings)}


def test_unknown_keys_are_refused_by_the_schema_too() -> None:
    schema = site_schema()
    assert schema["additionalProperties"] is False
    assert all(
        table["additionalProperties"] is False
        for table in schema["$defs"].values()
        if table["type"] == "object"
    )


def test_protection_has_no_default_of_its_own_since_it_depends_on_the_kind() -> None:
    properties = site_schema()["$defs"]["ProtectionSettings"]["properties"]
    assert "default" not in properties["minimum_off_s"]


def test_a_profile_has_every_kind_of_step_with_durations_as_text() -> None:
    schema = profile_schema()
    kinds = schema["properties"]["step"]["items"]["discriminator"]["mapping"]
    assert kinds.keys() == STEP_TYPES.keys()
    assert schema["$defs"]["Hold"]["properties"]["for"]["type"] == "string"
    assert "for_s" not in json.dumps(schema)


def test_the_schemas_are_plain_json() -> None:
    for schema in (site_schema(), profile_schema()):
        assert json.loads(json.dumps(schema)) == schema
        assert schema["$schema"].startswith("https://json-schema.org/")


def test_a_class_without_source_has_no_meanings_rather_than_an_error() -> None:
    made_up = type("MadeUp", (), {"__annotations__": {"x": int}})
    assert attribute_docs(made_up) == {}
