"""Tables refuse what does not belong in them, and older journals become ones of today."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from journal_bench import WALL_S, at, rows

from fermd.control.events import AlarmChanged, AlarmPhase, GapSeen, OutputChanged, Severity
from fermd.control.reasons import Reason, Rule
from fermd.control.settings import Duty
from fermd.journal.reader import JournalReader, StartsInHour
from fermd.journal.schema import ALL_TABLES, KNOWN_VERSION
from fermd.journal.views import VIEWS

OLDER = Path(__file__).parent / "fixtures" / "journal_version_1.sql"
"""A journal of schema version 1 with an unclean run, as `sqlite3 FILE .dump` writes it."""


def test_every_table_is_strict(begin, path):
    begin().close(at(1), cleanly=True)
    strict = dict(rows(path, "SELECT name, strict FROM pragma_table_list WHERE type = 'table'"))
    assert {name for name in strict if strict[name]} >= set(ALL_TABLES)


@pytest.mark.parametrize(
    ("sql", "why"),
    [
        ("UPDATE gaps SET lasted_s = 'long'", "cannot store TEXT value in REAL column"),
        ("UPDATE gaps SET wall_trusted = 7", "CHECK constraint failed"),
        ("UPDATE gaps SET mono_s = NULL", "NOT NULL constraint failed"),
        ("UPDATE output_changes SET is_on = 2", "CHECK constraint failed"),
        ("UPDATE output_changes SET certainty = 'guessed'", "CHECK constraint failed"),
        ("INSERT INTO readings_a VALUES (999, 1, 0, 0, 1, 1, NULL, NULL)", "CHECK constraint"),
        ("INSERT INTO readings_a VALUES (999, 1, 0, 0, 1, 1, 'warm', NULL)", "cannot store TEXT"),
    ],
)
def test_what_does_not_belong_in_a_table_is_refused(begin, path, sql, why):
    journal = begin()
    journal.events(at(1), "lager", [GapSeen(1.0)])
    journal.events(at(1), "lager", [OutputChanged(Duty.COOL, "fridge", "GPIO17", True, ())])
    journal.close(at(2), cleanly=True)
    with (
        closing(sqlite3.connect(path)) as connection,
        pytest.raises(sqlite3.IntegrityError, match=why),
    ):
        connection.execute(sql)


def test_an_empty_database_of_version_0_becomes_a_journal(begin, path):
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("PRAGMA journal_mode = WAL")
    assert path.stat().st_size > 0
    journal = begin()
    assert journal.trouble() is None
    assert rows(path, "PRAGMA user_version") == [(KNOWN_VERSION,)]


def test_a_journal_of_an_older_version_is_brought_up_to_date_with_all_its_rows(begin, path):
    with closing(sqlite3.connect(path)) as connection:
        connection.executescript(OLDER.read_text(encoding="utf-8"))
    there = {name for (name,) in rows(path, "SELECT name FROM sqlite_schema WHERE type='table'")}
    older = {
        table: rows(path, f"SELECT count(*) FROM {table}")[0][0]  # noqa: S608 - constants
        for table in ALL_TABLES
        if table in there
    }
    journal = begin(boot_id="new-boot", moment=at(2.0))
    assert journal.trouble() is None
    outage = journal.outage()
    assert outage.previous_boot_id == "old-boot"
    assert [line.line for line in outage.lines] == ["GPIO17"]
    assert outage.lines[0].stopped_mono_s == 130.0
    assert [each.state_json for each in outage.chambers] == ['{"index":1}']
    journal.close(at(3.0), cleanly=True)
    assert rows(path, "PRAGMA user_version") == [(KNOWN_VERSION,)]
    assert {name for (name,) in rows(path, "SELECT name FROM sqlite_schema WHERE type='view'")} == (
        set(VIEWS)
    )
    for table, count in older.items():
        assert rows(path, f"SELECT count(*) FROM {table}")[0][0] >= count, table  # noqa: S608 - constants
    assert rows(path, "SELECT temp_c FROM temperatures") == [(12.5,), (12.5625,)]
    assert "output" in {kind for (kind,) in rows(path, "SELECT kind FROM what_happened")}


def test_every_view_answers(begin, path):
    journal = begin()
    journal.events(at(1), "lager", [OutputChanged(Duty.COOL, "fridge", "GPIO17", True, ())])
    journal.close(at(2), cleanly=True)
    for view in VIEWS:
        rows(path, f"SELECT * FROM {view}")  # noqa: S608 - constants


def fridge(on: bool) -> OutputChanged:
    rule = Rule.ABOVE_BAND if on else Rule.WITHIN_BAND
    return OutputChanged(Duty.COOL, "fridge", "GPIO17", on, (Reason(rule, 12.4, 12.3),))


def test_the_compressors_runs_and_starts_by_hour_can_be_read_off(begin, path):
    journal = begin()
    hour = WALL_S // 3600 * 3600 - WALL_S + 3600
    for start, stop in ((hour + 10, hour + 610), (hour + 1800, hour + 2400), (hour + 3700, None)):
        journal.events(at(start), "lager", [fridge(True)])
        if stop is not None:
            journal.events(at(stop), "lager", [fridge(False)])
    assert journal.flush()
    reader = JournalReader(path)
    runs = reader.output_runs(WALL_S, WALL_S + 1e5, chamber="lager")
    assert [run.lasted_s for run in runs] == [600.0, 600.0, None]
    assert [(run.start_rule, run.end_rule) for run in runs[:2]] == [
        ("above-band", "within-band")
    ] * 2
    starts = reader.starts_by_hour(0, 1e12)
    assert [each.starts for each in starts] == [2, 1]
    assert isinstance(starts[0], StartsInHour)
    assert rows(path, "SELECT starts FROM starts_by_hour") == [(2,), (1,)]
    assert reader.output_runs(WALL_S, WALL_S + 1e5, chamber="ale") == []


def test_a_run_whose_end_was_lost_has_no_length(begin, path):
    journal = begin()
    journal.events(at(1), "lager", [fridge(True)])
    journal.events(at(5000), "lager", [fridge(True)])
    journal.events(at(5600), "lager", [fridge(False)])
    assert journal.flush()
    runs = JournalReader(path).output_runs(0, 1e12)
    assert [run.lasted_s for run in runs] == [None, 600.0]


def test_only_alarms_that_are_not_cleared_stand(begin, path):
    journal = begin()
    for second, (kind, phase) in enumerate(
        [
            ("no-effect", AlarmPhase.RAISED),
            ("longest-run", AlarmPhase.RAISED),
            ("no-effect", AlarmPhase.ACKNOWLEDGED),
            ("longest-run", AlarmPhase.CLEARED),
        ]
    ):
        alarm = AlarmChanged(kind, "fridge", phase, Severity.WARNING)
        journal.events(at(second), "lager", [alarm])
    assert journal.flush()
    standing = rows(path, "SELECT alarm, phase FROM alarms_standing")
    assert standing == [("no-effect", "acknowledged")]


def test_how_each_run_of_the_daemon_ended_can_be_read_off(begin, path):
    begin(boot_id="a").close(at(60), cleanly=True)
    begin(boot_id="a", moment=at(70)).close(at(75), cleanly=False)
    killed = begin(boot_id="a", moment=at(80))
    assert killed.flush()
    begin(boot_id="b", moment=at(5))
    found = rows(path, "SELECT ran_s, how_it_ended FROM daemon_uptimes")
    assert found == [
        (60.0, "stopped cleanly"),
        (5.0, "stopped after a fault"),
        (None, "ended without a word"),
        (None, "running, or ended without a word"),
    ]


def test_figures_tell_sizes_rows_and_bytes_written(begin, path):
    journal = begin()
    journal.events(at(1), "lager", [GapSeen(1.0)])
    assert journal.flush()
    figures = journal.figures()
    assert figures.rows_by_table["gaps"] == 1
    assert figures.file_bytes == path.stat().st_size
    assert figures.wal_bytes == Path(f"{path}-wal").stat().st_size
    assert figures.waiting_rows == 0
    assert set(figures.rows_by_table) == set(ALL_TABLES)
    assert JournalReader(path).figures().rows_by_table == figures.rows_by_table
