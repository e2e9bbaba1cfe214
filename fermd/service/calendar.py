"""What happens by the calendar: upkeep at night, and whatever else has an hour.

apscheduler's triggers work out when (through the calendar of profiles, which puts them right on
the two odd days of the year); nothing of its schedulers is used, because they sleep by the wall
clock and stand still for an hour when it is set back by one. Here the times are looked at again on
every pass, on whatever clock the caller has (the simulator's too), so that a clock that is stepped
either way makes a job at most early or late once:

- A job whose time has passed is run once, however often it was missed, and late rather than
  never: a board that was off at night does its upkeep when it is back. Whoever makes the calendar
  says until when the calendar was looked at before (`since`).
- While the wall clock is not known to be set nothing runs, because no hour is known.
- A clock set back by less than the time between two runs makes nothing run twice: a job's next
  time is after its last one. Set back by more than that, the last one was run at a time that never
  was, and is forgotten: a clock that was once a year ahead must not keep upkeep off for a year.

Control never depends on this: a job that hangs or fails is told in the log and holds up only the
jobs after it.
"""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Protocol
from zoneinfo import ZoneInfo

from fermd.config.zone_calendar import ZoneCalendar
from fermd.control.calendar import WEEKDAYS, CalendarTime
from fermd.control.moment import Moment

log = logging.getLogger(__name__)

LOOK_EVERY_S = 20.0
"""How often the thread looks at the calendar, s: a job is this late at the most."""


class Trigger(Protocol):
    """The one method of apscheduler's triggers that is used."""

    def get_next_fire_time(
        self, previous_fire_time: datetime | None, now: datetime
    ) -> datetime | None:
        """Return the next time at or after `now`, or None if there is none."""
        ...


@dataclass(slots=True)
class Job:
    """Something to do by the calendar."""

    name: str
    trigger: Trigger
    work: Callable[[Moment], None]
    next_utc: datetime | None = None
    """When it runs next; None until the wall clock is known to be set."""
    last_utc: datetime | None = None
    looked_utc: datetime | None = None
    """When it was last looked whether it is due."""


@dataclass(frozen=True, slots=True)
class LocalTime:
    """A trigger by the clock on the brewer's wall, by the rules of the calendar of profiles.

    apscheduler's own (3.11) leaves a day out if its clocks skip the hour, and comes twice on the
    day on which they show it twice.
    """

    calendar: ZoneCalendar
    rule: CalendarTime

    def get_next_fire_time(
        self,
        previous_fire_time: datetime | None,  # noqa: ARG002 - the protocol's; times follow no count
        now: datetime,
    ) -> datetime | None:
        """Return the next time at or after `now`, or None if there is none."""
        found_s = self.calendar.next_utc_s(self.rule, now.timestamp() - _AN_INSTANT_S)
        return None if found_s is None else datetime.fromtimestamp(found_s, UTC)


_AN_INSTANT_S = 1e-6


def every_night(zone: ZoneInfo, hour: int, minute: int) -> Trigger:
    """Return a trigger for this local time of every day."""
    return LocalTime(ZoneCalendar(zone), CalendarTime(hour, minute))


def every_week(zone: ZoneInfo, weekday: str, hour: int, minute: int) -> Trigger:
    """Return a trigger for this local time of one day (`mon` to `sun`) of every week."""
    rule = CalendarTime(hour, minute, weekday=WEEKDAYS.index(weekday))
    return LocalTime(ZoneCalendar(zone), rule)


@dataclass(frozen=True, slots=True)
class EveryHour:
    """A trigger once in every hour, at its half: wherever the zone's offset puts the full hour."""

    def get_next_fire_time(
        self,
        previous_fire_time: datetime | None,  # noqa: ARG002 - the protocol's; times follow no count
        now: datetime,
    ) -> datetime:
        """Return the next half hour at or after `now`."""
        half = now.replace(minute=30, second=0, microsecond=0)
        return half if half >= now else half + timedelta(hours=1)


def every_hour() -> Trigger:
    """Return a trigger once in every hour."""
    return EveryHour()


class Calendar:
    """The jobs and when they are due. `run_due` is called from one thread only."""

    def __init__(self, jobs: Sequence[Job], since: Moment | None = None) -> None:
        """`since` is the last moment known at which somebody looked at the calendar before."""
        self._jobs = list(jobs)
        if since is None or not since.wall_trusted:
            return
        for job in self._jobs:
            try:
                job.looked_utc = _time_of_day(since)
                job.next_utc = _next_utc(job, job.looked_utc)
            except (OverflowError, ValueError, OSError) as error:
                log.warning("calendar: %s starts from now: %s", job.name, error)

    def run_due(self, now: Moment) -> list[str]:
        """Run what is due; returns the names of the jobs that ran."""
        if not now.wall_trusted:
            return []
        ran = []
        for job in self._jobs:
            try:
                if not _look(job, _time_of_day(now)):
                    continue
                ran.append(job.name)
                job.work(now)
            except Exception:
                # Whatever a job or its trigger does, the others and control go on.
                log.exception("calendar: %s failed", job.name)
        return ran


def _look(job: Job, at: datetime) -> bool:
    """Whether a job is to be run now. Its next time is set then: if it fails, it waits for that."""
    looked_utc, job.looked_utc = job.looked_utc, at
    if job.next_utc is not None and job.next_utc <= at:
        job.last_utc = at
        job.next_utc = _next_utc(job, at)
        return True
    if looked_utc is None or at < looked_utc:
        _clock_was_set_back(job, at)
        job.next_utc = _next_utc(job, at)
    return False


def _clock_was_set_back(job: Job, at: datetime) -> None:
    if job.last_utc is None or job.last_utc <= at:
        return
    # By how much? Two times of the job between now and its last run are more than a clock that
    # was right before can be set back by.
    first = _following(job.trigger, None, at)
    second = None if first is None else _following(job.trigger, None, first)
    if first is not None and second is not None and first < second <= job.last_utc:
        job.last_utc = None


def _next_utc(job: Job, at: datetime) -> datetime | None:
    after = at if job.last_utc is None or job.last_utc < at else job.last_utc
    return _following(job.trigger, job.last_utc, after)


def _following(trigger: Trigger, last: datetime | None, after: datetime) -> datetime | None:
    found = trigger.get_next_fire_time(last, after + timedelta(microseconds=1))
    return None if found is None else found.astimezone(UTC)


def _time_of_day(moment: Moment) -> datetime:
    return datetime.fromtimestamp(moment.wall_utc_s, UTC)


class CalendarThread:
    """Looks at a calendar in a thread of its own. A context manager."""

    def __init__(self, calendar: Calendar, now: Callable[[], Moment]) -> None:
        self._calendar = calendar
        self._now = now
        self._end = threading.Event()
        self._thread = threading.Thread(target=self._run, name="calendar", daemon=True)

    def __enter__(self) -> CalendarThread:
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._end.set()
        self._thread.join(timeout=5.0)

    def _run(self) -> None:
        while not self._end.is_set():
            self._calendar.run_due(self._now())
            self._end.wait(LOOK_EVERY_S)
