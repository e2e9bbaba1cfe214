"""A journal of any earlier schema becomes one of today with every row that it had.

The fixtures were written by the code of their time (see fixtures/make_fixture.py).
"""

from __future__ import annotations

import re
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import pytest
from journal_bench import at, rows

from fermd.journal.described import RELATIONS
from fermd.journal.extract import Extract, extracted, relation_named
from fermd.journal.reader import JournalReader, JournalUnreadable
from fermd.journal.schema import ALL_TABLES, KNOWN_VERSION

FIXTURES = {
    int(re.findall(r"\d+", file.name)[0]): file
    for file in (Path(__file__).parent / "fixtures").glob("*.sql")
}


def load(version: int, path: Path) -> None:
    with closing(sqlite3.connect(path)) as connection:
        connection.executescript(FIXTURES[version].read_text(encoding="utf-8"))


def contents(path: Path) -> dict[str, list[dict[str, object]]]:
    with closing(sqlite3.connect(path)) as connection:
        connection.row_factory = sqlite3.Row
        there = {name for (name,) in connection.execute("SELECT name FROM sqlite_schema")}
        return {
            table: [dict(row) for row in connection.execute(f"SELECT * FROM {table}")]  # noqa: S608
            for table in ALL_TABLES
            if table in there
        }


def has_all(before: dict[str, list[dict[str, object]]], path: Path) -> None:
    after = contents(path)
    for table, kept in before.items():
        if kept:
            # A row may have new columns, never other values in those that it had.
            names = list(kept[0])
            left = {tuple(row[name] for name in names) for row in after[table]}
            missing = [row for row in kept if tuple(row.values()) not in left]
            assert missing == [], table


def test_there_is_a_fixture_of_every_version():
    assert sorted(FIXTURES) == list(range(1, KNOWN_VERSION + 1))


@pytest.mark.parametrize("version", FIXTURES)
def test_every_row_of_an_older_journal_is_there_after_the_upgrade(begin, path, version):
    load(version, path)
    before = contents(path)
    # What a restart goes on from is replaced by what the new run remembers; see the next test.
    del before["rollup_progress"]
    journal = begin(boot_id="new-boot", moment=at(2.0))
    assert journal.trouble() is None
    assert list(path.parent.glob("*set-aside*")) == []
    assert journal.flush()
    has_all(before, path)
    assert rows(path, "PRAGMA user_version") == [(KNOWN_VERSION,)]
    assert rows(path, "PRAGMA integrity_check") == [("ok",)]
    for name, relation in RELATIONS.items():
        rows(path, f"SELECT {', '.join(relation.names)} FROM {name}")  # noqa: S608 - names
    events = JournalReader(path).last_events(1000)
    assert len(events) >= sum(
        len(kept) for table, kept in before.items() if table.endswith(("changes", "notes"))
    )


@pytest.mark.parametrize("version", FIXTURES)
def test_an_upgraded_journal_is_taken_for_what_it_is_at_the_next_start(begin, path, version):
    load(version, path)
    begin(boot_id="new-boot", moment=at(2.0)).close(at(3.0), cleanly=True)
    again = begin(boot_id="new-boot", moment=at(4.0))
    assert again.trouble() is None
    assert again.outage().ended_cleanly
    assert list(path.parent.glob("*set-aside*")) == []


@pytest.mark.parametrize("version", FIXTURES)
def test_a_chamber_goes_on_after_an_upgrade(begin, path, version):
    load(version, path)
    [(state,)] = rows(path, "SELECT state_json FROM chamber_records")
    [line] = begin(boot_id="new-boot", moment=at(2.0)).outage().chambers
    assert (line.chamber, line.state_json) == ("lager", state)


KILLED_AT_EVERY_STATEMENT = """
import os, shutil, signal, sqlite3, sys
from fermd.journal.schema import KNOWN_VERSION, migrate

old, folder = sys.argv[1:]
statement = 0
while True:
    statement += 1
    copy = f"{folder}/{statement}.db"
    shutil.copyfile(old, copy)
    child = os.fork()
    if child == 0:
        connection = sqlite3.connect(copy, isolation_level=None)
        connection.execute("PRAGMA journal_mode = WAL")
        # Cut short, so that pages go to the disk before the commit, as in a large journal.
        connection.execute("PRAGMA cache_size = 10")
        seen = 0
        def count(_):
            global seen
            seen += 1
            if seen == statement:
                os.kill(os.getpid(), signal.SIGKILL)
        connection.set_trace_callback(count)
        migrate(connection)
        os._exit(0)
    _, status = os.waitpid(child, 0)
    if status == 0:
        break
print(statement - 1)
"""


@pytest.mark.parametrize("version", [1, 2, 3])
def test_an_upgrade_that_is_killed_at_any_statement_is_whole_or_not_begun(path, tmp_path, version):
    load(version, path)
    with closing(sqlite3.connect(path)) as connection:
        (schema,) = connection.execute(
            "SELECT group_concat(sql) FROM (SELECT sql FROM sqlite_schema ORDER BY name)"
        ).fetchone()
    before = contents(path)
    folder = tmp_path / "killed"
    folder.mkdir()
    points = int(
        subprocess.run(
            [sys.executable, "-c", KILLED_AT_EVERY_STATEMENT, path, folder],
            capture_output=True,
            text=True,
            check=True,
        ).stdout
    )
    assert points > 10
    versions = set()
    for statement in range(1, points + 1):
        copy = folder / f"{statement}.db"
        [(found,)] = rows(copy, "PRAGMA user_version")
        versions.add(found)
        assert found in (version, KNOWN_VERSION)
        has_all(before, copy)
        if found == version:
            order = "SELECT group_concat(sql) FROM (SELECT sql FROM sqlite_schema ORDER BY name)"
            assert rows(copy, order) == [(schema,)]
        assert rows(copy, "PRAGMA integrity_check") == [("ok",)]
    assert version in versions


def test_a_journal_of_a_newer_version_is_left_to_the_newer_fermd(record):
    with closing(sqlite3.connect(record)) as connection:
        connection.execute(f"PRAGMA user_version = {KNOWN_VERSION + 1}")
    before = record.read_bytes()
    wanted = f"version {KNOWN_VERSION + 1}.*newer fermd"
    with pytest.raises(JournalUnreadable, match=wanted):
        JournalReader(record).last_events(1)
    with (
        pytest.raises(JournalUnreadable, match=wanted),
        extracted(record, Extract(relation_named("events"))),
    ):
        pass
    assert record.read_bytes() == before
