"""A cellar by its schedule for a year: warmer by day, another winter, and both changes of clocks.

The judge is a clock on the wall: it shows a date, an hour and a minute, and says from these alone
what the cellar should have. It has no calendar rules and no instants.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from batch_rig import DAY_S, HOUR_S, simulated_site

from fermd.config.zone_calendar import ZoneCalendar
from fermd.control import chamber, memory
from fermd.control.calendar import WallTime, parse_calendar_time
from fermd.control.chamber import Inputs
from fermd.control.commands import StartProfile
from fermd.control.events import CommandAnswered, TargetChanged
from fermd.control.moment import Moment
from fermd.control.progress import Progress, advance, begin, target
from fermd.control.settings import ChamberSettings
from fermd.control.state import ChamberState, first_state
from fermd.control.steps import Change, Profile, Schedule

LOOK_EVERY_S = 300.0
YEAR_EVERY_S = 900.0

CELLAR = Schedule(
    tuple(
        Change(parse_calendar_time(at), target_c)
        for at, target_c in (
            ("apr-sep 07:00", 13.0),
            ("apr-sep 21:30", 12.0),
            ("oct-mar 07:00", 11.0),
            ("oct-mar 21:30", 10.0),
        )
    )
)


def on_the_wall_c(local: datetime) -> float:
    """What the cellar should have when clocks show this."""
    by_day = (7, 0) <= (local.hour, local.minute) < (21, 30)
    # Before seven it is still the night that began the day before.
    began = local if (local.hour, local.minute) >= (7, 0) else local - timedelta(days=1)
    summer = 4 <= began.month <= 9
    return (12.0 if summer else 10.0) + (1.0 if by_day else 0.0)


def a_year(zone: ZoneInfo) -> Iterator[float]:
    """Every quarter of an hour of 2026 by that zone's clocks, and of the New Year after it."""
    at_s = datetime(2026, 1, 1, tzinfo=zone).timestamp()
    while at_s < datetime(2027, 1, 3, tzinfo=zone).timestamp():
        yield at_s
        at_s += YEAR_EVERY_S


def kept(progress: Progress, settings: ChamberSettings) -> Progress:
    """The same after a restart."""
    running = first_state(settings, 0.0)
    running = replace(running, mode=chamber.Mode.PROFILE, progress=progress)
    plain = json.loads(json.dumps(memory.to_plain(running)))
    again = memory.from_plain(first_state(settings, 0.0), plain, 0.0).progress
    assert again is not None
    return again


@pytest.mark.parametrize("name", ["Europe/Berlin", "America/New_York", "Australia/Lord_Howe"])
def test_all_year_a_cellar_has_what_the_clock_on_the_wall_asks_for(name: str) -> None:
    zone = ZoneInfo(name)
    calendar, settings = ZoneCalendar(zone), simulated_site().settings.chambers[0]
    progress, _ = begin(Profile("cellar", (CELLAR,)), 12.0)
    changes, before_c = 0, None
    for number, at_s in enumerate(a_year(zone)):
        progress, happened = advance(progress, 12.0, YEAR_EVERY_S, WallTime(at_s, calendar))
        assert happened == ()
        here_c = target(progress).cool_c
        local = datetime.fromtimestamp(at_s, zone).replace(tzinfo=None)
        assert here_c == on_the_wall_c(local), local
        changes += before_c is not None and here_c != before_c
        before_c = here_c
        if number % 331 == 0:
            progress = kept(progress, settings)
    # Two a day, but on the two mornings on which a season began: from 12 (or 10) to 11 (or 13)
    # all the same.
    assert changes == 2 * 367


@pytest.mark.parametrize(
    ("zone_name", "day", "inside"),
    [
        ("Europe/Berlin", "2026-03-29", "02:30"),
        ("Europe/Berlin", "2026-10-25", "02:30"),
        ("America/New_York", "2026-03-08", "02:30"),
        ("America/New_York", "2026-11-01", "01:30"),
        ("Australia/Lord_Howe", "2026-10-04", "02:15"),
        ("Australia/Lord_Howe", "2026-04-05", "01:45"),
    ],
)
def test_a_change_in_the_hour_that_is_missing_or_comes_twice_is_made_once_that_day(
    zone_name: str, day: str, inside: str
) -> None:
    zone = ZoneInfo(zone_name)
    night = Schedule(
        (
            Change(parse_calendar_time("12:00"), 13.0),
            Change(parse_calendar_time(inside), 10.0),
        )
    )
    noon_s = datetime.fromisoformat(f"{day} 12:00").replace(tzinfo=zone).timestamp()
    progress, _ = begin(Profile("cellar", (night,)), 12.0)
    seen: list[float] = []
    at_s = noon_s - DAY_S
    while at_s < noon_s:
        progress, _ = advance(progress, 12.0, 60.0, WallTime(at_s, ZoneCalendar(zone)))
        seen.append(target(progress).cool_c)
        at_s += 60.0
    turns = [n for n in range(1, len(seen)) if seen[n] != seen[n - 1]]
    # At noon the day before it may still be the night's: the day is 23, 24 or 25 hours long.
    into_night = [n for n in turns if seen[n] == 10.0]
    assert len(into_night) == 1
    turned = datetime.fromtimestamp(noon_s - DAY_S + 60.0 * into_night[0], zone)
    assert turned.replace(tzinfo=None) >= datetime.fromisoformat(f"{day} {inside}")
    before = datetime.fromtimestamp(turned.timestamp() - 60.0, zone)
    assert before.replace(tzinfo=None) < datetime.fromisoformat(f"{day} {inside}")


class Cellar:
    """A chamber under the schedule, started at a time of the wall clock."""

    def __init__(self, wall_utc_s: float, *, clock_set: bool = True) -> None:
        zone = ZoneInfo("Europe/Berlin")
        site = simulated_site()
        self.settings = replace(site.settings.chambers[0], calendar=ZoneCalendar(zone))
        self.state: ChamberState = first_state(self.settings, 0.0)
        self.mono_s, self.wall_utc_s, self.clock_set = 0.0, wall_utc_s, clock_set
        self.told: list[TargetChanged] = []
        self._tick(StartProfile(Profile("cellar", (CELLAR,)), "brewer"))

    def _tick(self, *commands: StartProfile) -> None:
        now = Moment(self.mono_s, self.wall_utc_s, wall_trusted=self.clock_set)
        inputs = Inputs(commands=commands)
        self.state, decision = chamber.step(self.state, self.settings, inputs, now)
        for event in decision.events:
            assert not isinstance(event, CommandAnswered) or event.taken
            if isinstance(event, TargetChanged):
                self.told.append(event)

    def lives(self, span_s: float) -> None:
        for _ in range(round(span_s / LOOK_EVERY_S)):
            self.mono_s += LOOK_EVERY_S
            self.wall_utc_s += LOOK_EVERY_S
            self._tick()

    def restarts(self) -> None:
        plain = json.loads(json.dumps(memory.to_plain(self.state)))
        self.mono_s = 0.0
        self.state = memory.from_plain(first_state(self.settings, 0.0), plain, 0.0)
        self._tick()

    @property
    def target_c(self) -> float | None:
        at = chamber.profile_run.target(self.state)
        return None if at is None else at.cool_c


def utc_s(text: str) -> float:
    return datetime.fromisoformat(text).replace(tzinfo=UTC).timestamp()


def test_a_cellar_keeps_its_first_target_until_the_clock_is_set() -> None:
    cellar = Cellar(utc_s("1970-01-01 00:05"), clock_set=False)
    cellar.lives(2 * DAY_S)
    assert cellar.target_c == 13.0
    cellar.restarts()
    assert cellar.target_c == 13.0
    cellar.wall_utc_s, cellar.clock_set = utc_s("2026-01-10 12:00"), True
    cellar.lives(LOOK_EVERY_S)
    assert cellar.target_c == 11.0


def test_a_cellar_keeps_its_last_target_over_a_power_cut_until_the_clock_is_set_again() -> None:
    cellar = Cellar(utc_s("2026-07-10 18:00"))
    assert cellar.target_c == 13.0
    cellar.lives(2 * HOUR_S)
    assert cellar.target_c == 12.0
    cellar.clock_set = False
    cellar.restarts()
    # Through the next day, by a clock that nobody vouches for.
    cellar.lives(20 * HOUR_S)
    assert cellar.target_c == 12.0
    cellar.clock_set = True
    cellar.lives(LOOK_EVERY_S)
    assert cellar.target_c == 13.0


def test_every_change_of_a_cellar_is_told_once_with_its_target() -> None:
    cellar = Cellar(utc_s("2026-03-27 12:00"))
    cellar.lives(8 * DAY_S)
    warmth = [told.cool_c for told in cellar.told]
    # Over the change of clocks (29 March) and into the summer (1 April, at seven).
    assert warmth == [11.0, *([10.0, 11.0] * 4), 10.0, *([13.0, 12.0] * 3), 13.0]
