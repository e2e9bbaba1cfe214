"""Backups by the calendar: made, thinned out, and told of when the stick is missing."""

from __future__ import annotations

import logging
import os
import resource
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from datetime import datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from loop_rig import Rig

from fermd.config.keeping import KeepingSettings
from fermd.control.alarms import AlarmKind
from fermd.control.events import AlarmChanged
from fermd.control.moment import Moment
from fermd.journal.rotation import backups_in
from fermd.journal.writer import SqliteJournal
from fermd.service.calendar import Calendar
from fermd.service.daemon import wiring
from fermd.service.loop import ControlLoop
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


@pytest.fixture
def stick(tmp_path: Path) -> Path:
    folder = tmp_path / "stick" / "fermd"
    folder.mkdir(parents=True)
    return folder


def hours(calendar: Calendar, first: int, last: int) -> None:
    for hour in range(first, last):
        calendar.run_due(at(START + timedelta(hours=hour)))


def test_a_backup_is_made_every_night_and_old_ones_go(journal: SqliteJournal, stick: Path) -> None:
    upkeep = Upkeep(journal, BERLIN, KeepingSettings(backup_folder=stick), rest_s=0.0)
    calendar = Calendar(upkeep.jobs(), since=at(START))
    # What a kill in the middle of a backup leaves behind.
    (stick / "journal-20260103T025000Z.db.part").write_bytes(b"half of it")
    for day in range(30):
        journal.note(at(START + timedelta(days=day)), "lager", "Ann", f"day {day}")
        assert journal.flush()
        hours(calendar, 24 * day, 24 * (day + 1))
    found = backups_in(stick)
    # Seven days, and the Sundays of the two weeks before them; January's last is among the days.
    assert len(found) == 7 + 2
    with closing(sqlite3.connect(found[-1])) as copy:
        assert copy.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        assert copy.execute("SELECT count(*) FROM notes").fetchone() == (30,)
    assert upkeep.wrong() == ()
    # Nothing else is left on the stick.
    assert sorted(stick.iterdir()) == found


def test_a_missing_stick_is_told_once_and_over_when_it_is_back(
    journal: SqliteJournal, stick: Path, caplog: pytest.LogCaptureFixture
) -> None:
    upkeep = Upkeep(journal, BERLIN, KeepingSettings(backup_folder=stick), rest_s=0.0)
    calendar = Calendar(upkeep.jobs(), since=at(START))
    hours(calendar, 0, 24)
    # One at once, because there was none, and that of the night.
    assert len(backups_in(stick)) == 2
    away = stick.rename(stick.with_name("away"))
    with caplog.at_level(logging.INFO, logger="fermd.service.backups"):
        hours(calendar, 24, 24 * 3)
        assert upkeep.wrong() == [AlarmKind.BACKUP_FAILED]
        told = [one.getMessage() for one in caplog.records if one.levelno == logging.WARNING]
        assert len(told) == 1
        assert str(stick) in told[0]
        assert "plug the stick in" in told[0]
        assert not stick.exists()
        away.rename(stick)
        # Within the hour, and not only in the next night.
        hours(calendar, 24 * 3, 24 * 3 + 2)
    assert upkeep.wrong() == ()
    assert "backups can be made again" in caplog.text
    assert len(backups_in(stick)) == 3


def test_after_a_restart_a_missing_stick_is_told_within_the_hour(
    journal: SqliteJournal, tmp_path: Path
) -> None:
    keeping = KeepingSettings(backup_folder=tmp_path / "nowhere")
    upkeep = Upkeep(journal, BERLIN, keeping, rest_s=0.0)
    hours(Calendar(upkeep.jobs(), since=at(START)), 0, 2)
    assert upkeep.wrong() == [AlarmKind.BACKUP_FAILED]


def test_a_night_that_was_slept_through_is_made_up_for(journal: SqliteJournal, stick: Path) -> None:
    upkeep = Upkeep(journal, BERLIN, KeepingSettings(backup_folder=stick), rest_s=0.0)
    calendar = Calendar(upkeep.jobs())
    hours(calendar, 0, 3)
    assert len(backups_in(stick)) == 1


@pytest.mark.skipif(os.geteuid() == 0, reason="root may write anywhere")
def test_a_stick_that_may_not_be_written_to_is_told(journal: SqliteJournal, stick: Path) -> None:
    stick.chmod(0o500)
    upkeep = Upkeep(journal, BERLIN, KeepingSettings(backup_folder=stick), rest_s=0.0)
    hours(Calendar(upkeep.jobs(), since=at(START)), 0, 24)
    assert upkeep.wrong() == [AlarmKind.BACKUP_FAILED]
    stick.chmod(0o700)


def test_a_stick_that_is_full_keeps_the_backup_before(
    journal: SqliteJournal, stick: Path, tmp_path: Path
) -> None:
    upkeep = Upkeep(journal, BERLIN, KeepingSettings(backup_folder=stick), rest_s=0.0)
    calendar = Calendar(upkeep.jobs(), since=at(START))
    hours(calendar, 0, 24)
    before = {path: path.read_bytes() for path in backups_in(stick)}
    # As on a full disk, the copy cannot grow to its end (setrlimit(2): EFBIG).
    limits = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (20_000, limits[1]))
    try:
        hours(calendar, 24, 24 + 17)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, limits)
    assert upkeep.wrong() == [AlarmKind.BACKUP_FAILED]
    assert {path: path.read_bytes() for path in backups_in(stick)} == before


def test_a_damaged_journal_is_found_by_the_weekly_check_and_told_until_it_is_mended(
    journal: SqliteJournal, caplog: pytest.LogCaptureFixture
) -> None:
    for second in range(2000):
        journal.note(at(START + timedelta(seconds=second)), "lager", "Ann", "x" * 50)
    assert journal.flush()
    upkeep = Upkeep(journal, BERLIN, rest_s=0.0)
    calendar = Calendar(upkeep.jobs(), since=at(START))
    hours(calendar, 0, 24 * 7)
    assert upkeep.wrong() == ()
    with closing(sqlite3.connect(journal.path)) as connection:
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        (page,) = connection.execute(
            "SELECT rootpage FROM sqlite_schema WHERE name = 'notes'"
        ).fetchone()
    sound = journal.path.read_bytes()
    with journal.path.open("r+b") as raw:
        raw.seek((page - 1) * 1024 + 8)
        raw.write(b"\xa5\xa5\xa5\xa5")
    hours(calendar, 24 * 7, 24 * 14)
    assert upkeep.wrong() == [AlarmKind.JOURNAL_DAMAGED]
    assert "fermd repair" in caplog.text
    assert "notes" in caplog.text
    journal.path.write_bytes(sound)
    hours(calendar, 24 * 14, 24 * 21)
    assert upkeep.wrong() == ()


def test_a_missing_stick_is_an_alarm_of_the_board_and_clears_when_it_is_back(
    tmp_path: Path,
) -> None:
    rig = Rig(tmp_path)
    stick = tmp_path / "stick"
    upkeep = Upkeep(rig.journal, BERLIN, KeepingSettings(backup_folder=stick), rest_s=0.0)
    rig.loop = ControlLoop(
        rig.site.settings,
        wiring(rig.site),
        rig.clock,
        rig.board.probes,
        rig.board.relays,
        rig.journal,
        upkeep=upkeep.wrong,
    )
    rig.tick()
    assert "backup-failed" not in rig.alarms()
    upkeep.backups.make(rig.clock.now())
    rig.tick()
    assert rig.alarms()["backup-failed"] == "raised"
    stick.mkdir()
    upkeep.backups.catch_up(rig.clock.now())
    rig.tick()
    assert "backup-failed" not in rig.alarms()
    phases = [one.phase.value for one in rig.told(AlarmChanged) if one.alarm == "backup-failed"]
    assert phases == ["raised", "cleared"]
    rig.end()
