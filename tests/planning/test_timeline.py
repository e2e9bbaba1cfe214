"""A profile on the calendar: steps follow each other, and no change of clocks changes a length."""

from __future__ import annotations

from datetime import UTC, datetime
from itertools import pairwise
from math import inf
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from plans import MARCH_S, VIENNA, shipped, start_c

from fermd.config.profile_checks import clock_change_words, clock_changes, start_from
from fermd.config.zone_calendar import ZoneCalendar
from fermd.control.calendar import WallTime, parse_calendar_time
from fermd.control.progress import advance, begin, leaves_c, target
from fermd.control.settings import DAY_S, HOUR_S
from fermd.control.steps import (
    Change,
    FinalHold,
    FreeRise,
    Hold,
    HoldUntil,
    Jump,
    Profile,
    Ramp,
    Schedule,
    Soak,
    Step,
    WaitForPerson,
)
from fermd.planning.timeline import END_SHOWN, SCHEDULE_SHOWN_S, target_at, timeline

LORD_HOWE = ZoneInfo("Australia/Lord_Howe")
"""Changes its clocks by half an hour."""

ZONES = [VIENNA, LORD_HOWE, ZoneInfo("America/New_York"), ZoneInfo("UTC")]

temps = st.floats(-1.0, 30.0)
spans = st.floats(60.0, 20 * DAY_S)
rules = st.sampled_from(["00:30", "02:30", "18:00", "fri 18:00", "sun 02:15"]).map(
    parse_calendar_time
)
months = st.sampled_from(["apr-sep 07:00", "mar 02:30"]).map(parse_calendar_time)
steps = st.one_of(
    st.builds(Hold, temps, spans),
    st.builds(Soak, temps, spans),
    st.builds(Ramp, temps, st.floats(0.5, 50.0)),
    st.builds(Jump, temps),
    st.builds(FreeRise, st.floats(10.0, 18.0), st.floats(18.5, 25.0), spans),
    st.builds(WaitForPerson, temps, st.just("hops")),
    st.builds(HoldUntil, temps, st.one_of(rules, months)),
)
ends = st.one_of(
    st.builds(FinalHold, temps),
    st.builds(
        Schedule,
        st.lists(st.builds(Change, rules, temps), min_size=1, max_size=3).map(tuple),
    ),
)
profiles = st.builds(
    lambda body, end: Profile("any", (*body, end)), st.lists(steps, max_size=5), ends
)
starts = st.floats(MARCH_S, MARCH_S + 366 * DAY_S)


@settings(deadline=None, max_examples=60)
@given(profile=profiles, start_s=starts, beer_c=temps, zone=st.sampled_from(ZONES))
def test_steps_follow_each_other_without_a_gap_and_time_only_goes_forward(
    profile: Profile, start_s: float, beer_c: float, zone: ZoneInfo
) -> None:
    line = timeline(profile, start_s, beer_c, zone)
    assert len(line.segments) == len(profile.steps)
    assert line.segments[0].begins_utc_s == start_s
    for before, after in pairwise(line.segments):
        assert before.begins_utc_s <= before.ends_utc_s == after.begins_utc_s
        # What is not sure of a step's beginning was not sure of the end before it.
        assert before.end_is_sure == after.begin_is_sure
    assert line.segments[-1].ends_utc_s == inf
    assert line.end_utc_s == line.segments[-1].begins_utc_s
    for before_corner, after_corner in pairwise(line.corners):
        assert before_corner.utc_s <= after_corner.utc_s
    assert all(corner.heat_c <= corner.cool_c for corner in line.corners)


@settings(deadline=None, max_examples=60)
@given(
    body=st.lists(
        st.one_of(
            st.builds(Hold, temps, st.floats(HOUR_S, 5 * DAY_S)),
            st.builds(Ramp, temps, st.floats(2.0, 50.0)),
            st.builds(HoldUntil, temps, rules),
        ),
        min_size=1,
        max_size=4,
    ),
    start_s=starts,
    zone=st.sampled_from(ZONES),
)
def test_the_step_engine_itself_is_where_the_timeline_says(
    body: list[Step], start_s: float, zone: ZoneInfo
) -> None:
    """Steps that nobody but the clock ends: an independent run through the profile's engine."""
    profile = Profile("any", (*body, FinalHold(4.0)))
    line = timeline(profile, start_s, 12.0, zone)
    calendar = ZoneCalendar(zone)
    progress, _ = begin(profile, 12.0)
    at_s = start_s
    progress, _ = advance(progress, 12.0, 0.0, WallTime(at_s, calendar))
    for segment in line.segments[:-1]:
        middle_s = (segment.begins_utc_s + segment.ends_utc_s) / 2.0
        if middle_s <= at_s or segment.lasts_s < 60.0:
            continue
        progress, _ = advance(progress, 12.0, middle_s - at_s, WallTime(middle_s, calendar))
        at_s = middle_s
        assert progress.index == segment.index
        assert target(progress).cool_c == pytest.approx(
            target_at(segment.corners, middle_s)[1], abs=1e-6
        )


def test_the_shipped_lager_takes_as_long_as_its_own_comment_says() -> None:
    lager = shipped("lager-diacetyl-rest")
    line = timeline(lager, MARCH_S, start_c(lager), VIENNA)
    assert line.lasts_s == pytest.approx(23.5 * DAY_S)
    assert not line.is_sure  # its soaks may take longer
    sure = timeline(Profile("two", lager.steps[:4]), MARCH_S, start_c(lager), VIENNA)
    assert sure.is_sure
    assert sure.lasts_s == pytest.approx(10 * DAY_S)


def test_a_hold_of_a_day_is_24_hours_although_clocks_go_forward_in_it() -> None:
    # Saturday 18:00; on Sunday 2026-03-29 Vienna goes from 02:00 to 03:00.
    start_s = datetime(2026, 3, 28, 18, tzinfo=VIENNA).timestamp()
    profile = Profile("hold", (Hold(12.0, DAY_S), FinalHold(4.0)))
    line = timeline(profile, start_s, 12.0, VIENNA)
    end = datetime.fromtimestamp(line.segments[0].ends_utc_s, VIENNA)
    assert (end.day, end.hour) == (29, 19)
    ((at_s, words),) = line.clock_changes
    assert datetime.fromtimestamp(at_s, UTC) == datetime(2026, 3, 29, 1, tzinfo=UTC)
    assert words == "clocks go forward by 60 min on Sun 2026-03-29"


def test_a_step_until_a_time_of_day_keeps_the_time_on_the_wall() -> None:
    start_s = datetime(2026, 3, 28, 18, tzinfo=VIENNA).timestamp()
    until = HoldUntil(12.0, parse_calendar_time("sun 18:00"))
    line = timeline(Profile("until", (until, FinalHold(4.0))), start_s, 12.0, VIENNA)
    assert line.segments[0].lasts_s == 23 * HOUR_S
    assert line.segments[0].note == ""


@pytest.mark.parametrize(
    ("day", "rule", "taken", "words"),
    [
        # Left out: 02:30 on the morning on which Vienna goes from 02:00 to 03:00.
        (
            "2026-03-28",
            "02:30",
            "2026-03-29T01:00+00:00",
            "has no 02:30, because clocks go forward",
        ),
        # Twice: 02:30 on the morning on which it goes back from 03:00 to 02:00.
        ("2026-10-24", "02:30", "2026-10-25T00:30+00:00", "has 02:30 twice"),
    ],
)
def test_a_local_hour_that_is_missing_or_comes_twice_is_taken_by_the_stated_rule_and_told(
    day: str, rule: str, taken: str, words: str
) -> None:
    start_s = datetime.fromisoformat(f"{day}T18:00").replace(tzinfo=VIENNA).timestamp()
    until = HoldUntil(12.0, parse_calendar_time(rule))
    (segment, _) = timeline(Profile("odd", (until, FinalHold(4.0))), start_s, 12.0, VIENNA).segments
    assert segment.ends_utc_s == datetime.fromisoformat(taken).timestamp()
    assert words in segment.note


def test_half_an_hour_is_changed_where_clocks_change_by_half_an_hour() -> None:
    start_s = datetime(2026, 10, 3, 12, tzinfo=LORD_HOWE).timestamp()
    ((_, words),) = clock_changes(start_s, start_s + DAY_S, LORD_HOWE)
    assert words == "clocks go forward by 30 min on Sun 2026-10-04"
    assert clock_changes(start_s, start_s + 3600.0, LORD_HOWE) == []


def test_a_start_is_read_as_a_date_a_weekday_or_a_time_of_day() -> None:
    now_s = datetime(2026, 3, 4, 12, tzinfo=VIENNA).timestamp()
    for text, there in (
        ("2026-03-06 18:00", datetime(2026, 3, 6, 18, tzinfo=VIENNA)),
        ("fri 18:00", datetime(2026, 3, 6, 18, tzinfo=VIENNA)),
        ("11:00", datetime(2026, 3, 5, 11, tzinfo=VIENNA)),
    ):
        assert start_from(text, VIENNA, now_s) == (there.timestamp(), None)


def test_a_start_that_comes_twice_or_not_at_all_is_taken_by_the_same_rule() -> None:
    now_s = MARCH_S
    at_s, words = start_from("2026-03-29 02:30", VIENNA, now_s)
    assert at_s == datetime(2026, 3, 29, 1, tzinfo=UTC).timestamp()
    assert words is not None
    assert "taken at 03:00" in words
    at_s, words = start_from("2026-10-25 02:30", VIENNA, now_s)
    assert at_s == datetime(2026, 10, 25, 0, 30, tzinfo=UTC).timestamp()
    assert words is not None
    assert "the first of them counts (UTC+02:00)" in words


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("2026-03-01 18:00", "in the past"),
        ("soon", "must be a local time"),
        ("2026-02-30 18:00", "must be a local time"),
        ("", "must be a local time"),
    ],
)
def test_a_start_in_the_past_or_at_no_time_is_refused(text: str, why: str) -> None:
    with pytest.raises(ValueError, match=why):
        start_from(text, VIENNA, MARCH_S)


def test_an_ordinary_time_is_left_alone() -> None:
    at_s = datetime(2026, 3, 6, 18, tzinfo=VIENNA).timestamp()
    assert clock_change_words(parse_calendar_time("18:00"), at_s, VIENNA) is None


def test_what_the_beer_and_a_person_take_moves_everything_after_it() -> None:
    body = (Jump(4.0), Soak(4.0, DAY_S), WaitForPerson(4.0, "hops"), FinalHold(1.0))
    profile = Profile("unsure", body)
    least = timeline(profile, MARCH_S, 18.0, VIENNA)
    assert least.lasts_s == DAY_S
    line = timeline(profile, MARCH_S, 18.0, VIENNA, {0: HOUR_S, 1: 2 * HOUR_S, 2: 3 * HOUR_S})
    assert line.lasts_s == DAY_S + 6 * HOUR_S
    assert [one.begin_is_sure for one in line.segments] == [True, False, False, False]


def test_a_free_rise_has_a_floor_and_a_ceiling_and_a_schedule_changes_by_the_calendar() -> None:
    seven, ten = parse_calendar_time("07:00"), parse_calendar_time("22:00")
    cellar = Schedule((Change(seven, 12.0), Change(ten, 10.0)))
    profile = Profile("cellar", (FreeRise(18.0, 21.0, DAY_S), cellar))
    line = timeline(profile, MARCH_S, 18.0, VIENNA, {0: DAY_S})
    assert target_at(line.corners, MARCH_S + HOUR_S) == (18.0, 21.0)
    # Saturday 18:00 and 23:00, Sunday 08:00 in Vienna.
    for hours, held_c in ((24.1, 12.0), (29.0, 10.0), (38.0, 12.0)):
        assert target_at(line.corners, MARCH_S + hours * HOUR_S) == (held_c, held_c)
    assert line.corners[-1].utc_s == MARCH_S + DAY_S + SCHEDULE_SHOWN_S
    assert line.end_utc_s == MARCH_S + DAY_S


def test_before_and_after_its_line_a_target_is_that_of_the_ends() -> None:
    line = timeline(shipped("lagering"), MARCH_S, 20.0, VIENNA)
    assert target_at(line.corners, MARCH_S - 1.0) == (20.0, 20.0)
    assert target_at(line.corners, line.corners[-1].utc_s + 1.0) == (-1.0, -1.0)
    shown_s = line.corners[-1].utc_s - line.end_utc_s
    assert shown_s == pytest.approx(END_SHOWN * line.lasts_s)
    assert leaves_c(line.profile.steps[-1]) == -1.0
