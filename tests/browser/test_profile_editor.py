"""Profiles are typed in the scale of the page, and kept in °C without a number that drifts."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from browser_rig import SCENES, Cellar, Looking
from site_rig import Site, until

from fermd.config.profile_file import shipped_profiles

pytestmark = pytest.mark.debian("chromium", "chromium-driver")

ODD = """\
name = "Odd numbers"

[[step]]
kind = "ramp"
to_c = 18.33  # 64.994 °F
rate_c_per_day = 1.55

[[step]]
kind = "soak"
target_c = 18.3333
within_c = 0.5
for = "1 d"

[[step]]
kind = "final-hold"
target_c = 4
"""


@pytest.fixture(scope="module")
def cellar(browser: Looking, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Cellar]:
    site = Site(Path(tmp_path_factory.mktemp("f")))
    site.start()
    (site.folder / "profiles").mkdir()
    (site.folder / "profiles" / "odd.toml").write_text(ODD, "utf-8")
    browser.become(SCENES[3])
    browser.open(site.address)
    browser.log_in()
    browser.press("Settings of this page")
    browser.press("°F")
    browser.press("Close")
    yield Cellar(site, browser, SCENES[3])
    complaints = browser.complaints()
    browser.leave()
    site.close()
    assert complaints == []


def saved(cellar: Cellar, name: str) -> str:
    """Save what is in the editor, and return what the file has then."""
    cellar.page.fill("Under the name", name)
    cellar.page.until_shown_in(".ahead table", "Begins")
    cellar.page.press("Save it")
    cellar.page.until_says(f"The profile {name} is saved.")
    return (cellar.site.folder / "profiles" / f"{name}.toml").read_text("utf-8")


def opened(cellar: Cellar, name: str) -> None:
    cellar.page.go(f"#/profiles/{name}")
    cellar.page.until_says("°F")


def field_has(cellar: Cellar, key: str) -> str:
    value = f"return document.getElementById('{key}')?.value ?? null"
    until(lambda: cellar.page.run(value) is not None, f"a field {key}")
    return str(cellar.page.run(value))


def test_what_nobody_has_touched_is_saved_as_it_was(cellar: Cellar) -> None:
    opened(cellar, "odd")
    # 18.33 °C is 64.994 °F; a rate and a width have no offset: 1.55 × 9/5 = 2.79.
    assert field_has(cellar, "step-1-to_c") == "64.99"
    assert field_has(cellar, "step-1-rate_c_per_day") == "2.79"
    assert field_has(cellar, "step-2-target_c") == "65.0"
    assert field_has(cellar, "step-2-within_c") == "0.9"
    assert field_has(cellar, "step-3-target_c") == "39.2"
    cellar.page.until_says("kept in °C")
    assert saved(cellar, "odd-again") == ODD


def test_a_number_typed_again_as_it_was_shown_is_the_number_that_it_was(cellar: Cellar) -> None:
    opened(cellar, "odd")
    for label, shown in (("To", "64.99"), ("Rate", "2.79")):
        cellar.page.fill(label, "70")
        cellar.page.fill(label, shown)
    assert saved(cellar, "odd-typed") == ODD


def test_what_is_typed_in_fahrenheit_is_kept_in_celsius_and_read_back_as_typed(
    cellar: Cellar,
) -> None:
    opened(cellar, "odd")
    cellar.page.fill("To", "65")
    cellar.page.fill("Rate", "2")
    cellar.page.fill("Counts as there within", "1.8")
    text = saved(cellar, "typed")
    # (65 - 32) × 5/9 = 18.333...; 2 × 5/9 = 1.11 a day, to a hundredth of °F; 1.8 × 5/9 = 1.
    assert "to_c = 18.333  # 64.994 °F\nrate_c_per_day = 1.11\n" in text
    assert "within_c = 1.0\n" in text
    opened(cellar, "typed")
    assert field_has(cellar, "step-1-to_c") == "65.0"
    assert field_has(cellar, "step-1-rate_c_per_day") == "2.0"


def test_the_curves_axis_is_in_fahrenheit_and_the_text_in_celsius(cellar: Cellar) -> None:
    opened(cellar, "odd")
    cellar.page.until_shown_in(".ahead table", "39.2 °F")
    axis = "return [...document.querySelectorAll('.curve text')].map((one) => one.textContent)"
    told = cellar.page.run(axis)
    assert "°F" in told
    assert {"40", "50", "60"} <= set(told)
    cellar.page.press("Show it as TOML")
    cellar.page.until_says("Temperatures in the text are °C.")
    cellar.page.fill("Its text", ODD.replace("to_c = 18.33", "to_c = 65"))
    cellar.page.until_shown_in("#toml-fault", "must be from -10 to 45 °C")
    cellar.page.press("Show it as TOML")
    cellar.page.until_shown_in("#step-1-to_c-fault", "must be from 14 to 113 °F")
    cellar.page.fill("To", "warm")
    cellar.page.until_shown_in(".beside", "Step 1, To warm °F: must be a number from 14 to 113 °F")
    cellar.page.fill("To", "64.99")


def test_one_change_of_a_schedule_is_typed_and_the_rest_stays_as_it_was_written(
    cellar: Cellar,
) -> None:
    shipped = shipped_profiles()["cellar-by-season"].read_text("utf-8")
    opened(cellar, "cellar-by-season")
    # 12 °C by night in summer.
    assert field_has(cellar, "step-1-changes-2-target_c") == "53.6"
    cellar.page.type_over("step-1-changes-2-target_c", "20")
    cellar.page.until_shown_in("#step-1-changes-2-target_c-fault", "must be at least 29.3 °F")
    cellar.page.type_over("step-1-changes-2-target_c", "54.5")
    cellar.page.press("Remove change 4")
    cellar.page.press("Add a change")
    cellar.page.type_over("step-1-changes-4-at", "oct-mar 22:00")
    text = saved(cellar, "season")
    # 54.5 °F is 12.5 °C; what is added begins at the last one's target, 11 °C.
    wanted = shipped.replace('22:00", target_c = 12.0', '22:00", target_c = 12.5')
    assert text == re.sub(r'(oct-mar 22:00", target_c = )10.0', r"\g<1>11.0", wanted)


def test_a_target_left_as_it_is_shown_stays_what_it_is(cellar: Cellar) -> None:
    cellar.site.order("ale", "set-target", target_c=18.335)
    cellar.page.go("#/chambers/ale")
    cellar.page.until_shown_in(".should", "65.0 °F")
    cellar.page.press("Set target")
    cellar.page.press("Hold 65.0 °F")
    cellar.page.until_says("target set to 65.0 °F by Anna")
    assert cellar.site.chamber("ale")["target"]["cool_c"] == 18.335
    cellar.page.press("Set target")
    cellar.page.fill("Target of ale", "150")
    cellar.page.press("That is what I want")
    cellar.page.press("Hold 150.0 °F")
    # What is refused is told in °F, too: 45 °C is 113 °F.
    cellar.page.until_shown_in("#sheet .trouble", "to 113 °F")
    cellar.page.press("Leave it")
