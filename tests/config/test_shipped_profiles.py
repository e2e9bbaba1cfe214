"""The profiles that come with fermd keep what their comments promise."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from fermd.config.durations import seconds_of
from fermd.config.example import SHORT_SITE
from fermd.config.profile_file import load_profile, profile_cautions, shipped_profiles
from fermd.config.site_file import parse_site
from fermd.control.progress import planned_s
from fermd.control.steps import (
    FinalHold,
    FreeRise,
    Jump,
    Profile,
    Ramp,
    Schedule,
    Soak,
    Step,
    coldest_target_c,
)

SHIPPED = sorted(shipped_profiles().items())
CHAMBER = parse_site(SHORT_SITE, Path("fermd.toml")).settings.chambers[0]

each = pytest.mark.parametrize(("name", "file"), SHIPPED)


def hottest_target_c(profile: Profile) -> float:
    def hottest_c(step: Step) -> float:
        if isinstance(step, Schedule):
            return max(change.target_c for change in step.changes)
        return step.ceiling_c if isinstance(step, FreeRise) else coldest_target_c(step)

    return max(hottest_c(step) for step in profile.steps)


def plan(profile: Profile) -> Iterator[float]:
    """How long each step takes by plan, s, entered from where the one before has left off."""
    at_c = coldest_target_c(profile.steps[0])
    for step in profile.steps:
        yield planned_s(step, at_c) or 0.0
        at_c = step.ceiling_c if isinstance(step, FreeRise) else coldest_target_c(step)


def claim(file: Path, what: str) -> str:
    found = re.search(rf"(?m)^# {what}: (.*)$", file.read_text())
    assert found is not None
    return found[1]


def test_what_brewers_ask_for_is_there() -> None:
    assert {
        "lager-diacetyl-rest",
        "ale-free-rise",
        "saison",
        "kveik",
        "cold-crash",
        "cellar-hold",
        "lagering",
    } <= shipped_profiles().keys()


@each
def test_it_fits_the_chamber_of_the_short_example(name: str, file: Path) -> None:
    profile = load_profile(file, CHAMBER)
    assert profile_cautions(profile, CHAMBER) == ()
    assert profile.description


@each
def test_it_takes_as_long_as_it_says(name: str, file: Path) -> None:
    claimed = claim(file, "Takes")
    claimed_s = 0.0 if claimed == "0 min" else seconds_of(claimed)
    assert sum(plan(load_profile(file))) == pytest.approx(claimed_s, abs=60.0)


@each
def test_its_targets_are_the_ones_it_says(name: str, file: Path) -> None:
    profile = load_profile(file)
    low_c, high_c = re.findall(r"-?\d+(?:\.\d+)?", claim(file, "Targets"))
    assert min(coldest_target_c(step) for step in profile.steps) == float(low_c)
    assert hottest_target_c(profile) == float(high_c)


@each
def test_every_figure_has_its_source_or_says_that_it_has_none(name: str, file: Path) -> None:
    blocks = re.split(r"(?m)^\[\[step\]\]$", file.read_text())
    for before in blocks[:-1]:
        comment = " ".join(re.findall(r"(?m)^# ?(.*)$", before.rsplit("\n\n", 1)[-1])).lower()
        assert comment
        has_source = any(w in comment for w in ("source:", "common practice, no", "from memory"))
        assert has_source or "nothing goes on until you say so" in comment


@each
def test_it_ends_in_a_hold_so_that_the_beer_is_never_left_alone(name: str, file: Path) -> None:
    assert isinstance(load_profile(file).steps[-1], FinalHold | Schedule)


@each
def test_its_steps_have_names_and_no_number_in_fahrenheit(name: str, file: Path) -> None:
    assert all(step.name for step in load_profile(file).steps)
    assert "°F" not in file.read_text()


def test_no_crash_drops_faster_than_published_advice() -> None:
    """White & Zainasheff, Yeast: a drop takes no less than 6 h."""
    for file in shipped_profiles().values():
        profile = load_profile(file)
        for step, seconds in zip(profile.steps, plan(profile), strict=True):
            assert not isinstance(step, Jump)
            if isinstance(step, Ramp) and step.to_c < 5 and seconds > 0:
                assert seconds >= 6 * 3600


def test_the_diacetyl_rest_is_as_warm_and_long_as_published() -> None:
    """White & Zainasheff, Yeast: 18 to 20 °C for 2 days."""
    lager = load_profile(shipped_profiles()["lager-diacetyl-rest"])
    (rest,) = [step for step in lager.steps if step.name == "diacetyl rest"]
    assert isinstance(rest, Soak)
    assert 18.0 <= rest.target_c <= 20.0
    assert rest.for_s >= 2 * 86400.0


def test_the_lager_cools_to_5_degrees_in_the_published_time() -> None:
    """Briggs et al., Brewing: Science and Practice, 2004: 2 to 9 days."""
    lager = load_profile(shipped_profiles()["lager-diacetyl-rest"])
    times = dict(zip([step.name for step in lager.steps], plan(lager), strict=True))
    assert 2 * 86400.0 <= times["slow cooling"] <= 9 * 86400.0
