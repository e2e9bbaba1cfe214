"""The calendar in the brewer's time zone, worked out by apscheduler's triggers.

Rules for the two days of the year on which clocks are changed, tested for zones that change by an
hour and by half an hour:

- A local time that is left out (02:30 when clocks go from 02:00 to 03:00) is taken at the moment of
  the change: nothing is skipped.
- A local time that comes twice counts the first time only: nothing is done twice.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo

from apscheduler.triggers.cron import CronTrigger

from fermd.control.calendar import MONTHS, WEEKDAYS, CalendarTime

_LOOK_BACK_S = tuple(timedelta(days=days).total_seconds() for days in (2, 9, 400))
"""How far back the last time of a rule is looked for, s: what comes every day, every week, and
in one month of the year."""


@dataclass(frozen=True, slots=True)
class ZoneCalendar:
    """The `Calendar` of one time zone."""

    zone: ZoneInfo

    def next_utc_s(self, rule: CalendarTime, after_utc_s: float) -> float | None:
        """Return the first instant of the rule after this one; None if there is none any more.

        None, too, outside the years 1 to 9999: a board's clock that was never set may say anything,
        and control must not fall over it.
        """
        if rule.date is not None:
            at_s = self._instant_s(_local(rule.date, rule))
            return at_s if at_s > after_utc_s else None
        try:
            return self._next_of_many_s(rule, after_utc_s)
        except (OverflowError, ValueError, OSError):
            return None

    def _next_of_many_s(self, rule: CalendarTime, after_utc_s: float) -> float | None:
        # The trigger names days; which instant of the day is ours to say (see above).
        day = datetime.fromtimestamp(after_utc_s, self.zone).date() - timedelta(days=1)
        for _ in range(4):
            found = _next_day(rule, day)
            if found is None:
                return None
            at_s = self._instant_s(_local(found, rule))
            if at_s > after_utc_s:
                return at_s
            day = date(*found) + timedelta(days=1)
        return None

    def last_utc_s(self, rule: CalendarTime, at_utc_s: float) -> float | None:
        """Return the last instant of the rule at or before this one; None if there was none."""
        if rule.date is not None:
            on_s = self._instant_s(_local(rule.date, rule))
            return on_s if on_s <= at_utc_s else None
        for back_s in _LOOK_BACK_S:
            found_s = self.next_utc_s(rule, at_utc_s - back_s)
            if found_s is not None and found_s <= at_utc_s:
                return self._newest_s(rule, found_s, at_utc_s)
        return None

    def _newest_s(self, rule: CalendarTime, found_s: float, at_utc_s: float) -> float:
        """Return the last instant at or before `at_utc_s`, from an earlier one."""
        # Halved, not walked through: a season has 183 mornings, and this is asked within a tick.
        until_s = at_utc_s
        while (next_s := self.next_utc_s(rule, found_s)) is not None and next_s <= at_utc_s:
            found_s = next_s
            middle_s = (found_s + until_s) / 2
            next_s = self.next_utc_s(rule, middle_s)
            if next_s is not None and next_s <= at_utc_s:
                found_s = next_s
            else:
                until_s = middle_s
        return found_s

    def _instant_s(self, local: datetime) -> float:
        """Return the instant of a local time, by the rules above."""
        there = local.replace(tzinfo=self.zone, fold=0)
        at = there.astimezone(UTC)
        if at.astimezone(self.zone).replace(tzinfo=None) == local:
            return at.timestamp()
        # The local time does not exist. Taken with the offset after the change it lies before the
        # change, with the one before it behind: the change itself is between the two.
        before = there.replace(fold=1).astimezone(UTC)
        return self._change_between(before, at).timestamp()

    def _change_between(self, early: datetime, late: datetime) -> datetime:
        offset = early.astimezone(self.zone).utcoffset()
        while late - early > timedelta(seconds=1):
            middle = early + (late - early) / 2
            if middle.astimezone(self.zone).utcoffset() == offset:
                early = middle
            else:
                late = middle
        return late.replace(microsecond=0)


@lru_cache(maxsize=256)
def _days(rule: CalendarTime) -> CronTrigger:
    """Return the trigger of the days that a rule names. Made once: that is most of the work."""
    # In UTC, where every day has 24 hours: the zone comes in afterwards.
    return CronTrigger(
        month=",".join(MONTHS[month - 1] for month in rule.months) or None,
        day_of_week=None if rule.weekday is None else WEEKDAYS[rule.weekday],
        hour=0,
        minute=0,
        timezone=UTC,
    )


def _next_day(rule: CalendarTime, day: date) -> tuple[int, int, int] | None:
    found = _days(rule).get_next_fire_time(None, datetime(day.year, day.month, day.day, tzinfo=UTC))
    return None if found is None else (found.year, found.month, found.day)


def _local(day: tuple[int, int, int], rule: CalendarTime) -> datetime:
    return datetime(*day, rule.hour, rule.minute)  # noqa: DTZ001 - the zone comes in afterwards
