"""What a brewer does with the page, at a phone and at a desk, by day and by night.

Against the real daemon on simulated chambers. Each scene has a site of its own; a test brings the
chamber that it needs into the state that it needs, through the daemon's own socket.
"""

from __future__ import annotations

import re

import pytest
from browser_rig import BEHAVIOURS, Cellar
from site_rig import PROFILE, until

pytestmark = [
    pytest.mark.debian("chromium", "chromium-driver"),
    pytest.mark.parametrize("scene", BEHAVIOURS, ids=lambda scene: scene.name, indirect=True),
]

LAGER = "#/chambers/lager"
ALE = "#/chambers/ale"


def test_the_first_look_tells_whether_all_is_well_and_where_each_beer_is(cellar: Cellar) -> None:
    cellar.page.go("#/")
    cellar.page.until_shown_in(".verdict .word", "Worth knowing")
    cellar.page.until_says("Fermd started")
    for name in ("lager", "ale"):
        beer_c = cellar.site.chamber(name)["vessel"]["temp_c"]
        number = cellar.shown(beer_c).split()[0]
        cellar.page.until_shown_in(f'a[href="#/chambers/{name}"]', number)
        cellar.page.until_shown_in(f'a[href="#/chambers/{name}"]', "no target")
    assert "live" in cellar.page.shown_in(".live")


def test_a_held_compressor_is_told_with_its_reason_and_a_count_down(cellar: Cellar) -> None:
    cellar.site.order("lager", "set-target", target_c=10.0)
    cellar.page.go(LAGER)
    cellar.page.until_shown_in(".output.cool", "held off")
    # The daemon's own sentence, but for what is left meanwhile.
    told = cellar.site.chamber("lager")["outputs"][0]["words"]
    before, after = re.split(r"another [^(]*", told)
    assert before == "cooling is called for; it stays off for "
    cellar.page.until_shown_in(".output.cool", before.capitalize())
    cellar.page.until_shown_in(".output.cool", after)

    def left_s() -> int:
        minutes, seconds = cellar.page.shown_in(".output.cool [role=timer]").split(":")
        return 60 * int(minutes) + int(seconds)

    first_s = left_s()
    assert 0 < first_s <= 1200
    until(lambda: left_s() < first_s, "the count-down counts down")
    cellar.page.until_shown_in(".should", f"Should be {cellar.shown(10.0)}")
    cellar.page.until_shown_in(".should", "too warm")
    cellar.page.until_shown_in(".going", "Cooling")


def test_a_target_is_set_and_taken_back(cellar: Cellar) -> None:
    cellar.site.order("ale", "set-target", target_c=18.0)
    cellar.page.go(ALE)
    cellar.page.press("Set target")
    cellar.page.fill("Target of ale", cellar.shown(19.0).split()[0])
    cellar.page.press(f"Hold {cellar.shown(19.0)}")
    cellar.page.until_says(f"target set to {cellar.shown(19.0)} by Anna")
    assert cellar.site.chamber("ale")["target"]["cool_c"] == pytest.approx(19.0, abs=0.01)
    cellar.site.until_recorded("ale", "set the target to 19 °C, asked by Anna and taken")
    cellar.page.press("Undo")
    cellar.page.until_says("Undone")
    assert cellar.site.chamber("ale")["target"]["cool_c"] == 18.0


def test_a_target_far_away_or_near_freezing_is_asked_about_first(cellar: Cellar) -> None:
    cellar.page.go(ALE)
    cellar.page.press("Set target")
    cellar.page.fill("Target of ale", cellar.shown(0.5).split()[0])
    cellar.page.until_says("near the freezing point of beer")
    assert not cellar.page.is_offered(f"Hold {cellar.shown(0.5)}")
    cellar.page.fill("Target of ale", cellar.shown(28.0).split()[0])
    cellar.page.until_says("a ramp is kinder")
    cellar.page.press("That is what I want")
    assert cellar.page.is_offered(f"Hold {cellar.shown(28.0)}")
    cellar.page.press("Leave it")


def test_the_beer_is_held_here_and_the_profile_goes_on(cellar: Cellar) -> None:
    cellar.site.order("lager", "start-profile", profile_toml=PROFILE)
    cellar.page.go(LAGER)
    cellar.page.until_shown_in(".next .step", "Short lager: Step 1 of 3, hold (pitch)")
    cellar.page.press("Hold here")
    cellar.page.until_says("held here, the step's clock stands still by Anna")
    assert cellar.site.chamber("lager")["mode"] == "paused"
    cellar.page.until_shown_in(".next", "Paused")
    cellar.page.press("Resume", within="#deck")
    cellar.page.until_says("the profile goes on")
    assert cellar.site.chamber("lager")["mode"] == "profile"


def test_a_step_is_made_longer_and_skipped_and_both_are_taken_back(cellar: Cellar) -> None:
    cellar.site.order("lager", "start-profile", profile_toml=PROFILE)
    cellar.page.go(LAGER)
    cellar.page.press("Extend")
    cellar.page.press("2 d")
    cellar.page.press("Make it 2 d longer")
    cellar.page.until_says("step made 2 d longer by Anna")
    assert cellar.site.chamber("lager")["profile"]["planned_s"] == 7 * 86400
    cellar.page.press("Undo")
    cellar.page.until_says("Undone")
    assert cellar.site.chamber("lager")["profile"]["planned_s"] == 5 * 86400
    cellar.page.press("Skip")
    cellar.page.until_says("Next: wait for a person")
    cellar.page.press("Skip it")
    cellar.page.until_says("step 1 skipped by Anna")
    assert cellar.site.chamber("lager")["profile"]["step"] == 2
    cellar.page.press("Undo")
    cellar.page.until_says("Undone")
    assert cellar.site.chamber("lager")["profile"]["step"] == 1


def test_an_alarm_is_acknowledged_and_the_step_that_waits_is_confirmed(cellar: Cellar) -> None:
    cellar.site.order("lager", "start-profile", profile_toml=PROFILE)
    cellar.site.order("lager", "skip-step")
    cellar.page.go(LAGER)
    cellar.page.until_shown_in(".troubles", "The profile waits for a person")
    cellar.page.press("I have seen it")
    cellar.page.until_shown_in(".troubles", "acknowledged")
    assert [one["phase"] for one in cellar.site.chamber("lager")["alarms"]] == ["acknowledged"]
    cellar.page.until_shown_in(".prompt", "Add the dry hops")
    cellar.page.press("Done, go on", within="#deck")
    cellar.page.until_says("said so, the profile goes on")
    assert cellar.site.chamber("lager")["profile"]["kind"] == "final-hold"


def test_an_output_is_set_by_hand_only_after_a_plain_warning(cellar: Cellar) -> None:
    cellar.site.order("ale", "set-target", target_c=18.0)
    cellar.page.go(ALE)
    cellar.page.press("Set by hand")
    cellar.page.press("On")
    cellar.page.press("5 min")
    cellar.page.until_says("Protection stays")
    assert not cellar.page.is_offered("Switch on for 5 min")
    cellar.page.press("I know what this does")
    cellar.page.press("Switch on for 5 min")
    cellar.page.until_says("heat called on for 5 min by Anna")
    cellar.page.until_shown_in(".output.heat", "set by hand for another")
    cellar.site.until_recorded("ale", "heat on for 5 min, asked by Anna and taken")
    cellar.page.press("Undo")
    cellar.page.until_says("Undone")
    until(
        lambda: cellar.site.chamber("ale")["outputs"][0]["reasons"][0]["rule"] != "override",
        "back to automatic",
    )


def test_a_gravity_is_noted_with_its_time_and_taken_back(cellar: Cellar) -> None:
    cellar.page.go(LAGER)
    cellar.page.press("Note")
    cellar.page.fill("Reading", "3.2")
    cellar.page.until_says("a specific gravity: 0.980 to 1.200")
    cellar.page.fill("Reading", "1.012")
    cellar.page.fill("And (if you like)", "tastes clean")
    cellar.page.press("Note it")
    cellar.page.until_says("gravity 1.012, tastes clean, noted by Anna")
    cellar.page.until_shown_in("[aria-labelledby=happened-title]", "tastes clean")
    cellar.page.press("Undo")
    cellar.page.until_says("the note is taken back")


def test_a_profile_is_looked_at_before_it_starts_now_or_at_a_time(cellar: Cellar) -> None:
    cellar.site.order("ale", "set-target", target_c=18.0)
    cellar.page.go(ALE)
    cellar.page.press("Profile", within="#deck")
    cellar.page.press("Cellar hold")
    cellar.page.until_shown_in(".ahead table", "Final hold")
    cellar.page.press("At a time")
    cellar.page.until_shown_in(".ahead table", "Final hold")
    cellar.page.press("Start it then")
    cellar.page.until_says("is going to start")
    planned = cellar.site.chamber("ale")["planned_start"]
    assert (planned["profile"], planned["who"]) == ("Cellar hold", "Anna")
    cellar.page.press("Undo")
    cellar.page.until_says("Undone")
    assert cellar.site.chamber("ale")["planned_start"] is None
    cellar.page.press("Profile", within="#deck")
    cellar.page.press("Cellar hold")
    cellar.page.until_shown_in(".ahead table", "Final hold")
    cellar.page.press("Start it now")
    cellar.page.until_shown_in(".next .step", "Cellar hold: Step 1")
    assert cellar.site.chamber("ale")["mode"] == "profile"


def test_a_profile_is_written_with_its_faults_beside_their_fields_and_saved(
    cellar: Cellar,
) -> None:
    cellar.page.go("#/profiles")
    cellar.page.press("Write a new one")
    cellar.page.fill("Name", "House pils")
    cellar.page.fill("Under the name", "house-pils")
    cellar.page.fill("Temperature", cellar.shown(-9.0).split()[0])
    lowest = f"must be at least {cellar.shown(-1.5)}"
    cellar.page.until_shown_in("#step-1-target_c-fault", lowest)
    cellar.page.until_shown_in(".beside", f"Step 1, Temperature {cellar.shown(-9.0)}: {lowest}")
    assert not cellar.page.is_offered("Save it")
    cellar.page.fill("Temperature", cellar.shown(11.5).split()[0])
    cellar.page.until_shown_in(".ahead table", cellar.shown(11.5))
    cellar.page.press("Show it as TOML")
    text = cellar.page.run("return document.getElementById('toml').value")
    assert 'name = "House pils"' in text
    assert "target_c = 11.5" in text
    cellar.page.press("Save it")
    cellar.page.until_says("The profile house-pils is saved.")
    assert (cellar.site.folder / "profiles" / "house-pils.toml").read_text("utf-8") == text
    cellar.page.until_shown_in(".profiles", "House pils")
    cellar.page.press("Undo")
    cellar.page.until_says("house-pils is gone again")
    assert not (cellar.site.folder / "profiles" / "house-pils.toml").exists()


def test_the_chart_goes_from_an_hour_to_the_whole_batch_and_to_minutes(cellar: Cellar) -> None:
    cellar.page.go(LAGER)
    cellar.page.until_chart()

    def shown_s() -> float:
        return float(cellar.page.run(
            "const hours = document.querySelector('.canvas').spanShown; return hours ?? 0"
        ))  # fmt: skip

    cellar.page.press("1 h: the last hour")
    until(lambda: shown_s() == pytest.approx(1.2 * 3600), "an hour and what is ahead of it")
    cellar.page.press("Batch: the whole of it")
    until(lambda: shown_s() > 1.2 * 3600, "the batch and all that is foreseen")
    canvas = "document.querySelector('.canvas')"
    cellar.page.run(f"{canvas}.focus()")
    cellar.page.run(
        f"for (let n = 0; n < 30; n += 1) {canvas}.dispatchEvent("
        "new KeyboardEvent('keydown', {key: '+', bubbles: true}))"
    )
    until(lambda: shown_s() == 300, "five minutes")
    cellar.page.press("1 d: the last day")
    cellar.page.press("The same as a table")
    cellar.page.until_shown_in(".as-table", "Time")


def test_a_probe_that_stands_in_no_ice_water_is_not_calibrated(cellar: Cellar) -> None:
    cellar.page.go("#/probes")
    cellar.page.press("Calibrate shelf in ice water")
    cellar.page.press("It is in stirred ice water, and stands still")
    cellar.page.press("Calibrate it")
    cellar.page.until_shown_in("#sheet .trouble", "Is it in stirred ice and water")
    cellar.page.press("Leave it")
    cellar.site.order("ale", "set-target", target_c=18.0)
    cellar.page.press("Calibrate bucket in ice water")
    cellar.page.until_says("the heat would run")
    cellar.page.press("Leave it")


def test_every_order_is_in_the_record_with_who_gave_it(cellar: Cellar) -> None:
    cellar.page.go("#/record/lager")
    cellar.page.until_says("by Anna")
    cellar.page.until_says("Skip the step, asked by Anna and taken")
