"""A profile written as a file is the same profile when it is read."""

from __future__ import annotations

import tomllib
from dataclasses import replace

import pytest
from any_profile import any_time, profiles, whole_minutes
from hypothesis import given
from hypothesis import strategies as st

from fermd.config.durations import seconds_of
from fermd.config.profile_file import load_profile, parse_profile, shipped_profiles
from fermd.control.steps import Hold, Profile, Ramp
from fermd.exchange.profile_text import exact_duration, profile_text


@pytest.mark.parametrize("name", shipped_profiles())
def test_every_shipped_profile_is_the_same_after_writing_and_reading(name: str) -> None:
    profile = load_profile(shipped_profiles()[name])
    assert parse_profile(profile_text(profile), "again") == profile


@given(profiles(for_s=whole_minutes))
def test_every_profile_of_whole_minutes_is_the_same_after_writing_and_reading(
    profile: Profile,
) -> None:
    assert parse_profile(profile_text(profile), "again") == profile


@given(profiles())
def test_other_times_are_the_same_to_the_microsecond(profile: Profile) -> None:
    again = parse_profile(profile_text(profile), "again")
    for step, same in zip(profile.steps, again.steps, strict=True):
        if hasattr(step, "for_s"):
            assert same.for_s == pytest.approx(step.for_s, abs=1e-6)
            same = replace(same, for_s=step.for_s)
        assert same == step


@given(any_time)
def test_durations_are_written_with_nothing_lost(seconds: float) -> None:
    assert seconds_of(exact_duration(seconds)) == pytest.approx(seconds, abs=1e-6)


@pytest.mark.parametrize(
    ("seconds", "text"),
    [(86400, "1 d"), (129600, "1 d 12 h"), (5400, "1 h 30 min"), (90, "1.5 min"), (0, "0 min")],
)
def test_durations_are_written_as_a_brewer_writes_them(seconds: float, text: str) -> None:
    assert exact_duration(seconds) == text


@given(st.lists(st.text(max_size=200)))
def test_remarks_never_become_keys(remarks: list[str]) -> None:
    profile = Profile("Ale", (Hold(18, 86400),))
    assert parse_profile(profile_text(profile, remarks), "again") == profile


def test_what_cannot_stand_in_a_file_becomes_a_mark() -> None:
    text = profile_text(Profile("a\ud800b\x7f", (Hold(18, 86400),)))
    assert tomllib.loads(text.encode().decode())["name"] == "a\ufffdb\x7f"


def test_a_comment_says_what_a_ramp_takes() -> None:
    text = profile_text(Profile("Ale", (Hold(20, 86400), Ramp(2, 12))))
    assert "# From 20 to 2 °C in 1 d 12 h.\n[[step]]\n" in text
