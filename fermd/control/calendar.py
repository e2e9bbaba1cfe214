"""Times of the calendar, as a profile names them; working them out is somebody else's job.

The core knows no time zone and reads no clock. A rule is data (`CalendarTime`), and the function
that turns it into instants (`Calendar`) is handed in with the settings: the same rule and the same
instant always give the same answer, so that the core stays a pure function of what it is given.

The wall clock has no say while it is not known to be set: a step that ends by the calendar waits,
and a schedule keeps the target that it had.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from math import isfinite
from typing import Annotated, Protocol

from annotated_types import Ge, Le

WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
MONTHS = (
    "jan",
    "feb",
    "mar",
    "apr",
    "may",
    "jun",
    "jul",
    "aug",
    "sep",
    "oct",
    "nov",
    "dec",
)


@dataclass(frozen=True, slots=True)
class CalendarTime:
    """A local time of day, on every day or on some: a weekday, months, or one date.

    "18:00", "fri 18:00", "2026-12-24 08:00", "apr-sep 07:00".
    """

    hour: Annotated[int, Ge(0), Le(23)]
    minute: Annotated[int, Ge(0), Le(59)]
    weekday: Annotated[int, Ge(0), Le(6)] | None = None
    """0 is Monday."""
    months: tuple[int, ...] = ()
    """1 to 12; empty for every month."""
    date: tuple[int, int, int] | None = None
    """Year, month, day."""

    def __str__(self) -> str:
        clock = f"{self.hour:02d}:{self.minute:02d}"
        if self.date is not None:
            year, month, day = self.date
            return f"{year:04d}-{month:02d}-{day:02d} {clock}"
        if self.weekday is not None:
            return f"{WEEKDAYS[self.weekday]} {clock}"
        if self.months:
            first, last = MONTHS[self.months[0] - 1], MONTHS[self.months[-1] - 1]
            return f"{first}-{last} {clock}" if first != last else f"{first} {clock}"
        return clock


_FORMS = re.compile(
    r"(?:(?:(?P<date>\d{4}-\d{2}-\d{2})|(?P<weekday>[a-z]{3})|(?P<first>[a-z]{3})-(?P<last>[a-z]{3}))"
    r"\s+)?(?P<hour>\d{1,2}):(?P<minute>\d{2})",
    re.ASCII,
)


def parse_calendar_time(text: str) -> CalendarTime:
    """Read a time as a profile writes it.

    Raises ValueError whose text says what is allowed.
    """
    found = _FORMS.fullmatch(text.strip().lower())
    if found is None:
        raise ValueError(
            'must be a local time: "18:00", "fri 18:00", "apr-sep 07:00" or "2026-12-24 08:00"'
        )
    hour, minute = int(found["hour"]), int(found["minute"])
    if hour > 23 or minute > 59:
        raise ValueError("must be a time from 00:00 to 23:59")
    if found["date"]:
        return CalendarTime(hour, minute, date=_date(found["date"]))
    if found["first"]:
        return CalendarTime(hour, minute, months=_months(found["first"], found["last"]))
    named = found["weekday"]
    if not named:
        return CalendarTime(hour, minute)
    if named in MONTHS:
        return CalendarTime(hour, minute, months=(MONTHS.index(named) + 1,))
    if named not in WEEKDAYS:
        raise ValueError(f"must name a weekday ({', '.join(WEEKDAYS)}) or a month in English")
    return CalendarTime(hour, minute, weekday=WEEKDAYS.index(named))


def utc_text(utc_s: float) -> str:
    """Write an instant (POSIX, s) as text, in UTC: the core knows no other zone and no clock.

    The day is counted in years that begin in March, so that the leap day comes last (the proleptic
    Gregorian calendar; 400 years have 146097 days).
    """
    if not isfinite(utc_s):
        return f"{utc_s:g} s POSIX time"
    days, seconds = divmod(int(utc_s), 86400)
    era, day_of_era = divmod(days + 719468, 146097)
    year = (day_of_era - day_of_era // 1460 + day_of_era // 36524 - day_of_era // 146096) // 365
    day_of_year = day_of_era - (365 * year + year // 4 - year // 100)
    month_from_march = (5 * day_of_year + 2) // 153
    day = day_of_year - (153 * month_from_march + 2) // 5 + 1
    month = month_from_march + 3 if month_from_march < 10 else month_from_march - 9
    hour, minute = seconds // 3600, seconds // 60 % 60
    civil = era * 400 + year + (month <= 2)
    return f"{civil:04d}-{month:02d}-{day:02d} {hour:02d}:{minute:02d}:{seconds % 60:02d} UTC"


def _date(text: str) -> tuple[int, int, int]:
    year, month, day = (int(part) for part in text.split("-"))
    leap = year % 4 == 0 and (year % 100 != 0 or year % 400 == 0)
    days = (31, 29 if leap else 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)
    if not 1 <= month <= 12 or not 1 <= day <= days[month - 1] or not 2000 <= year <= 2999:
        raise ValueError("must be a date that there is, from 2000-01-01")
    return year, month, day


def _months(first: str, last: str) -> tuple[int, ...]:
    if first not in MONTHS or last not in MONTHS:
        raise ValueError(f"must name months: {', '.join(MONTHS)}")
    start, end = MONTHS.index(first), MONTHS.index(last)
    return tuple((start + n) % 12 + 1 for n in range((end - start) % 12 + 1))


class Calendar(Protocol):
    """Turns rules into instants, in the brewer's own time zone."""

    def next_utc_s(self, rule: CalendarTime, after_utc_s: float) -> float | None:
        """Return the first instant of the rule after this one; None if there is none any more.

        A local time that a clock change leaves out is taken at the moment of the change; one that
        comes twice counts the first time only.
        """
        ...

    def last_utc_s(self, rule: CalendarTime, at_utc_s: float) -> float | None:
        """Return the last instant of the rule at or before this one; None if there was none."""
        ...


@dataclass(frozen=True, slots=True)
class WallTime:
    """The wall clock, known to be set, and the calendar that goes with it."""

    utc_s: float
    calendar: Calendar
