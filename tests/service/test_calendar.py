"""What happens by the calendar: once each time, late rather than never, never at a wrong hour."""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from apscheduler.triggers.cron import CronTrigger
from apscheduler.triggers.date import DateTrigger
from hypothesis import given, settings
from hypothesis import strategies as st

from fermd.control.moment import Moment
from fermd.service.calendar import (
    LOOK_EVERY_S,
    Calendar,
    CalendarThread,
    Job,
    Trigger,
    every_night,
    every_week,
)

BERLIN = ZoneInfo("Europe/Berlin")
BOUND_S = 30.0


class Diary:
    """A calendar with one job, looked at as the thread does; notes when it ran, in local time."""

    def __init__(
        self, trigger: Trigger, zone: ZoneInfo = BERLIN, since: datetime | None = None
    ) -> None:
        self._zone = zone
        self.ran: list[datetime] = []
        job = Job("job", trigger, lambda now: self.ran.append(self._local(now)))
        self.calendar = Calendar([job], None if since is None else moment(since))

    def look(self, at: datetime, *, trusted: bool = True) -> None:
        self.calendar.run_due(moment(at, trusted=trusted))

    def look_from(self, start: datetime, end: datetime) -> None:
        """Look every so often from one moment to another, as the thread does."""
        at = start.astimezone(UTC)
        while at <= end:
            self.look(at)
            at += timedelta(seconds=LOOK_EVERY_S)

    def _local(self, now: Moment) -> datetime:
        return datetime.fromtimestamp(now.wall_utc_s, self._zone)


def moment(at: datetime, *, trusted: bool = True) -> Moment:
    return Moment(0.0, at.timestamp(), wall_trusted=trusted)


def berlin(*fields: int, fold: int = 0) -> datetime:
    return datetime(*fields, tzinfo=BERLIN, fold=fold)  # type: ignore[arg-type]


def test_a_nightly_job_runs_once_a_night_within_a_look_of_its_hour() -> None:
    diary = Diary(every_night(BERLIN, 3, 30))
    diary.look_from(berlin(2026, 3, 1, 12), berlin(2026, 3, 4, 12))
    assert [at.date().day for at in diary.ran] == [2, 3, 4]
    for at in diary.ran:
        assert (
            timedelta(0)
            <= at - at.replace(hour=3, minute=30, second=0)
            <= timedelta(seconds=LOOK_EVERY_S)
        )


def test_a_weekly_job_runs_on_its_day() -> None:
    diary = Diary(every_week(BERLIN, "sun", 4, 30))
    diary.look_from(berlin(2026, 3, 2, 12), berlin(2026, 3, 2, 13))
    diary.look_from(berlin(2026, 3, 8, 0), berlin(2026, 3, 8, 23))
    diary.look_from(berlin(2026, 3, 15, 0), berlin(2026, 3, 15, 23))
    assert [(at.strftime("%a"), at.day) for at in diary.ran] == [("Sun", 8), ("Sun", 15)]


# Missed, late, and never twice.


def test_a_job_that_was_missed_for_nights_runs_once_when_somebody_looks_again() -> None:
    diary = Diary(every_night(BERLIN, 3, 30))
    diary.look(berlin(2026, 3, 1, 12))
    diary.look_from(berlin(2026, 3, 9, 8), berlin(2026, 3, 9, 23))
    assert diary.ran == [berlin(2026, 3, 9, 8)]


def test_a_board_that_was_off_at_night_does_its_upkeep_when_it_is_back() -> None:
    last_seen = berlin(2026, 3, 1, 22)
    diary = Diary(every_night(BERLIN, 3, 30), since=last_seen)
    diary.look_from(berlin(2026, 3, 2, 8), berlin(2026, 3, 2, 22))
    assert diary.ran == [berlin(2026, 3, 2, 8)]


def test_a_restart_by_day_repeats_nothing() -> None:
    diary = Diary(every_night(BERLIN, 3, 30), since=berlin(2026, 3, 2, 11))
    diary.look_from(berlin(2026, 3, 2, 11, 1), berlin(2026, 3, 2, 23))
    assert diary.ran == []


def test_what_is_known_from_a_clock_that_was_not_set_makes_nothing_due() -> None:
    job = Job("job", every_night(BERLIN, 3, 30), lambda _: None)
    calendar = Calendar([job], moment(berlin(1970, 1, 2), trusted=False))
    assert calendar.run_due(moment(berlin(2026, 3, 2, 8))) == []


def test_while_the_clock_is_not_known_to_be_set_nothing_runs() -> None:
    diary = Diary(every_night(BERLIN, 3, 30), since=berlin(2026, 3, 1, 22))
    for hours in range(200):
        diary.look(berlin(2026, 3, 1, 23) + timedelta(hours=hours), trusted=False)
    assert diary.ran == []
    diary.look(berlin(2026, 3, 10, 9))
    assert diary.ran == [berlin(2026, 3, 10, 9)]


# A clock that is set.


@pytest.mark.parametrize("back", [timedelta(minutes=5), timedelta(hours=1), timedelta(hours=23)])
def test_a_clock_set_back_after_the_hour_makes_nothing_run_twice(back: timedelta) -> None:
    diary = Diary(every_night(BERLIN, 3, 30))
    diary.look_from(berlin(2026, 3, 1, 12), berlin(2026, 3, 2, 3, 31))
    assert len(diary.ran) == 1
    diary.look_from(berlin(2026, 3, 2, 3, 31) - back, berlin(2026, 3, 3, 3, 29))
    assert len(diary.ran) == 1
    diary.look_from(berlin(2026, 3, 3, 3, 29), berlin(2026, 3, 3, 4))
    assert len(diary.ran) == 2


def test_a_clock_set_back_before_the_hour_makes_it_run_at_the_hour() -> None:
    diary = Diary(every_night(BERLIN, 3, 30))
    diary.look_from(berlin(2026, 3, 1, 12), berlin(2026, 3, 2, 3))
    diary.look_from(berlin(2026, 3, 1, 20), berlin(2026, 3, 2, 4))
    assert [(at.day, at.hour, at.minute) for at in diary.ran] == [(2, 3, 30)]


def test_a_clock_set_forward_over_the_hour_makes_it_run_once() -> None:
    diary = Diary(every_night(BERLIN, 3, 30))
    diary.look(berlin(2026, 3, 1, 12))
    diary.look_from(berlin(2029, 7, 1, 12), berlin(2029, 7, 1, 22))
    assert len(diary.ran) == 1


def test_a_clock_that_was_a_year_ahead_does_not_keep_upkeep_off_for_a_year() -> None:
    diary = Diary(every_night(BERLIN, 3, 30))
    diary.look(berlin(2026, 3, 1, 12))
    diary.look_from(berlin(2027, 3, 1, 12), berlin(2027, 3, 1, 13))
    assert len(diary.ran) == 1
    diary.look_from(berlin(2026, 3, 1, 13), berlin(2026, 3, 4, 12))
    assert [(at.year, at.day) for at in diary.ran[1:]] == [(2026, 2), (2026, 3), (2026, 4)]


@settings(max_examples=40, deadline=None)
@given(
    st.lists(
        st.tuples(
            st.sampled_from([0, 0, 0, 60, -60, 3600, -3600, 10**5, -(10**5), 10**8, -(10**8)]),
            st.integers(1, 40),
        ),
        max_size=12,
    )
)
def test_however_the_clock_is_set_upkeep_runs_within_two_days_and_no_oftener_than_it_is_set(
    steps: list[tuple[int, int]],
) -> None:
    diary = Diary(every_night(BERLIN, 3, 30))
    at, looked_h, set_count = berlin(2026, 3, 1, 12).astimezone(UTC), 0, 0
    for by_s, hours in [*steps, (0, 49)]:
        at += timedelta(seconds=by_s)
        set_count += by_s != 0
        for _ in range(hours * 2):
            diary.look(at)
            at += timedelta(minutes=30)
        looked_h += hours
    assert diary.ran
    assert diary.ran[-1].timestamp() >= (at - timedelta(hours=26)).timestamp()
    assert len(diary.ran) <= looked_h / 23 + 1 + set_count


# Daylight saving: in 2026 Berlin's clocks go from 2:00 to 3:00 on 29 March, and from 3:00 back to
# 2:00 on 25 October (tz database, rule EU).


def test_on_the_day_without_half_past_two_a_job_of_that_time_runs_once() -> None:
    diary = Diary(every_night(BERLIN, 2, 30))
    diary.look_from(berlin(2026, 3, 28, 12), berlin(2026, 3, 30, 12))
    assert [at.day for at in diary.ran] == [29, 30]
    assert diary.ran[0].hour == 3
    assert (diary.ran[1].hour, diary.ran[1].minute) == (2, 30)


def test_on_the_day_with_two_half_past_twos_a_job_of_that_time_runs_once() -> None:
    diary = Diary(every_night(BERLIN, 2, 30))
    diary.look_from(berlin(2026, 10, 24, 12), berlin(2026, 10, 26, 12))
    assert [at.day for at in diary.ran] == [25, 26]
    assert all((at.hour, at.minute) == (2, 30) for at in diary.ran)


@pytest.mark.parametrize(
    "zone", ["Europe/Berlin", "Europe/Helsinki", "America/New_York", "Australia/Lord_Howe", "UTC"]
)
def test_upkeep_runs_once_on_every_day_of_the_year_wherever_the_brewer_lives(zone: str) -> None:
    place = ZoneInfo(zone)
    diary = Diary(every_night(place, 3, 30), place)
    at = datetime(2026, 1, 1, 12, tzinfo=UTC)
    while at < datetime(2027, 1, 1, 12, tzinfo=UTC):
        diary.look(at)
        at += timedelta(minutes=20)
    days = [at.date() for at in diary.ran]
    assert len(days) == len(set(days)) == 365


# Jobs that do not do as they should.


def test_a_job_that_fails_is_told_and_does_not_stop_the_others(
    caplog: pytest.LogCaptureFixture,
) -> None:
    def fail(_: Moment) -> None:
        raise OSError("the disk is gone")

    ran: list[str] = []
    nightly = every_night(BERLIN, 3, 30)
    calendar = Calendar(
        [Job("first", nightly, fail), Job("second", nightly, lambda _: ran.append("second"))]
    )
    calendar.run_due(moment(berlin(2026, 3, 1, 12)))
    with caplog.at_level(logging.ERROR):
        assert calendar.run_due(moment(berlin(2026, 3, 2, 4))) == ["first", "second"]
    assert ran == ["second"]
    assert "first failed" in caplog.text
    # Not again at once: a job that fails waits for its next time.
    assert calendar.run_due(moment(berlin(2026, 3, 2, 5))) == []
    assert calendar.run_due(moment(berlin(2026, 3, 3, 5))) == ["first", "second"]


def test_a_time_that_no_calendar_has_stops_nothing() -> None:
    diary = Diary(every_night(BERLIN, 3, 30))
    diary.look(berlin(2026, 3, 1, 12))
    for wall_utc_s in (-1e18, 1e18, 253_402_300_799.0):
        diary.calendar.run_due(Moment(0.0, wall_utc_s, wall_trusted=True))
    # A run that such a time may have set off stands for the next night; then all is right again.
    diary.look_from(berlin(2026, 3, 2, 4), berlin(2026, 3, 3, 4))
    assert diary.ran[-1] == berlin(2026, 3, 3, 3, 30)


def test_something_that_is_due_once_happens_once() -> None:
    diary = Diary(DateTrigger(berlin(2026, 3, 6, 18)))
    diary.look_from(berlin(2026, 3, 6, 17), berlin(2026, 3, 6, 19))
    diary.look_from(berlin(2026, 3, 6, 17), berlin(2026, 3, 6, 19))
    assert len(diary.ran) == 1


def test_a_calendar_that_has_no_more_times_is_quiet() -> None:
    diary = Diary(CronTrigger(year=2020, timezone=BERLIN))
    diary.look_from(berlin(2026, 3, 1, 12), berlin(2026, 3, 1, 13))
    assert diary.ran == []


# The thread.


def test_the_thread_looks_by_itself_and_ends_with_its_context() -> None:
    looked = threading.Event()
    calendar = Calendar([], None)
    run_due: Callable[[Moment], list[str]] = calendar.run_due

    def now() -> Moment:
        looked.set()
        return moment(berlin(2026, 3, 1, 12))

    with CalendarThread(calendar, now) as thread:
        assert looked.wait(BOUND_S)
    assert not thread._thread.is_alive()
    assert run_due(now()) == []
