"""Upkeep by the calendar, on a real journal."""

from __future__ import annotations

import logging
from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from fermd.control.moment import Moment
from fermd.journal.curves import Resolution
from fermd.journal.ports import ReadingRow
from fermd.journal.reader import JournalReader
from fermd.journal.settings import JournalSettings
from fermd.journal.writer import SqliteJournal
from fermd.service.calendar import Calendar
from fermd.service.upkeep import Upkeep

BERLIN = ZoneInfo("Europe/Berlin")
START = datetime(2026, 1, 4, 12, tzinfo=BERLIN)


def at(when: datetime) -> Moment:
    return Moment((when - START).total_seconds(), when.timestamp(), wall_trusted=True)


@pytest.fixture
def journal(tmp_path: Path) -> Iterator[SqliteJournal]:
    opened = SqliteJournal(tmp_path / "journal.db", boot_id="b", moment=at(START), version="test")
    yield opened
    opened.close(at(START), cleanly=True)


def test_old_readings_are_thinned_at_night_and_their_spike_stays(journal: SqliteJournal) -> None:
    for number in range(2000):
        when = at(START + timedelta(seconds=30 * number))
        temp_c = 30.0 if number == 700 else 12.0
        journal.readings([ReadingRow(when, "lager", "vessel", temp_c, None)])
    assert journal.flush()
    calendar = Calendar(Upkeep(journal, BERLIN, rest_s=0.0).jobs())
    # Age is time that the board has been on, and raw readings are kept up to twice their time.
    for day in range(0, 3 * round(JournalSettings().thinning.raw_days), 5):
        today = at(START + timedelta(days=day))
        journal.readings([ReadingRow(today, "lager", "vessel", 12.0, None)])
        calendar.run_due(today)
        assert journal.settle()
    found = JournalReader(journal.path).temperatures(
        START.timestamp(), (START + timedelta(days=1)).timestamp()
    )
    assert found.resolution is not Resolution.RAW
    assert max(point.maximum_c for point in found.points) == 30.0


def test_the_journals_size_is_told_every_week(
    journal: SqliteJournal, caplog: pytest.LogCaptureFixture
) -> None:
    calendar = Calendar(Upkeep(journal, BERLIN, rest_s=0.0).jobs())
    told = 0
    with caplog.at_level(logging.INFO, logger="fermd.service.upkeep"):
        for hour in range(24 * 21):
            calendar.run_due(at(START + timedelta(hours=hour)))
        told = sum("journal: Figures" in record.getMessage() for record in caplog.records)
    assert told == 3
