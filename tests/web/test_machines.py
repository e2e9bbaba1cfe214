"""The description is valid and complete, and the figures are OpenMetrics by the official parser."""

from __future__ import annotations

import re
from typing import Any

import pytest
from lan_rig import Lan
from openapi_spec_validator import OpenAPIV31SpecValidator
from prometheus_client.openmetrics.parser import text_string_to_metric_families
from web_rig import Caller, until

from fermd.web.orders import NAMES


@pytest.fixture(scope="module")
def described(site: Caller) -> Any:
    return site.get("/openapi.json").json()


def test_the_description_is_valid_openapi(described: Any) -> None:
    assert described["openapi"].startswith("3.1")
    OpenAPIV31SpecValidator(described).validate()


def test_whatever_is_answered_is_described_and_the_other_way_round(
    described: Any, site: Caller
) -> None:
    from fermd.web.api import application
    from fermd.web.orders import Readers

    app = application(None, Readers(lambda _: None, lambda _: 0.0))  # type: ignore[arg-type,return-value]
    served = {
        (method, route.path)
        for route in app.routes
        for method in route.methods  # type: ignore[attr-defined]
        if method != "HEAD" and route.path.startswith(("/api", "/metrics", "/openapi"))  # type: ignore[attr-defined]
    }
    told = {
        (method.upper(), path) for path, methods in described["paths"].items() for method in methods
    }
    assert served == told


def test_every_operation_says_what_it_does_takes_and_answers(described: Any) -> None:
    for path, methods in described["paths"].items():
        for method, operation in methods.items():
            where = f"{method} {path}"
            assert operation["summary"], where
            assert operation["tags"], where
            named = {one["name"] for one in operation["parameters"] if one["in"] == "path"}
            assert named == set(re.findall(r"{(\w+)}", path)), where
            assert any(code in operation["responses"] for code in ("200", "204")), where
            for code, answer in operation["responses"].items():
                assert answer["description"], where
                if code not in ("200", "204"):
                    schema = answer["content"]["application/json"]["schema"]
                    assert schema == {"$ref": "#/components/schemas/Refusal"}, where
            if method in ("post", "put") and path != "/api/session":
                assert "403" in operation["responses"], where


def test_every_command_is_described_with_its_own_fields(described: Any) -> None:
    body = described["paths"]["/api/chambers/{chamber}/commands"]["post"]["requestBody"]
    mapping = body["content"]["application/json"]["schema"]["discriminator"]["mapping"]
    assert set(mapping) == set(NAMES)
    for name, ref in mapping.items():
        shape = described["components"]["schemas"][ref.rpartition("/")[2]]
        assert shape["properties"]["command"]["const"] == name
        assert shape["description"]


def families(site: Caller) -> dict[str, Any]:
    answer = site.get("/metrics")
    assert answer.headers["content-type"].startswith("application/openmetrics-text")
    assert answer.text.endswith("# EOF\n")
    return {one.name: one for one in text_string_to_metric_families(answer.text)}


def values(family: Any, **labels: str) -> list[float]:
    return [
        sample.value
        for sample in family.samples
        if all(sample.labels.get(key) == value for key, value in labels.items())
    ]


def test_the_figures_are_those_of_the_status(site: Caller) -> None:
    assert site.order("lager", "set-target", target_c=9.25).is_success
    until(lambda: values(families(site)["fermd_target_celsius"], chamber="lager") == [9.25] * 2)
    found = families(site)
    status = site.get("/api/status").json()
    lager = status["chambers"]["lager"]
    (vessel_c,) = values(found["fermd_temperature_celsius"], chamber="lager", role="vessel")
    assert vessel_c == pytest.approx(lager["vessel"]["temp_c"], abs=0.5)
    for output in lager["outputs"]:
        (on,) = values(found["fermd_output_on"], chamber="lager", output=output["name"])
        assert on in (0.0, 1.0)
    assert values(found["fermd_mode"], chamber="lager", mode="hand") == [1.0]
    assert sum(values(found["fermd_mode"], chamber="lager")) == 1.0
    assert 0.0 <= values(found["fermd_tick_age_seconds"])[0] < 300.0
    assert values(found["fermd_journal_trouble"]) == [0.0, 0.0]
    assert len(values(found["fermd_probe_trusted"])) == 4


def test_what_is_not_known_is_left_out_and_never_a_number(unready: Caller) -> None:
    found = families(unready)
    assert set(found) == {"fermd", "fermd_open_pages"}


def test_series_are_kept_apart_by_labels_that_cannot_break_the_text(site: Caller) -> None:
    profile = (
        'name = "Quote \\" back\\\\slash\\nline"\n[[step]]\nkind = "final-hold"\ntarget_c = 9\n'
    )
    assert site.order("ale", "start-profile", profile_toml=profile).is_success
    until(lambda: values(families(site)["fermd_profile_step"], chamber="ale") == [1.0])
    (sample,) = families(site)["fermd_profile_step"].samples
    assert sample.labels["profile"] == 'Quote " back\\slash\nline'


def test_figures_are_there_for_who_is_logged_in(lan: Lan) -> None:
    with lan.logged_in() as phone:
        assert phone.get("/metrics").text.endswith("# EOF\n")
        assert phone.get("/openapi.json").json()["openapi"].startswith("3.1")
