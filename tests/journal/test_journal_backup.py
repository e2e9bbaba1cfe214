"""A backup is the journal at one instant, whole or not there."""

from __future__ import annotations

import sqlite3
from contextlib import closing

import pytest
from journal_bench import at, rows

from fermd.control.events import GapSeen
from fermd.journal.backup import BackupFailed, back_up
from fermd.journal.ports import ReadingRow
from fermd.journal.reader import JournalReader


def contents(path):
    with closing(sqlite3.connect(path)) as connection:
        return list(connection.iterdump())


def test_a_backup_equals_its_source_while_the_daemon_has_it_open(begin, path, tmp_path):
    journal = begin()
    for second in range(50):
        journal.events(at(second), "lager", [GapSeen(float(second))])
        journal.readings([ReadingRow(at(second), "lager", "vessel", 12.0, None)])
    assert journal.flush()
    copy = tmp_path / "backup" / "journal.sqlite"
    copy.parent.mkdir()
    size = back_up(path, copy)
    assert size == copy.stat().st_size
    assert contents(copy) == contents(path)
    assert rows(copy, "PRAGMA integrity_check") == [("ok",)]
    assert list(copy.parent.iterdir()) == [copy]  # one file, no log beside it
    journal.events(at(99), "lager", [GapSeen(99.0)])
    assert journal.flush()
    assert len(JournalReader(copy).last_events(999)) == 51


def test_a_new_backup_replaces_the_one_before(begin, path, tmp_path):
    journal = begin()
    copy = tmp_path / "copy.sqlite"
    journal.note(at(1), "", "Ann", "first")
    assert journal.flush()
    back_up(path, copy)
    journal.note(at(2), "", "Ann", "second")
    assert journal.flush()
    back_up(path, copy)
    assert rows(copy, "SELECT note FROM notes ORDER BY seq") == [("first",), ("second",)]


def test_a_backup_that_fails_leaves_the_one_before_as_it_was(begin, path, tmp_path):
    begin().close(at(1), cleanly=True)
    copy = tmp_path / "copy.sqlite"
    back_up(path, copy)
    before = copy.read_bytes()
    with path.open("r+b") as raw:
        raw.write(b"\xa5" * path.stat().st_size)
    with pytest.raises(BackupFailed, match=r"copy\.sqlite: .*can be read"):
        back_up(path, copy)
    assert copy.read_bytes() == before
    assert not list(tmp_path.glob("*.part"))


def test_a_spoilt_journal_is_not_taken_for_a_good_copy(begin, path, tmp_path):
    journal = begin()
    for second in range(2000):
        journal.note(at(second), "lager", "Ann", "x" * 50)
    journal.close(at(3000), cleanly=True)
    [(page,)] = rows(path, "SELECT rootpage FROM sqlite_schema WHERE name = 'notes'")
    with path.open("r+b") as raw:
        raw.seek((page - 1) * 1024)
        raw.write(b"\xa5" * 1024)
    with pytest.raises(BackupFailed):
        back_up(path, tmp_path / "copy.sqlite")
    assert not (tmp_path / "copy.sqlite").exists()


def test_what_is_wrong_with_the_place_is_told(begin, path, tmp_path):
    begin().close(at(1), cleanly=True)
    with pytest.raises(BackupFailed, match="no journal to copy"):
        back_up(tmp_path / "none.sqlite", tmp_path / "copy.sqlite")
    with pytest.raises(BackupFailed, match="is the journal itself"):
        back_up(path, path)
    with pytest.raises(BackupFailed, match="folder"):
        back_up(path, tmp_path / "missing" / "copy.sqlite")


def test_a_restart_goes_on_from_a_backup_that_was_put_in_place(begin, path, tmp_path):
    journal = begin(boot_id="one")
    journal.note(at(1), "", "Ann", "kept")
    journal.close(at(2), cleanly=True)
    copy = tmp_path / "copy.sqlite"
    back_up(path, copy)
    copy.replace(path)
    again = begin(boot_id="two", moment=at(1))
    assert again.trouble() is None
    assert again.outage().previous_boot_id == "one"
