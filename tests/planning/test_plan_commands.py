"""`fermd preview`, `fermd rehearse` and `fermd size`, as a brewer types them."""

from __future__ import annotations

import json
import os
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from fermd.cli.catalogue import fermd
from fermd.config.example import SHORT_SITE

START = ("--start", "2035-03-02 18:00")
"""A Friday; clocks go forward in Vienna on the 25th. Far ahead: a start in the past is refused."""

SHORT = """\
name = "Short"

[[step]]
kind = "hold"
name = "cool"
target_c = 12.0
for = "20 h"

[[step]]
kind = "ramp"
name = "crash"
to_c = 4.0
rate_c_per_day = 12.0

[[step]]
kind = "wait"
name = "bottles"
target_c = 4.0
prompt = "Fill the bottles."

[[step]]
kind = "final-hold"
target_c = 4.0
"""


class Ended:
    def __init__(self, code: int, out: str, err: str) -> None:
        self.code, self.out, self.err = code, out, err

    @property
    def json(self) -> Any:
        return json.loads(self.out)


def run(*arguments: str) -> Ended:
    result = CliRunner().invoke(fermd, list(arguments), catch_exceptions=False)
    return Ended(result.exit_code, result.stdout, result.stderr)


@pytest.fixture
def site(tmp_path: Path) -> str:
    path = tmp_path / "fermd.toml"
    path.write_text(SHORT_SITE)
    return str(path)


@pytest.fixture
def short(tmp_path: Path) -> str:
    path = tmp_path / "short.toml"
    path.write_text(SHORT)
    return str(path)


def test_a_preview_shows_dates_targets_length_a_chart_and_what_to_beware_of(site: str) -> None:
    ended = run("preview", "lager-diacetyl-rest", "--site", site, *START)
    assert (ended.code, ended.err) == (0, "")
    assert max(map(len, ended.out.splitlines())) <= 80
    for words in (
        "starts Fri 2035-03-02 18:00 (Europe/Vienna), beer at 8.0 °C",
        "1 pitch               Fri 02 Mar 18:00  8.0 °C           1 d",
        "In all about 23 d ",
        "until about Mon 2035-03-26 0",
        "clocks go forward by 60 min on Sun 2035-03-25",
        "draws in",
        "┤",
        "Assumed",
    ):
        assert words in ended.out


def test_a_preview_in_fahrenheit_shows_no_celsius(site: str) -> None:
    shown = run("preview", "lager-diacetyl-rest", "--site", site, *START, "--fahrenheit").out
    assert "beer at 46.4 °F" in shown
    assert "51.8 to 64.4 °F" in shown
    assert "°C" not in shown.split("Assumed")[0]


def test_a_preview_as_json_has_instants_targets_and_cautions(site: str) -> None:
    told = run("preview", "ale-free-rise", "--site", site, *START, "--json").json
    assert told["start"] == "2035-03-02T18:00+01:00"
    assert told["chamber"] == "lager"
    assert [step["step"] for step in told["steps"]] == [1, 2, 3, 4, 5, 6]
    assert told["steps"][0]["begins_is_sure"]
    assert not told["steps"][2]["begins_is_sure"]
    assert told["steps"][-1]["ends"] is None
    (suck_back,) = [one for one in told["cautions"] if one["rule"] == "suck-back"]
    assert suck_back["step"] == 4
    assert suck_back["numbers"]["gas_law_l"] == pytest.approx(0.41, abs=0.02)
    assert told["batch"]["yeast"] == "ale"


def test_steps_that_the_beer_or_a_person_ends_are_shown_with_an_estimate(
    site: str, short: str
) -> None:
    shown = run("preview", short, "--site", site, *START, "--confirm-after", "6h").out
    assert "when confirmed ~6 h" in shown
    assert "~Sun 04 Mar" in shown


@pytest.mark.parametrize("name", ["dry-hop", "ale-free-rise", "cellar-by-season"])
def test_a_preview_fits_a_page_whatever_the_steps_are(site: str, name: str) -> None:
    shown = run("preview", name, "--site", site, *START, "-F")
    assert shown.code == 0
    assert max(map(len, shown.out.splitlines())) <= 80
    assert ("It has no end" in shown.out) == (name == "cellar-by-season")


@pytest.mark.parametrize(
    ("arguments", "code", "words"),
    [
        (("--start", "2020-01-01 12:00"), os.EX_USAGE, "the start is in the past"),
        (("--start", "soon"), os.EX_USAGE, "must be a local time"),
        (("--volume", "-3"), os.EX_USAGE, "must be a number of l"),
        (("--volume", "30", "--vessel", "20"), os.EX_USAGE, "vessel = 20.0: must be from 30"),
        (("--original", "1.048", "--abv", "15"), os.EX_USAGE, "alcohol by volume = 15.0"),
        (("--final", "1.01", "--abv", "5"), os.EX_USAGE, "give one of them"),
        (("--chamber", "cellar"), os.EX_USAGE, "there are lager"),
        (("--zone", "Atlantis"), os.EX_USAGE, "must be an IANA name"),
        (("--room", "99"), os.EX_USAGE, "must be from -40 to 60 °C"),
        (("--beer", "99"), os.EX_USAGE, "must be from -5 to 60 °C"),
        (("--cabinet", "20"), os.EX_USAGE, "see --vessel and --cabinet"),
        (("--room-file", "none.csv"), os.EX_NOINPUT, "none.csv: cannot be read"),
        (("--room-file", "x", "--room", "3"), os.EX_USAGE, "leave out --room and --swing"),
        (("--picture", "x.gif"), os.EX_USAGE, "must end in one of"),
        (("--picture", "no/where.svg"), os.EX_CANTCREAT, "cannot be written"),
        (("--lag", "long"), os.EX_USAGE, "must be a number with a unit"),
    ],
)
def test_what_is_wrong_is_one_clear_error(
    site: str, arguments: tuple[str, ...], code: int, words: str
) -> None:
    for command in ("preview", "rehearse"):
        ended = run(command, "cellar-hold", "--site", site, *arguments)
        assert (ended.code, ended.out) == (code, "")
        assert words in ended.err
        assert "Traceback" not in ended.err


def test_a_step_whose_date_has_gone_is_refused_as_it_is_at_the_start(
    site: str, tmp_path: Path
) -> None:
    gone = tmp_path / "gone.toml"
    step = '[[step]]\nkind = "hold-until"\ntarget_c = 12.0\nuntil = "2030-01-01 08:00"\n\n'
    gone.write_text(SHORT.replace("[[step]]", step + "[[step]]", 1))
    ended = run("preview", str(gone), "--site", site, *START)
    assert ended.code == os.EX_CONFIG
    assert 'step[1].until = "2030-01-01 08:00": has passed by the start' in ended.err


def test_a_target_below_the_freezing_margin_is_refused_as_it_is_at_the_start(
    site: str, tmp_path: Path
) -> None:
    icy = tmp_path / "icy.toml"
    icy.write_text(SHORT.replace("to_c = 4.0", "to_c = -4.0"))
    ended = run("preview", str(icy), "--site", site, *START)
    assert ended.code == os.EX_CONFIG
    assert "step[2].to_c = -4.0: must be at least -1.5 °C" in ended.err


def test_a_local_start_that_is_missing_or_comes_twice_is_told_with_its_rule(site: str) -> None:
    missing = run("preview", "cellar-hold", "--site", site, "--start", "2035-03-25 02:30")
    assert "start: 2035-03-25 has no 02:30, because clocks go forward: taken at 03:00" in " ".join(
        missing.out.split()
    )
    twice = run("preview", "cellar-hold", "--site", site, "--start", "2035-10-28 02:30")
    assert "has 02:30 twice" in " ".join(twice.out.split())


def test_a_rehearsal_tells_band_overshoot_starts_energy_cost_and_the_crash(
    site: str, short: str, tmp_path: Path
) -> None:
    picture = tmp_path / "seen.png"
    ended = run(
        "rehearse", short, "--site", site, *START, "--room", "20", "--tariff", "0.5",
        "--currency", "EUR", "--picture", str(picture),
    )  # fmt: skip
    assert (ended.code, ended.err) == (0, "")
    # But for the line that names the picture, whose folder may be of any length.
    lines = [line for line in ended.out.splitlines() if str(picture) not in line]
    assert max(map(len, lines)) <= 80
    for words in (
        "beer: within 0.5 °C of its target for",
        "coldest: within 0.5 °C of 4.0 °C on Sun 2035-03-04",
        "cooling (fridge):",
        "starts, at most",
        "EUR at 0.5 EUR a kWh",
        "the profile waits for a person",
        "Protection kept all its promises",
    ):
        assert words in ended.out
    assert picture.read_bytes().startswith(b"\x89PNG")


def test_a_rehearsal_as_json_has_all_of_it(site: str, short: str) -> None:
    told = run("rehearse", short, "--site", site, *START, "--json", "--tariff", "0.5").json
    assert told["finished"]
    assert told["broken"] == []
    assert told["cost"] == pytest.approx(0.5 * told["energy_kwh"])
    assert {use["duty"] for use in told["outputs"]} == {"cool", "heat"}
    assert told["coldest"]["target_c"] == 4.0
    assert told["steps"][0]["entered"] == "2035-03-02T18:00+01:00"


def test_a_rehearsal_says_when_the_chamber_does_not_keep_up_or_never_gets_there(
    site: str, tmp_path: Path
) -> None:
    jump = tmp_path / "jump.toml"
    jump.write_text(
        'name = "Jump"\n[[step]]\nkind = "jump"\nto_c = 0.0\n'
        '[[step]]\nkind = "final-hold"\ntarget_c = 0.0\n'
    )
    arguments = (
        str(jump),
        "--site",
        site,
        *START,
        "--room",
        "38",
        "--cooler",
        "30",
        "--beer",
        "18",
    )
    ended = run("rehearse", *arguments)
    assert ended.code == 0
    assert "Does not keep up" in ended.out
    assert "step 1 never ends" in ended.out
    assert "never comes to 0.0 °C" in ended.out
    assert "step 1 does not end in this chamber" in run("preview", *arguments).out


def test_a_room_from_a_file_is_used_with_its_gaps_told(
    site: str, short: str, tmp_path: Path
) -> None:
    room = tmp_path / "room.csv"
    hours = [f"2034-03-{2 + n // 24:02d} {n % 24:02d}:00,{10 + n % 24}" for n in range(200)]
    room.write_text("time,temp_c\n" + "\n".join(hours[:50] + hours[60:]) + "\n")
    shown = run("rehearse", short, "--site", site, *START, "--room-file", str(room), "--lag", "6h")
    assert shown.code == 0
    told = " ".join(shown.out.split())
    assert "the room's file is taken to be +1 years from where it is" in told
    assert "1 gaps, the longest of 11.0 h, are bridged by straight lines" in told
    assert "outside of that" not in told
    room.write_text("time,temp_c\n" + "\n".join(hours[:50]) + "\n")
    short_room = run("rehearse", short, "--site", site, *START, "--room-file", str(room)).out
    assert "outside of that the room is taken to stay as it is in the nearest row" in " ".join(
        short_room.split()
    )


def test_sizing_shows_its_working_and_warns(site: str) -> None:
    ended = run("size", "lager-diacetyl-rest", "--site", site, *START, "--room", "30")
    assert (ended.code, ended.err) == (0, "")
    assert max(map(len, ended.out.splitlines())) <= 80
    for words in ("Cooling at the peak of fermentation", "leak", "W/K) ×", "pull-down", "Needs"):
        assert words in ended.out
    assert "Tight: no room for an open door" in ended.out
    weak = run("size", "lager-diacetyl-rest", "--site", site, "--room", "35", "--cooler", "60").out
    assert "Too small: the beer will not follow." in weak
    told = run("size", "lager-diacetyl-rest", "--site", site, "--room", "30", "--json").json
    assert {case["duty"] for case in told["cases"]} == {"cool", "heat"}
    for case in told["cases"]:
        assert case["needed_w"] == pytest.approx(sum(term["watts"] for term in case["terms"]))


def test_without_a_site_file_the_usual_one_stands_in_and_that_is_said() -> None:
    shown = run("preview", "cellar-hold", "--zone", "America/New_York", *START).out
    assert "(America/New_York)" in shown
    assert "there is no site file" in shown
    refused = run("preview", "cellar-hold", "--chamber", "lager")
    assert "there is no site file (--site)" in refused.err


def test_figures_of_the_sites_trial_are_used_and_not_assumed(tmp_path: Path) -> None:
    path = tmp_path / "fermd.toml"
    trial = "\n[simulated]\nvolume_l = 40\noriginal_extract_p = 16\ncooler_w = 150\nheater_w = 60\n"
    plain = SHORT_SITE.replace('pin_factory = "lgpio"\n', "")
    path.write_text(
        "\n".join(line for line in plain.splitlines() if not line.startswith("chip")) + trial
    )
    told = run("size", "cellar-hold", "--site", str(path), "--json").json
    assert told["batch"]["volume_l"] == 40.0
    assert told["batch"]["original_p"] == 16.0
    assert not any("power is taken" in words for words in told["assumed"])


def test_beer_that_a_profile_begins_by_cooling_is_taken_to_have_fermented(site: str) -> None:
    told = run("size", "cold-crash", "--site", site, "--json").json
    assert told["batch"]["finished"]
    assert any("has fermented" in words for words in told["assumed"])
    fermenting = run("size", "cold-crash", "--site", site, "--fermenting", "--json").json
    assert not fermenting["batch"]["finished"]
