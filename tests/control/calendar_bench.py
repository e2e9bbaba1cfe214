"""The bench with a calendar: a plain one in UTC, a profile under it, a chamber under it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta

from chamber_bench import Bench, unprotected

from fermd.control.calendar import CalendarTime, WallTime
from fermd.control.events import CommandAnswered, StepChange, StepChanged
from fermd.control.progress import advance, begin, target
from fermd.control.steps import Profile, Step


@dataclass(frozen=True)
class PlainCalendar:
    """A calendar in UTC, worked out by walking through the days."""

    def _instants(self, rule: CalendarTime, first: date, days: int) -> list[float]:
        found = []
        for number in range(days):
            day = first + timedelta(days=number)
            fits = (
                (rule.weekday is None or day.weekday() == rule.weekday)
                and (not rule.months or day.month in rule.months)
                and (rule.date is None or (day.year, day.month, day.day) == rule.date)
            )
            if fits:
                at = datetime(day.year, day.month, day.day, rule.hour, rule.minute, tzinfo=UTC)
                found.append(at.timestamp())
        return found

    def next_utc_s(self, rule: CalendarTime, after_utc_s: float) -> float | None:
        today = datetime.fromtimestamp(after_utc_s, UTC).date()
        later = [s for s in self._instants(rule, today, 400) if s > after_utc_s]
        return later[0] if later else None

    def last_utc_s(self, rule: CalendarTime, at_utc_s: float) -> float | None:
        first = datetime.fromtimestamp(at_utc_s, UTC).date() - timedelta(days=400)
        earlier = [s for s in self._instants(rule, first, 402) if s <= at_utc_s]
        return earlier[-1] if earlier else None


CALENDAR = PlainCalendar()


def utc_s(text: str) -> float:
    return datetime.fromisoformat(text).replace(tzinfo=UTC).timestamp()


WEDNESDAY = utc_s("2026-07-01 12:00")


class Batch:
    """A profile on the bench, with a wall clock."""

    def __init__(self, *steps: Step, wall_utc_s: float = WEDNESDAY) -> None:
        self.progress, _ = begin(Profile("batch", steps), 18.0)
        self.wall_utc_s = wall_utc_s
        self.clock_set = True
        self.told: list[StepChanged] = []

    def lives(self, for_s: float, *, counted_s: float | None = None) -> list[StepChange]:
        """Time passes; `counted_s` of it under control."""
        self.wall_utc_s += for_s
        wall = WallTime(self.wall_utc_s, CALENDAR) if self.clock_set else None
        passed_s = for_s if counted_s is None else counted_s
        self.progress, events = advance(self.progress, 18.0, passed_s, wall)
        stepped = [event for event in events if isinstance(event, StepChanged)]
        self.told.extend(stepped)
        return [event.change for event in stepped]

    @property
    def target_c(self) -> float:
        return target(self.progress).cool_c


class Chamber(Bench):
    """A bench with a calendar and a clock that is set."""

    def __init__(self, *, calendar: PlainCalendar | None = CALENDAR, **given: object) -> None:
        super().__init__(unprotected(calendar=calendar, **given))
        self.wall_utc_s = WEDNESDAY
        self.run(60.0)


def answers(bench: Bench) -> list[CommandAnswered]:
    return bench.happened(CommandAnswered)
