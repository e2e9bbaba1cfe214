"""Profiles: read, refused, held against a chamber, found by name."""

from __future__ import annotations

from pathlib import Path

import pytest

import fermd
from fermd.config.durations import duration_text, seconds_of
from fermd.config.errors import ConfigError
from fermd.config.example import SHORT_SITE
from fermd.config.profile_file import (
    check_against,
    find_profile,
    load_profile,
    parse_profile,
    profile_cautions,
    profiles_by_name,
    shipped_profiles,
)
from fermd.config.site_file import parse_site
from fermd.control.settings import ChamberSettings, CoolBandSettings, ProbeSettings
from fermd.control.steps import FinalHold, FreeRise, Hold, Jump, Profile, Ramp, Soak, WaitForPerson

EVERY_KIND = """
name = "All"
description = "One of each."
[[step]]
kind = "hold"
target_c = 20
for = "1 d 12 h"
[[step]]
kind = "soak"
target_c = 20.5
for = "90 min"
within_c = 1
[[step]]
kind = "ramp"
to_c = 10
rate_c_per_day = 2.5
[[step]]
kind = "jump"
to_c = 12
name = "up"
[[step]]
kind = "free-rise"
floor_c = 12
ceiling_c = 16
for = "3 d"
[[step]]
kind = "wait"
target_c = 16
prompt = "Taste it."
[[step]]
kind = "final-hold"
target_c = 4
"""

ONE_HOLD = 'name = "X"\n[[step]]\nkind = "hold"\ntarget_c = 20\nfor = "1 d"\n'


def chamber() -> ChamberSettings:
    return parse_site(SHORT_SITE, Path("fermd.toml")).settings.chambers[0]


def faults_of(text: str, against: ChamberSettings | None = None) -> list[str]:
    try:
        parse_profile(text, "beer.toml", against)
    except ConfigError as error:
        return str(error).splitlines()
    return []


def test_every_kind_of_step_is_read() -> None:
    assert parse_profile(EVERY_KIND, "beer.toml") == Profile(
        "All",
        (
            Hold(20.0, 129600.0),
            Soak(20.5, 5400.0, 1.0),
            Ramp(10.0, 2.5),
            Jump(12.0, name="up"),
            FreeRise(12.0, 16.0, 259200.0),
            WaitForPerson(16.0, "Taste it."),
            FinalHold(4.0),
        ),
        "One of each.",
    )


@pytest.mark.parametrize(
    ("text", "seconds"),
    [
        ("14 d", 1209600.0),
        ("36 h", 129600.0),
        ("1 d 12 h", 129600.0),
        ("90 min", 5400.0),
        ("1.5 d", 129600.0),
        ("1d12h30min", 131400.0),
        ("-2 d", -172800.0),
    ],
)
def test_durations_are_written_as_a_brewer_says_them(text: str, seconds: float) -> None:
    assert seconds_of(text) == seconds


@pytest.mark.parametrize(
    "text",
    ["", " ", "d", "14", "14 days", "12 h 1 d", "1,5 d", "1 d 1 d", "1e3 d", "١ d", 14, None],
)
def test_what_is_not_a_duration_is_refused(text: object) -> None:
    with pytest.raises(ValueError, match="must be a duration in d, h and min"):
        seconds_of(text)


@pytest.mark.parametrize("text", ["14 d", "1 d 12 h", "90 min", "23 d 12 h 1 min"])
def test_a_duration_comes_back_as_what_it_was(text: str) -> None:
    assert seconds_of(duration_text(seconds_of(text))) == seconds_of(text)
    assert duration_text(seconds_of("36 h")) == "1 d 12 h"


def test_a_negative_time_is_refused() -> None:
    assert faults_of(ONE_HOLD.replace("1 d", "-1 d")) == [
        'beer.toml: step[1].for = "-1 d": is negative; must be a duration in d, h and min, largest '
        'unit first, like "14 d", "36 h", "1 d 12 h" or "90 min", above 0 and at most 400 d. How '
        "long the step lasts"
    ]


@pytest.mark.parametrize("value", ["0 d", "401 d", "two days", "999999999 d"])
def test_a_time_out_of_range_is_refused(value: str) -> None:
    (line,) = faults_of(ONE_HOLD.replace("1 d", value))
    assert line.startswith(f'beer.toml: step[1].for = "{value}": must be a duration')
    assert "above 0 and at most 400 d" in line


def test_a_target_below_the_freezing_margin_is_refused() -> None:
    text = ONE_HOLD.replace("20", "-2")
    assert faults_of(text) == []
    assert faults_of(text, chamber()) == [
        "beer.toml: step[1].target_c = -2: must be at least -1.5 °C in chamber lager: beer that "
        "freezes at -2.2 °C plus a margin of 0.7 °C; a stronger beer freezes colder, see "
        "chamber.lager.limits.freezing_point_c"
    ]


@pytest.mark.parametrize(
    ("step", "key"),
    [
        (Ramp(-3.0, 1.0), "to_c"),
        (Jump(-3.0), "to_c"),
        (FreeRise(-3.0, 5.0, 60.0), "floor_c"),
        (Soak(-3.0, 60.0), "target_c"),
        (WaitForPerson(-3.0, "?"), "target_c"),
        (FinalHold(-3.0), "target_c"),
    ],
)
def test_the_freezing_margin_holds_for_every_kind_of_step(
    step: Ramp | Jump | FreeRise | Soak | WaitForPerson | FinalHold, key: str
) -> None:
    (fault,) = check_against(Profile("X", (Hold(20.0, 60.0), step)), chamber())
    assert (fault.key, fault.value) == (f"step[2].{key}", -3.0)


def test_the_coldest_allowed_target_is_allowed() -> None:
    coldest_c = chamber().limits.coldest_beer_c
    assert check_against(Profile("X", (FinalHold(coldest_c),)), chamber()) == ()


def test_a_soak_narrower_than_the_band_would_never_end() -> None:
    wide = ChamberSettings("lager", ProbeSettings("vessel"), cool=CoolBandSettings(0.6, 0.6))
    (fault,) = check_against(Profile("X", (Soak(5.0, 60.0, 0.5),)), wide)
    assert str(fault) == (
        "step[1].within_c = 0.5: must be at least 0.6 °C, the wider band of chamber lager: closer "
        "than that nothing is called for, so the step might never end"
    )


def test_heating_that_a_chamber_cannot_do_is_a_caution_and_no_fault() -> None:
    bare = ChamberSettings("shed", ProbeSettings("vessel"))
    profile = Profile("X", (Hold(10.0, 60.0), Ramp(18.0, 1.0), Ramp(2.0, 1.0)))
    assert check_against(profile, bare) == ()
    assert [caution.why.split(":")[0] for caution in profile_cautions(profile, bare)] == [
        "chamber shed has no heater",
        "chamber shed has no cooling",
    ]
    assert profile_cautions(profile, chamber()) == ()


def test_a_target_beyond_the_limits_of_the_air_is_a_caution() -> None:
    (caution,) = profile_cautions(Profile("X", (FinalHold(42.0),)), chamber())
    assert "is kept from -5 to 40 °C" in caution.why


def test_an_unknown_kind_of_step_is_refused_with_the_nearest() -> None:
    assert faults_of(ONE_HOLD.replace('"hold"', '"holt"')) == [
        'beer.toml: step[1].kind = "holt": must be "hold", "hold-until", "soak", "ramp", "jump", '
        '"free-rise", "wait", "schedule" or "final-hold"; did you mean "hold"?'
    ]


def test_a_step_after_the_end_is_refused() -> None:
    text = ONE_HOLD + '[[step]]\nkind = "final-hold"\ntarget_c = 4\n'
    assert faults_of(text) == []
    again = text + text.split("\n", 1)[1]
    assert faults_of(again) == [
        'beer.toml: step[2].kind = "final-hold": only the last step may be a "final-hold", which '
        'never ends; use "hold" with a time, or "wait"'
    ]


def test_a_free_rise_to_below_its_floor_is_refused() -> None:
    assert faults_of(EVERY_KIND.replace("ceiling_c = 16", "ceiling_c = 11.5")) == [
        "beer.toml: step[5].ceiling_c = 11.5: must be above floor_c, which is 12 °C"
    ]


def test_a_profile_without_steps_is_refused() -> None:
    for text in ('name = "X"\n', 'name = "X"\nstep = []\n'):
        (line,) = faults_of(text)
        assert "must be one or more tables, each with the header [[step]]" in line


def test_a_step_that_is_no_table_is_refused_and_the_others_still_checked() -> None:
    assert faults_of(
        'name = "X"\nstep = [3, {kind = "ramp", to_c = -4, rate_c_per_day = 1}, {}]'
    ) == [
        "beer.toml: step[1] = 3: must be a table, with the header [[step]]",
        'beer.toml: step[3].kind: is missing; must be "hold", "hold-until", "soak", "ramp", '
        '"jump", "free-rise", "wait", "schedule" or "final-hold"',
    ]
    assert any(
        "step[2].to_c = -4" in line
        for line in faults_of(
            'name = "X"\nstep = [3, {kind = "ramp", to_c = -4, rate_c_per_day = 1}]', chamber()
        )
    )


def test_steps_that_are_not_a_list_are_refused() -> None:
    (line,) = faults_of('name = "X"\nstep = 3\n', chamber())
    assert line.startswith("beer.toml: step = 3: must be one or more tables")


def test_all_faults_of_a_profile_come_at_once_and_in_its_order() -> None:
    text = """
nme = "X"
[[step]]
kind = "hold"
target_c = "20"
for = "-1 d"
[[step]]
kind = "ramp"
to_c = -4
rate_c_per_day = -1
[[step]]
kind = "soak"
target_c = 50
witin_c = 1
for = 3
[[step]]
target_c = 1
"""
    keys = [line.split(": ")[1].split(" = ")[0] for line in faults_of(text, chamber())]
    assert keys == [
        "nme",
        "step[1].target_c",
        "step[1].for",
        "step[2].to_c",
        "step[2].rate_c_per_day",
        "step[3].target_c",
        "step[3].witin_c",
        "step[3].for",
        "step[4].kind",
        "name",
    ]


def test_a_profile_is_found_by_its_name_or_its_path(tmp_path: Path) -> None:
    assert find_profile("cold-crash") == shipped_profiles()["cold-crash"]
    assert find_profile("./beer.toml") == Path("beer.toml")
    (tmp_path / "mine.toml").write_text(ONE_HOLD)
    assert find_profile("mine", [tmp_path]) == tmp_path / "mine.toml"


def test_the_brewers_own_profile_wins_over_a_shipped_one(tmp_path: Path) -> None:
    (tmp_path / "saison.toml").write_text(ONE_HOLD)
    assert profiles_by_name([tmp_path])["saison"] == tmp_path / "saison.toml"
    assert len(profiles_by_name([tmp_path])) == len(shipped_profiles())
    assert profiles_by_name([tmp_path / "none"]) == shipped_profiles()


@pytest.mark.parametrize("name", ["", "cold-crsh", "..", "x\0y", "Saison"])
def test_a_profile_that_is_not_there_is_told_with_those_that_are(name: str) -> None:
    with pytest.raises(ConfigError) as error:
        find_profile(name)
    assert "there are ale-free-rise, bottle-conditioning" in str(error.value)
    if name == "cold-crsh":
        assert str(error.value).startswith(
            'cold-crsh: is not a profile; did you mean "cold-crash"? there are '
        )


def test_a_profile_is_read_from_its_file(tmp_path: Path) -> None:
    file = tmp_path / "x.toml"
    file.write_text(ONE_HOLD)
    assert load_profile(file).steps == (Hold(20.0, 86400.0),)


def test_an_installed_fermd_has_its_profiles_inside(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    package = tmp_path / "fermd"
    (package / "profiles").mkdir(parents=True)
    (package / "profiles" / "x.toml").write_text(ONE_HOLD)
    monkeypatch.setattr(fermd, "__file__", str(package / "__init__.py"))
    assert shipped_profiles() == {"x": package / "profiles" / "x.toml"}
