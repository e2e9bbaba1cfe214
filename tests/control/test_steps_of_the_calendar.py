"""Steps that live by the calendar: until a time, or by a schedule."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import UTC, datetime

import pytest
from calendar_bench import CALENDAR, WEDNESDAY, Batch, utc_s

from fermd.control.calendar import CalendarTime, WallTime, parse_calendar_time
from fermd.control.events import (
    StepChange,
)
from fermd.control.progress import (
    OVERDUE_S,
    SET_BACK_S,
    Progress,
    begin,
    due_utc_s,
    outlook,
    remaining_after_s,
)
from fermd.control.settings import DAY_S, HOUR_S
from fermd.control.steps import (
    Change,
    FinalHold,
    Hold,
    HoldUntil,
    Profile,
    Ramp,
    Schedule,
    coldest_target_c,
)

FRIDAY_EVENING = parse_calendar_time("fri 18:00")


@pytest.mark.parametrize(
    ("text", "rule"),
    [
        ("18:00", CalendarTime(18, 0)),
        ("7:05", CalendarTime(7, 5)),
        (" FRI 18:00 ", CalendarTime(18, 0, weekday=4)),
        ("mon 00:00", CalendarTime(0, 0, weekday=0)),
        ("apr-sep 07:00", CalendarTime(7, 0, months=(4, 5, 6, 7, 8, 9))),
        ("nov-feb 07:00", CalendarTime(7, 0, months=(11, 12, 1, 2))),
        ("may 07:00", CalendarTime(7, 0, months=(5,))),
        ("2026-12-24 08:00", CalendarTime(8, 0, date=(2026, 12, 24))),
        ("2028-02-29 08:00", CalendarTime(8, 0, date=(2028, 2, 29))),
        ("2000-02-29 23:59", CalendarTime(23, 59, date=(2000, 2, 29))),
        ("2000-01-01 00:00", CalendarTime(0, 0, date=(2000, 1, 1))),
        ("2999-12-31 00:00", CalendarTime(0, 0, date=(2999, 12, 31))),
        ("sun 9:00", CalendarTime(9, 0, weekday=6)),
        ("dec 09:00", CalendarTime(9, 0, months=(12,))),
        ("dec-jan 09:00", CalendarTime(9, 0, months=(12, 1))),
        ("jan-dec 09:00", CalendarTime(9, 0, months=tuple(range(1, 13)))),
    ],
)
def test_a_time_of_the_calendar_is_read_and_written_back(text: str, rule: CalendarTime) -> None:
    assert parse_calendar_time(text) == rule
    assert parse_calendar_time(str(rule)) == rule


@pytest.mark.parametrize(
    "text", ["07:05", "fri 18:00", "may 07:00", "nov-feb 07:00", "2026-02-03 08:00"]
)
def test_a_time_of_the_calendar_is_written_as_a_profile_has_it(text: str) -> None:
    assert str(parse_calendar_time(text)) == text


LAST_DAYS = list(enumerate((31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31), 1))
NO_TIME = 'must be a local time: "18:00", "fri 18:00", "apr-sep 07:00" or "2026-12-24 08:00"'
NO_CLOCK = "must be a time from 00:00 to 23:59"
NO_DAY = "must name a weekday (mon, tue, wed, thu, fri, sat, sun) or a month in English"
NO_MONTH = "must name months: jan, feb, mar, apr, may, jun, jul, aug, sep, oct, nov, dec"
NO_DATE = "must be a date that there is, from 2000-01-01"


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("", NO_TIME),
        ("soon", NO_TIME),
        ("fri", NO_TIME),
        ("24:00", NO_CLOCK),
        ("12:60", NO_CLOCK),
        ("foo 12:00", NO_DAY),
        ("foo-sep 12:00", NO_MONTH),
        ("apr-foo 12:00", NO_MONTH),
        ("2026-02-29 12:00", NO_DATE),
        ("2028-02-30 12:00", NO_DATE),
        ("2100-02-29 12:00", NO_DATE),
        ("2026-13-01 12:00", NO_DATE),
        ("2026-00-01 12:00", NO_DATE),
        ("2026-04-31 12:00", NO_DATE),
        ("2026-04-00 12:00", NO_DATE),
        ("1999-12-31 12:00", NO_DATE),
        ("3000-01-01 12:00", NO_DATE),
    ]
    + [(f"2026-{month:02d}-{days + 1} 12:00", NO_DATE) for month, days in LAST_DAYS],
)
def test_what_is_no_time_of_the_calendar_is_refused_with_what_is_allowed(
    text: str, why: str
) -> None:
    with pytest.raises(ValueError, match=f"^{re.escape(why)}$"):
        parse_calendar_time(text)


@pytest.mark.parametrize(("month", "days"), LAST_DAYS)
def test_every_month_has_its_last_day(month: int, days: int) -> None:
    assert parse_calendar_time(f"2026-{month:02d}-{days} 12:00").date == (2026, month, days)


OVER = [StepChange.ENDED, StepChange.ENTERED]


def test_a_hold_until_friday_evening_lasts_until_friday_evening() -> None:
    batch = Batch(HoldUntil(12.0, FRIDAY_EVENING), FinalHold(1.0))
    batch.lives(10.0)
    assert batch.target_c == 12.0
    assert batch.lives(utc_s("2026-07-03 17:59") - batch.wall_utc_s) == []
    assert batch.lives(60.0) == OVER
    assert batch.target_c == 1.0


def test_an_outlook_says_what_is_left_until_the_time_of_the_calendar() -> None:
    batch = Batch(HoldUntil(12.0, FRIDAY_EVENING), Hold(1.0, HOUR_S))
    assert outlook(batch.progress, WallTime(WEDNESDAY, CALENDAR)).remaining_s is None
    batch.lives(HOUR_S)
    shown = outlook(batch.progress, WallTime(batch.wall_utc_s, CALENDAR))
    assert shown.remaining_s == 2 * DAY_S + 5 * HOUR_S
    assert shown.planned_s == 2 * DAY_S + 6 * HOUR_S
    assert shown.rest_s == HOUR_S
    assert outlook(batch.progress).remaining_s is None


def test_a_step_of_the_calendar_waits_until_the_clock_is_known_to_be_set() -> None:
    batch = Batch(HoldUntil(12.0, FRIDAY_EVENING), FinalHold(1.0))
    batch.clock_set = False
    assert batch.lives(10 * DAY_S) == []
    batch.clock_set = True
    # Whatever the clock had said before: the Friday meant is the next one after it was set.
    assert batch.lives(10.0) == []
    assert batch.progress.due_utc_s == utc_s("2026-07-17 18:00")
    batch.clock_set = False
    assert batch.lives(30 * DAY_S) == []


def test_a_step_whose_time_passed_in_an_outage_is_over_at_once_and_told_to_be_overdue() -> None:
    batch = Batch(HoldUntil(12.0, FRIDAY_EVENING), FinalHold(1.0))
    batch.lives(10.0)
    assert batch.lives(5 * DAY_S, counted_s=0.0) == [StepChange.OVERDUE, *OVER]
    assert batch.told[0].elapsed_s == pytest.approx(5 * DAY_S + 10.0 - 2.25 * DAY_S)


def test_a_step_is_overdue_only_if_it_is_later_than_ten_minutes() -> None:
    due_s = utc_s("2026-07-03 18:00")
    for late_s, told in ((OVERDUE_S, OVER), (OVERDUE_S + 1.0, [StepChange.OVERDUE, *OVER])):
        batch = Batch(HoldUntil(12.0, FRIDAY_EVENING), FinalHold(1.0))
        batch.lives(10.0)
        assert batch.lives(due_s + late_s - batch.wall_utc_s, counted_s=0.0) == told
        # What passed after its time is the next step's, as far as it passed under control.
        assert batch.progress.elapsed_s == 0.0


def test_what_is_left_of_a_tick_in_which_a_date_came_is_the_next_steps() -> None:
    batch = Batch(HoldUntil(12.0, FRIDAY_EVENING), Hold(1.0, HOUR_S))
    batch.lives(10.0)
    batch.lives(utc_s("2026-07-03 17:59:50") - batch.wall_utc_s)
    assert batch.lives(30.0) == OVER
    assert batch.progress.elapsed_s == 20.0


def test_late_steps_are_taken_up_in_order_each_by_its_own_date() -> None:
    steps = [
        HoldUntil(float(day), parse_calendar_time(f"2026-07-0{day} 08:00")) for day in (2, 3, 9)
    ]
    batch = Batch(*steps, FinalHold(1.0))
    batch.lives(10.0)
    batch.lives(4 * DAY_S, counted_s=0.0)
    assert batch.progress.index == 2
    assert batch.progress.due_utc_s == utc_s("2026-07-09 08:00")


def test_two_times_of_day_in_a_row_are_those_of_one_day() -> None:
    eight, ten = parse_calendar_time("20:00"), parse_calendar_time("22:00")
    batch = Batch(HoldUntil(12.0, eight), HoldUntil(11.0, ten), FinalHold(1.0))
    batch.lives(10.0)
    # The board was off from four in the afternoon until eleven at night.
    batch.lives(11 * HOUR_S, counted_s=0.0)
    assert batch.target_c == 1.0


def test_a_date_that_has_passed_before_its_step_began_ends_it_at_once() -> None:
    batch = Batch(HoldUntil(12.0, parse_calendar_time("2020-01-01 08:00")), FinalHold(1.0))
    assert batch.lives(10.0) == OVER


def test_a_date_that_had_passed_when_its_step_began_is_told_by_how_much() -> None:
    batch = Batch(
        HoldUntil(12.0, parse_calendar_time("2026-06-30 08:00")),
        HoldUntil(11.0, parse_calendar_time("08:00")),
        FinalHold(1.0),
    )
    assert batch.lives(10.0) == [StepChange.OVERDUE, *OVER]
    assert batch.told[0].elapsed_s == DAY_S + 4 * HOUR_S + 10.0
    # The next eight o'clock is looked for from when the step began, not from the date gone by.
    assert batch.progress.due_utc_s == utc_s("2026-07-02 08:00")


def test_a_time_after_a_step_of_another_kind_is_looked_for_from_its_own_beginning() -> None:
    batch = Batch(
        HoldUntil(12.0, FRIDAY_EVENING),
        Hold(11.0, 3 * DAY_S),
        HoldUntil(10.0, FRIDAY_EVENING),
        FinalHold(1.0),
    )
    batch.lives(10.0)
    batch.lives(utc_s("2026-07-03 18:00") - batch.wall_utc_s)
    batch.lives(3 * DAY_S)
    assert batch.progress.index == 2
    assert batch.progress.due_utc_s == utc_s("2026-07-10 18:00")
    assert batch.progress.from_utc_s == utc_s("2026-07-06 18:00")


def test_a_hold_until_a_time_can_be_made_longer() -> None:
    batch = Batch(HoldUntil(12.0, FRIDAY_EVENING), FinalHold(1.0))
    batch.lives(10.0)
    batch.progress = Progress(
        **{  # type: ignore[arg-type]
            name: getattr(batch.progress, name) for name in batch.progress.__slots__
        }
        | {"extra_s": HOUR_S}
    )
    assert batch.lives(utc_s("2026-07-03 18:30") - batch.wall_utc_s) == []
    assert batch.lives(HOUR_S / 2) == OVER


def test_a_clock_that_was_wrong_when_a_step_began_and_is_set_back_looks_anew() -> None:
    batch = Batch(HoldUntil(12.0, FRIDAY_EVENING), FinalHold(1.0))
    batch.lives(20 * DAY_S)
    assert batch.progress.due_utc_s == utc_s("2026-07-24 18:00")
    batch.lives(-20 * DAY_S, counted_s=10.0)
    assert batch.progress.due_utc_s == utc_s("2026-07-03 18:00")


def test_a_clock_that_is_corrected_by_a_minute_was_not_wrong() -> None:
    batch = Batch(HoldUntil(12.0, FRIDAY_EVENING), FinalHold(1.0))
    batch.lives(10.0)
    from_s = batch.progress.from_utc_s
    batch.lives(-SET_BACK_S, counted_s=0.0)
    assert batch.progress.from_utc_s == from_s
    batch.lives(-1.0, counted_s=0.0)
    assert batch.progress.from_utc_s == batch.wall_utc_s


def test_the_time_of_an_extended_step_is_told_with_its_extension() -> None:
    batch = Batch(HoldUntil(12.0, FRIDAY_EVENING), FinalHold(1.0))
    assert due_utc_s(batch.progress) is None
    batch.lives(10.0)
    longer = replace(batch.progress, extra_s=HOUR_S)
    assert due_utc_s(longer) == utc_s("2026-07-03 19:00")
    shown = outlook(longer, WallTime(utc_s("2026-07-03 20:00"), CALENDAR))
    assert (shown.remaining_s, shown.planned_s) == (0.0, 10.0)


def test_a_schedule_knows_from_when_until_when_its_target_holds() -> None:
    batch = Batch(CELLAR)
    batch.lives(10.0)
    seen = batch.progress
    assert (seen.scheduled_c, seen.scheduled_from_utc_s, seen.scheduled_until_utc_s) == (
        12.0,
        utc_s("2026-07-01 07:00"),
        utc_s("2026-07-01 22:00"),
    )
    batch.lives(utc_s("2026-07-01 21:59:59") - batch.wall_utc_s)
    assert batch.target_c == 12.0
    batch.lives(1.0)
    assert batch.target_c == 10.0
    # A clock set back to before the change that holds looks anew.
    batch.lives(-1.0, counted_s=0.0)
    assert batch.target_c == 12.0


CELLAR = Schedule(
    (
        Change(parse_calendar_time("07:00"), 12.0),
        Change(parse_calendar_time("22:00"), 10.0),
        Change(parse_calendar_time("2026-07-04 09:00"), 14.0),
    )
)


def test_a_schedule_changes_the_target_by_the_calendar_without_end() -> None:
    batch = Batch(CELLAR)
    batch.clock_set = False
    batch.lives(10.0)
    assert batch.target_c == 12.0  # the first change, until the clock is set
    batch.clock_set = True
    seen = {}
    while batch.wall_utc_s < utc_s("2026-07-05 12:00"):
        assert batch.lives(HOUR_S / 2) == []
        seen[datetime.fromtimestamp(batch.wall_utc_s, UTC).strftime("%d %H")] = batch.target_c
    assert [seen[hour] for hour in ("01 21", "01 23", "02 06", "02 08")] == [12.0, 10.0, 10.0, 12.0]
    assert [seen[hour] for hour in ("04 08", "04 10", "04 23", "05 08")] == [12.0, 14.0, 10.0, 12.0]


def test_a_schedule_of_a_time_that_never_was_keeps_its_first_target() -> None:
    batch = Batch(Schedule((Change(parse_calendar_time("2999-01-01 08:00"), 9.0),)))
    batch.lives(DAY_S)
    assert batch.target_c == 9.0


def test_a_schedule_is_as_cold_as_its_coldest_change_and_has_no_length() -> None:
    assert coldest_target_c(CELLAR) == 10.0
    progress, _ = begin(Profile("year", (Hold(1.0, 5.0), CELLAR)), 18.0)
    assert remaining_after_s(progress) == 0.0
    progress, _ = begin(Profile("year", (CELLAR, Ramp(15.0, 1.0))), 18.0)
    assert remaining_after_s(progress) == DAY_S
