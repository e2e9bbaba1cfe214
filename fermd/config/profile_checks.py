"""What is wrong with starting a profile at a certain time, and what the two odd days do to it.

The judgement itself is `fermd.control.foresight`, which a start goes through as well; here it gets
the form of faults, and local times are read and explained.

Rules for a local time on a day when clocks are changed (see `zone_calendar`): one that is left out
is taken at the moment of the change, one that comes twice counts the first time only.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from fermd.config.calendar_times import CALENDAR_WORDS
from fermd.config.errors import Fault
from fermd.config.zone_calendar import ZoneCalendar
from fermd.control.calendar import Calendar, CalendarTime, parse_calendar_time
from fermd.control.foresight import start_objection, unreachable
from fermd.control.steps import Profile


def unreachable_steps(
    profile: Profile, start_utc_s: float, calendar: Calendar | None
) -> tuple[Fault, ...]:
    """Every step that could never come to its turn if the profile started then."""
    return tuple(
        Fault(found.key, found.value, found.why)
        for found in unreachable(profile.steps, start_utc_s, calendar)
    )


def start_from(text: str, zone: ZoneInfo, now_utc_s: float) -> tuple[float, str | None]:
    """Read a local time to start at: "2026-03-06 18:00", or the next "fri 18:00" or "18:00".

    Also returns what a change of clocks does to it, in words, if it does anything.

    Raises:
        ValueError: no time, or one in the past; the text says what is allowed.

    """
    try:
        rule = parse_calendar_time(text)
    except ValueError:
        raise ValueError(f"must be {CALENDAR_WORDS}") from None
    # A date is looked for from the beginning of time, so that a past one is told from a wrong one.
    after_s = 0.0 if rule.date is not None else now_utc_s
    at_s = ZoneCalendar(zone).next_utc_s(rule, after_s)
    if at_s is None:
        raise ValueError("there is no such time any more")
    if (why := start_objection(at_s, now_utc_s)) is not None:
        raise ValueError(why)
    return at_s, clock_change_words(rule, at_s, zone)


def clock_change_words(rule: CalendarTime, at_utc_s: float, zone: ZoneInfo) -> str | None:
    """What a change of clocks does to this instant of a rule; None if nothing."""
    there = datetime.fromtimestamp(at_utc_s, zone)
    wanted = f"{rule.hour:02d}:{rule.minute:02d}"
    if (there.hour, there.minute) != (rule.hour, rule.minute):
        return (
            f"{there:%Y-%m-%d} has no {wanted}, because clocks go forward: taken at {there:%H:%M}"
        )
    if there.replace(fold=1).utcoffset() != there.replace(fold=0).utcoffset():
        return (
            f"{there:%Y-%m-%d} has {wanted} twice, because clocks go back: "
            f"the first of them counts ({_offset(there)})"
        )
    return None


def clock_changes(start_utc_s: float, end_utc_s: float, zone: ZoneInfo) -> list[tuple[float, str]]:
    """When clocks are changed in a span, and what happens then, in words."""
    found = []
    at = datetime.fromtimestamp(start_utc_s, UTC)
    end = datetime.fromtimestamp(end_utc_s, UTC)
    while at < end:
        later = min(at + timedelta(days=1), end)
        before, after = at.astimezone(zone).utcoffset(), later.astimezone(zone).utcoffset()
        if before is not None and after is not None and before != after:
            change_s = _change_s(at.timestamp(), later.timestamp(), zone)
            way = "forward" if after > before else "back"
            by_min = round(abs(after - before).total_seconds() / 60)
            day = datetime.fromtimestamp(change_s, zone)
            found.append((change_s, f"clocks go {way} by {by_min} min on {day:%a %Y-%m-%d}"))
        at = later
    return found


def _change_s(early_s: float, late_s: float, zone: ZoneInfo) -> float:
    offset = datetime.fromtimestamp(early_s, zone).utcoffset()
    while late_s - early_s > 1.0:
        middle_s = (early_s + late_s) / 2.0
        if datetime.fromtimestamp(middle_s, zone).utcoffset() == offset:
            early_s = middle_s
        else:
            late_s = middle_s
    return float(round(late_s / 60.0) * 60)


def _offset(there: datetime) -> str:
    return there.strftime("UTC%z")[:6] + ":" + there.strftime("%z")[3:5]
