"""The calendar in a time zone, held against a walk through every minute of the days of a change.

The walk is the independent judge: a local time has come at the first minute at which clocks on the
wall show it or later. That is the moment of the change for a time that is left out, and the first
of two for one that comes twice. It knows no trigger, no offset and no fold.
"""

from __future__ import annotations

from bisect import bisect_left
from datetime import UTC, date, datetime, timedelta
from functools import cache
from itertools import pairwise
from time import process_time
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fermd.config.zone_calendar import ZoneCalendar
from fermd.control.calendar import CalendarTime, parse_calendar_time

DAYS_OF_CHANGE = {
    "Europe/Berlin spring": ("Europe/Berlin", date(2026, 3, 29)),
    "Europe/Berlin autumn": ("Europe/Berlin", date(2026, 10, 25)),
    "America/New_York spring": ("America/New_York", date(2026, 3, 8)),
    "America/New_York autumn": ("America/New_York", date(2026, 11, 1)),
    # Half an hour, and the summer is at New Year.
    "Australia/Lord_Howe autumn": ("Australia/Lord_Howe", date(2026, 4, 5)),
    "Australia/Lord_Howe spring": ("Australia/Lord_Howe", date(2026, 10, 4)),
    # The odd ones: an hour that comes twice around midnight, and a day that never was.
    "America/St_Johns at midnight": ("America/St_Johns", date(2010, 11, 7)),
    "Pacific/Apia over the date line": ("Pacific/Apia", date(2011, 12, 30)),
}
AROUND = timedelta(days=10)
"""Walked through on both sides of a change: a weekday comes in it at least twice."""

Walk = list[tuple[float, datetime]]


@cache
def walk(name: str) -> Walk:
    """Every minute around a change: its instant, and the latest that clocks have shown by then."""
    zone_name, day = DAYS_OF_CHANGE[name]
    zone = ZoneInfo(zone_name)
    noon = datetime(day.year, day.month, day.day, 12, tzinfo=UTC)
    first_s, last_s = int((noon - AROUND).timestamp()), int((noon + AROUND).timestamp())
    minutes: Walk = []
    latest = datetime.min  # noqa: DTZ901 - what a clock on the wall shows has no zone
    for at_s in range(first_s, last_s, 60):
        latest = max(latest, datetime.fromtimestamp(at_s, zone).replace(tzinfo=None))
        minutes.append((float(at_s), latest))
    return minutes


def fits(rule: CalendarTime, day: date) -> bool:
    return (
        (rule.weekday is None or day.weekday() == rule.weekday)
        and (not rule.months or day.month in rule.months)
        and (rule.date is None or (day.year, day.month, day.day) == rule.date)
    )


def came(name: str, rule: CalendarTime) -> list[float]:
    """When the rule came in the days that are walked through: once for each day that fits."""
    minutes = walk(name)
    day, last_day = minutes[0][1].date() + timedelta(days=1), minutes[-1][1].date()
    instants = []
    while day < last_day:
        wanted = datetime(day.year, day.month, day.day, rule.hour, rule.minute)  # noqa: DTZ001
        if fits(rule, day):
            first = bisect_left(minutes, wanted, key=lambda minute: minute[1])
            instants.append(minutes[first][0])
        day += timedelta(days=1)
    return sorted(set(instants))


def calendar(name: str) -> ZoneCalendar:
    return ZoneCalendar(ZoneInfo(DAYS_OF_CHANGE[name][0]))


def asked_one_after_another(name: str, rule: CalendarTime) -> list[float]:
    minutes = walk(name)
    at_s: float | None = minutes[0][0] + 86_400.0
    found = []
    while True:
        assert at_s is not None
        at_s = calendar(name).next_utc_s(rule, at_s)
        if at_s is None or at_s >= minutes[-1][0] - 86_400.0:
            return found
        found.append(at_s)


def clock_times() -> list[tuple[int, int]]:
    """Before, at, inside and after every gap and overlap there is between 23:00 and 04:00."""
    hours = [(hour, minute) for hour in (0, 1, 2, 3) for minute in (0, 1, 15, 29, 30, 31, 45, 59)]
    return [*hours, (4, 0), (12, 0), (18, 0), (23, 0), (23, 1), (23, 31), (23, 59)]


@pytest.mark.parametrize("name", DAYS_OF_CHANGE)
def test_every_day_of_a_change_of_clocks_has_each_time_of_day_once(name: str) -> None:
    for hour, minute in clock_times():
        rule = CalendarTime(hour, minute)
        inside = [s for s in came(name, rule) if s < walk(name)[-1][0] - 86_400.0]
        assert asked_one_after_another(name, rule) == [
            s for s in inside if s > walk(name)[0][0] + 86_400.0
        ]


def instants() -> st.SearchStrategy[tuple[str, float]]:
    def within(name: str) -> st.SearchStrategy[tuple[str, float]]:
        _, day = DAYS_OF_CHANGE[name]
        noon_s = datetime(day.year, day.month, day.day, 12, tzinfo=UTC).timestamp()
        # To the second: a change is exactly on one, and so may the question be.
        near = st.integers(-2 * 86_400, 2 * 86_400).map(lambda s: (name, noon_s + s))
        on_a_minute = st.integers(-2 * 1440, 2 * 1440).map(lambda m: (name, noon_s + 60.0 * m))
        return near | on_a_minute

    return st.sampled_from(sorted(DAYS_OF_CHANGE)).flatmap(within)


def rules_near(name: str) -> st.SearchStrategy[CalendarTime]:
    """Rules that come within the days that are walked through, at night more often than by day."""
    _, day = DAYS_OF_CHANGE[name]
    hour, minute = st.integers(0, 23), st.integers(0, 59)
    hour = st.sampled_from([23, 0, 1, 2, 3]) | hour
    dates = st.integers(-3, 3).map(lambda n: day + timedelta(days=n))
    months = st.sampled_from(
        [(day.month,), tuple((day.month + n - 2) % 12 + 1 for n in range(3)), (1, 2, 3), (11, 12)]
    )
    return st.one_of(
        st.builds(CalendarTime, hour, minute),
        st.builds(CalendarTime, hour, minute, weekday=st.integers(0, 6)),
        st.builds(CalendarTime, hour, minute, months=months),
        st.builds(CalendarTime, hour, minute, date=dates.map(lambda d: (d.year, d.month, d.day))),
    )


asked = instants().flatmap(lambda at: st.tuples(st.just(at[0]), st.just(at[1]), rules_near(at[0])))


@settings(max_examples=800, deadline=None)
@given(asked)
def test_the_next_and_the_last_time_are_those_that_clocks_on_the_wall_have_shown(
    question: tuple[str, float, CalendarTime],
) -> None:
    name, at_s, rule = question
    minutes = walk(name)
    after = [s for s in came(name, rule) if s > at_s]
    before = [s for s in came(name, rule) if s <= at_s]
    next_s = calendar(name).next_utc_s(rule, at_s)
    last_s = calendar(name).last_utc_s(rule, at_s)
    if after:
        assert next_s == after[0]
    else:
        assert next_s is None or next_s > minutes[-1][0] - 2 * 86_400.0
    if before:
        assert last_s == before[-1]
    else:
        assert last_s is None or last_s < minutes[0][0] + 2 * 86_400.0


anywhere_s = st.floats(1e8, 32e9) | st.floats(1.7e9, 2.1e9)
zones = st.sampled_from(
    ["Europe/Berlin", "America/New_York", "Australia/Lord_Howe", "Asia/Kathmandu", "UTC"]
)
some_months = st.tuples(st.integers(0, 11), st.integers(1, 12)).map(
    lambda span: tuple((span[0] + n) % 12 + 1 for n in range(span[1]))
)
repeating = st.one_of(
    st.builds(CalendarTime, st.integers(0, 23), st.integers(0, 59)),
    st.builds(CalendarTime, st.integers(0, 23), st.integers(0, 59), weekday=st.integers(0, 6)),
    st.builds(CalendarTime, st.integers(0, 23), st.integers(0, 59), months=some_months),
)


@settings(max_examples=500, deadline=None)
@given(zones, repeating, anywhere_s)
def test_what_repeats_always_has_a_next_time_and_a_last_with_none_between(
    zone: str, rule: CalendarTime, at_s: float
) -> None:
    there = ZoneCalendar(ZoneInfo(zone))
    last_s, next_s = there.last_utc_s(rule, at_s), there.next_utc_s(rule, at_s)
    assert last_s is not None
    assert next_s is not None
    assert last_s <= at_s < next_s
    assert there.next_utc_s(rule, last_s) == next_s
    assert there.last_utc_s(rule, next_s) == next_s
    for instant_s in (last_s, next_s):
        local = datetime.fromtimestamp(instant_s, ZoneInfo(zone))
        assert fits(rule, local.date())
        # But for the two days of the year it is just what a clock on the wall shows.
        spared = local - timedelta(hours=30), local + timedelta(hours=30)
        if spared[0].utcoffset() == spared[1].utcoffset():
            assert (local.hour, local.minute, local.second) == (rule.hour, rule.minute, 0)


def test_a_time_left_out_is_the_moment_of_the_change_and_one_that_comes_twice_the_first() -> None:
    # Published: Directive 2000/84/EC, articles 2 and 3 (the change is at 01:00 GMT).
    berlin = ZoneCalendar(ZoneInfo("Europe/Berlin"))
    left_out, twice = (
        parse_calendar_time("2026-03-29 02:30"),
        parse_calendar_time("2026-10-25 02:30"),
    )
    spring_s, autumn_s = utc_s("2026-03-29 01:00"), utc_s("2026-10-25 01:00")
    assert berlin.next_utc_s(left_out, spring_s - 3600.0) == spring_s
    assert berlin.next_utc_s(twice, autumn_s - 86_400.0) == autumn_s - 1800.0
    # The second half past two is nothing.
    every_day = parse_calendar_time("02:30")
    assert berlin.next_utc_s(every_day, autumn_s - 1800.0) == autumn_s + 86_400.0 + 1800.0
    assert berlin.last_utc_s(every_day, autumn_s + 1800.0) == autumn_s - 1800.0


def test_lord_howe_changes_its_clocks_by_half_an_hour() -> None:
    # Published: tz database, file australasia, rule LH (02:00 standard to 02:30, first Sunday of
    # October; back first Sunday of April).
    there = ZoneCalendar(ZoneInfo("Australia/Lord_Howe"))
    spring_s = utc_s("2026-10-03 15:30")  # 02:00 local on the 4th
    assert there.next_utc_s(parse_calendar_time("02:15"), spring_s - 600.0) == spring_s
    autumn_s = utc_s("2026-04-04 15:00")  # 02:00 local on the 5th, half an hour after it was first
    first_s = autumn_s - 900.0
    assert there.last_utc_s(parse_calendar_time("01:45"), autumn_s + 900.0) == first_s
    assert there.next_utc_s(parse_calendar_time("01:45"), first_s) == first_s + 86_400.0 + 1800.0


def test_a_friday_evening_is_a_friday_evening_in_the_week_of_a_change_too() -> None:
    berlin = ZoneCalendar(ZoneInfo("Europe/Berlin"))
    friday = parse_calendar_time("fri 18:00")
    at_s, seen = utc_s("2026-01-01 00:00"), []
    while at_s < utc_s("2027-01-01 00:00"):
        found_s = berlin.next_utc_s(friday, at_s)
        assert found_s is not None
        at_s = found_s
        seen.append(at_s)
    lengths_h = [round((b - a) / 3600.0) for a, b in pairwise(seen)]
    assert sorted(set(lengths_h)) == [167, 168, 169]
    assert (lengths_h.count(167), lengths_h.count(169)) == (1, 1)


def test_the_29th_of_february_comes_in_its_own_year_only() -> None:
    berlin = ZoneCalendar(ZoneInfo("Europe/Berlin"))
    leap_day = parse_calendar_time("2028-02-29 08:00")
    came_s = utc_s("2028-02-29 07:00")
    assert berlin.next_utc_s(leap_day, utc_s("2026-01-01 00:00")) == came_s
    assert berlin.next_utc_s(leap_day, came_s) is None
    assert berlin.last_utc_s(leap_day, came_s - 1.0) is None
    assert berlin.last_utc_s(leap_day, utc_s("2032-02-29 12:00")) == came_s
    # A rule of February has 29 mornings in a leap year.
    february = parse_calendar_time("feb 08:00")
    assert berlin.next_utc_s(february, utc_s("2028-02-28 12:00")) == came_s
    assert berlin.next_utc_s(february, utc_s("2027-02-28 12:00")) == utc_s("2028-02-01 07:00")


def test_a_season_goes_on_over_new_year_and_has_a_last_day() -> None:
    berlin = ZoneCalendar(ZoneInfo("Europe/Berlin"))
    winter = parse_calendar_time("nov-feb 07:00")
    assert berlin.next_utc_s(winter, utc_s("2026-12-31 12:00")) == utc_s("2027-01-01 06:00")
    assert berlin.next_utc_s(winter, utc_s("2027-02-28 06:00")) == utc_s("2027-11-01 06:00")
    assert berlin.last_utc_s(winter, utc_s("2027-10-31 12:00")) == utc_s("2027-02-28 06:00")
    whole_year = parse_calendar_time("mar-feb 07:00")
    assert berlin.next_utc_s(whole_year, utc_s("2027-07-01 06:00")) == utc_s("2027-07-02 05:00")


@pytest.mark.parametrize("year", [2500, 2999, 9000])
def test_a_far_future_is_a_day_like_any_other(year: int) -> None:
    berlin = ZoneCalendar(ZoneInfo("Europe/Berlin"))
    noon_s = utc_s(f"{year}-07-01 12:00")
    assert berlin.next_utc_s(parse_calendar_time("18:00"), noon_s) == utc_s(f"{year}-07-01 16:00")
    assert berlin.last_utc_s(parse_calendar_time("jan 18:00"), noon_s) == utc_s(
        f"{year}-01-31 17:00"
    )


def test_a_date_in_the_far_future_is_waited_for() -> None:
    berlin = ZoneCalendar(ZoneInfo("Europe/Berlin"))
    far = parse_calendar_time("2999-12-31 23:59")
    assert berlin.next_utc_s(far, utc_s("2026-01-01 00:00")) == utc_s("2999-12-31 22:59")
    assert berlin.last_utc_s(far, utc_s("2026-01-01 00:00")) is None


def test_no_question_takes_a_tick_long_however_far_back_its_answer_lies() -> None:
    # A season that has been over for months is asked for twice a day, within a tick of control.
    berlin = ZoneCalendar(ZoneInfo("Europe/Berlin"))
    season, christmas_s = parse_calendar_time("apr-sep 07:00"), utc_s("2026-12-24 12:00")
    began_s = process_time()
    for number in range(20):
        last_s = berlin.last_utc_s(season, christmas_s + number)
        assert last_s == utc_s("2026-09-30 05:00")
    # 1 ms each here; walking through the season takes 60. A small board is some ten times slower.
    assert (process_time() - began_s) / 20 < 0.02


def utc_s(text: str) -> float:
    return datetime.fromisoformat(text).replace(tzinfo=UTC).timestamp()


@pytest.mark.parametrize("utc_s", [1e12, -1e12, 1e18, 253402300799.0, -62135596800.0])
@pytest.mark.parametrize("time", ["18:00", "fri 18:00", "apr-sep 07:00"])
def test_a_clock_that_says_no_year_that_there_is_has_no_times(utc_s: float, time: str) -> None:
    calendar = ZoneCalendar(ZoneInfo("Europe/Vienna"))
    rule = parse_calendar_time(time)
    assert calendar.next_utc_s(rule, utc_s) is None or utc_s < 0
    before_s = calendar.last_utc_s(rule, utc_s)
    assert before_s is None or before_s <= utc_s
