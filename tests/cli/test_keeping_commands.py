"""`fermd extract`, `backup`, `restore`: on a real daemon's journal, and with all that is wrong."""

from __future__ import annotations

import csv
import io
import json
import os
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from cli_rig import RealDaemon, process, run

from fermd.control.moment import Moment
from fermd.journal.ports import ChamberRecord
from fermd.journal.reader import JournalReader
from fermd.journal.rotation import backups_in
from fermd.journal.writer import SqliteJournal

SITE = """\
time_zone = "Europe/Vienna"
pin_factory = "lgpio"
chip = "pinctrl-bcm2711"
journal_path = "state/journal.db"
socket_path = "run/fermd.sock"

[probe.vessel]
id = "28-000006b67845"

[chamber.lager]
vessel_probe = "vessel"
"""


@pytest.fixture
def site(tmp_path: Path) -> Path:
    for folder in ("state", "run", "stick"):
        (tmp_path / folder).mkdir()
    file = tmp_path / "fermd.toml"
    file.write_text(SITE + '\n[keeping]\nbackup_folder = "stick"\nbackups_daily = 1\n')
    return file


def record(path: Path, note: str, state: str = "{}", boot_id: str = "b") -> None:
    start = Moment(10.0, 1_790_000_000.0, wall_trusted=True)
    journal = SqliteJournal(path, boot_id=boot_id, moment=start, version="1")
    journal.note(start, "lager", "Ann", note)
    journal.remember(start, [], [ChamberRecord("lager", state)])
    journal.close(start, cleanly=True)


def notes(path: Path) -> list[str]:
    with closing(sqlite3.connect(path)) as connection:
        return [note for (note,) in connection.execute("SELECT note FROM notes ORDER BY seq")]


def test_notes_of_a_running_daemon_come_out_as_csv(two: RealDaemon) -> None:
    assert process("note", "tastes, well, green", "-c", "lager", env=two.environment).code == 0
    site = ["--site", str(two.site_path)]
    ended = process("extract", "notes", *site)
    assert ended.code == 0
    (row,) = csv.DictReader(io.StringIO(ended.out, newline=""))
    assert row["note"] == "tastes, well, green"
    assert row["local_time"].endswith(("+01:00", "+02:00"))


def test_an_extract_goes_into_a_file_and_replaces_none_unasked(site: Path) -> None:
    record(site.parent / "state" / "journal.db", "first")
    out = site.parent / "notes.csv"
    line = ["extract", "notes", "--site", str(site), "--out", str(out)]
    assert run(*line).code == 0
    assert out.read_bytes().count(b"\r\n") == 2
    again = run(*line)
    assert again.code == os.EX_CANTCREAT
    assert "--overwrite" in again.err
    assert run(*line, "--overwrite").code == 0
    assert run(*line[:-1], str(site.parent / "state" / "journal.db"), "--overwrite").code == 73
    assert notes(site.parent / "state" / "journal.db") == ["first"]


@pytest.mark.parametrize(
    ("line", "code", "names"),
    [
        ("extract", 64, ["WHAT", "--list"]),
        ("extract reedings", 64, ["'reedings'", "did you mean readings?"]),
        ("extract notes --from yesterday", 64, ["'yesterday'", "2026-07-04 18:00"]),
        ("extract notes --from 2026-07-05 --to 2026-07-04", 64, ["--to", "after --from"]),
        ("extract notes --format parquet", 64, ["--out"]),
        ("extract notes --journal none.db", 66, ["none.db", "does not exist"]),
        ("backup --journal none.db copy.db", 66, ["none.db", "no journal"]),
        ("restore none.db --journal j.db --yes", 66, ["none.db", "check the path"]),
        ("repair --journal none.db --yes", 66, ["none.db", "no journal"]),
    ],
)
def test_what_is_wrong_is_one_error_that_says_what_to_do(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, line: str, code: int, names: list[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    ended = run(*line.split())
    assert ended.code == code
    assert ended.out == ""
    for name in names:
        assert name in ended.err
    assert "Traceback" not in ended.err
    assert list(tmp_path.iterdir()) == []


def test_everything_there_is_to_extract_is_listed_with_units() -> None:
    shown = run("extract", "--list").out
    assert "what_happened (view, also called events)" in shown
    assert "temp_c [°C]: " in shown


def test_a_backup_by_hand_goes_where_it_is_told_or_as_the_site_file_says(site: Path) -> None:
    journal, stick = site.parent / "state" / "journal.db", site.parent / "stick"
    record(journal, "kept")
    copy = site.parent / "copy.db"
    told = run("backup", str(copy), "--site", str(site), "--json")
    assert json.loads(told.out) == {
        "copy": str(copy),
        "bytes": copy.stat().st_size,
        "deleted_old_ones": 0,
    }
    assert notes(copy) == ["kept"]
    old = stick / "journal-20200101T000000Z.db"
    old.touch()
    assert run("backup", "--site", str(site)).code == 0
    assert len(backups_in(stick)) == 2  # one a day, but one a week and a month, too
    assert run("backup", str(stick), "--site", str(site)).code == 0
    (site.parent / "gone").mkdir()
    stick.rename(site.parent / "gone" / "stick")
    ended = run("backup", "--site", str(site))
    assert ended.code == os.EX_CANTCREAT
    assert "plug the stick in" in ended.err


def test_a_restored_journal_has_what_the_backup_had_and_the_one_before_is_kept(
    site: Path,
) -> None:
    journal, copy = site.parent / "state" / "journal.db", site.parent / "copy.db"
    record(journal, "first", '{"target": "last month"}')
    assert run("backup", str(copy), "--site", str(site)).code == 0
    record(journal, "second", '{"target": "today"}', boot_id="c")
    ended = run("restore", str(copy), "--site", str(site), "--yes", "--json")
    assert ended.code == 0, ended.err
    told = json.loads(ended.out)
    assert notes(journal) == ["first"]
    assert notes(Path(told["kept_as"])) == ["first", "second"]
    # What is being brewed today goes on, whatever was brewed last month.
    assert told["going_on"] == ["lager"]
    start = Moment(10.0, 1_790_000_000.0, wall_trusted=True)
    opened = SqliteJournal(journal, boot_id="c", moment=start, version="1")
    outage = opened.outage()
    opened.close(start, cleanly=True)
    assert opened.trouble() is None
    assert [one.state_json for one in outage.chambers] == ['{"target": "today"}']
    # Nothing is known of the relays: the compressor waits.
    assert outage.lines == ()
    incidents = JournalReader(journal).rows_of("journal_incidents", 0, 1e12)
    assert [row.happening.incident for row in incidents] == ["restored"]  # type: ignore[union-attr]


def test_on_a_new_card_the_chambers_go_on_as_the_backup_had_them(site: Path) -> None:
    journal, copy = site.parent / "state" / "journal.db", site.parent / "copy.db"
    record(journal, "first", '{"target": "as backed up"}')
    assert run("backup", str(copy), "--site", str(site)).code == 0
    journal.unlink()
    assert run("restore", str(copy), "--site", str(site), "--yes").code == 0
    start = Moment(10.0, 1_790_000_000.0, wall_trusted=True)
    opened = SqliteJournal(journal, boot_id="d", moment=start, version="1")
    assert [one.state_json for one in opened.outage().chambers] == ['{"target": "as backed up"}']
    opened.close(start, cleanly=True)


def test_nothing_is_restored_while_a_daemon_runs(two: RealDaemon, tmp_path: Path) -> None:
    from fermd.service.ownership import LOCK_NAME, Ownership

    journal = two.site.journal_path
    copy = tmp_path / "copy.db"
    assert run("backup", str(copy), "--site", str(two.site_path)).code == 0
    with Ownership(journal.parent / LOCK_NAME):
        ended = process("restore", str(copy), "--site", str(two.site_path), "--yes")
    assert ended.code == os.EX_TEMPFAIL
    assert "systemctl stop fermd" in ended.err
    assert list(journal.parent.glob("*set-aside*")) == []


def test_a_damaged_backup_is_refused_before_anything_is_touched(site: Path) -> None:
    journal, copy = site.parent / "state" / "journal.db", site.parent / "copy.db"
    record(journal, "first")
    assert run("backup", str(copy), "--site", str(site)).code == 0
    with closing(sqlite3.connect(copy)) as connection:
        (page,) = connection.execute(
            "SELECT rootpage FROM sqlite_schema WHERE name = 'notes'"
        ).fetchone()
    with copy.open("r+b") as raw:
        raw.seek((page - 1) * 1024)
        raw.write(b"\xa5" * 1024)
    before = journal.read_bytes()
    ended = run("restore", str(copy), "--site", str(site), "--yes")
    assert ended.code == os.EX_DATAERR
    assert "notes" in ended.err
    assert journal.read_bytes() == before
    copy.write_bytes(b"no database at all, " * 100)
    ended = run("restore", str(copy), "--site", str(site), "--check")
    assert ended.code == os.EX_DATAERR
    assert "another backup" in ended.err


def test_a_restore_is_asked_about_first(site: Path) -> None:
    record(site.parent / "state" / "journal.db", "first")
    copy = site.parent / "copy.db"
    assert run("backup", str(copy), "--site", str(site)).code == 0
    ended = run("restore", str(copy), "--site", str(site))
    assert ended.code == os.EX_USAGE
    assert "--yes" in ended.err


def spoil(path: Path, table: str) -> None:
    with closing(sqlite3.connect(path)) as connection:
        (page,) = connection.execute(
            "SELECT rootpage FROM sqlite_schema WHERE name = ?", (table,)
        ).fetchone()
    with path.open("r+b") as raw:
        raw.seek((page - 1) * 1024)
        raw.write(b"\xa5" * 1024)


def test_what_the_daemon_set_aside_and_what_came_after_become_one_journal_again(
    site: Path,
) -> None:
    journal = site.parent / "state" / "journal.db"
    record(journal, "before the damage", boot_id="one")
    spoil(journal, "gaps")
    record(journal, "after it", '{"target": "today"}', boot_id="two")
    [aside] = [
        one
        for one in journal.parent.glob("*.set-aside-*")
        if not one.name.endswith(("-wal", "-shm"))
    ]
    checked = run("repair", "--check", "--site", str(site))
    assert checked.code == os.EX_DATAERR
    assert f"{journal}: sound" in checked.out
    assert f"{aside}: gaps: " in checked.out
    ended = run("repair", "--site", str(site), "--yes", "--json")
    assert ended.code == 0, ended.err
    told = json.loads(ended.out)
    assert [one["rows"]["notes"] for one in told["files"]] == [1, 1]
    assert notes(journal) == ["before the damage", "after it"]
    assert [Path(one).exists() for one in told["kept"]] == [True, True]
    # Nothing is carried over twice.
    again = run("repair", "--site", str(site), "--yes")
    assert again.code == 0
    assert again.out == f"{journal}: sound\n"
    assert notes(journal) == ["before the damage", "after it"]
    start = Moment(10.0, 1_790_000_000.0, wall_trusted=True)
    opened = SqliteJournal(journal, boot_id="three", moment=start, version="1")
    assert [one.state_json for one in opened.outage().chambers] == ['{"target": "today"}']
    assert opened.trouble() is None
    opened.close(start, cleanly=True)


def test_one_damaged_file_is_mended_into_a_new_one_and_left_as_it_was(site: Path) -> None:
    journal, new = site.parent / "state" / "journal.db", site.parent / "mended.db"
    record(journal, "kept")
    spoil(journal, "gaps")
    before = journal.read_bytes()
    ended = run("repair", "--journal", str(journal), "--to", str(new))
    assert ended.code == 0, ended.err
    assert "found wrong: gaps" in ended.out
    assert notes(new) == ["kept"]
    assert journal.read_bytes() == before
    again = run("repair", "--journal", str(journal), "--to", str(new))
    assert again.code == os.EX_DATAERR
    assert "is there already" in again.err


def test_a_journal_of_a_newer_fermd_is_not_mended_by_an_older_one(site: Path) -> None:
    journal = site.parent / "state" / "journal.db"
    record(journal, "kept")
    with closing(sqlite3.connect(journal)) as connection:
        connection.execute("PRAGMA user_version = 999")
    spoil(journal, "gaps")
    before = journal.read_bytes()
    ended = run("repair", "--site", str(site), "--yes")
    assert ended.code == os.EX_DATAERR
    assert "newer fermd" in ended.err
    assert journal.read_bytes() == before


def test_a_restored_journal_is_not_mixed_with_the_one_that_it_replaced(site: Path) -> None:
    journal, copy = site.parent / "state" / "journal.db", site.parent / "copy.db"
    record(journal, "first")
    assert run("backup", str(copy), "--site", str(site)).code == 0
    assert run("restore", str(copy), "--site", str(site), "--yes").code == 0
    assert run("repair", "--site", str(site), "--yes").out == f"{journal}: sound\n"
    assert notes(journal) == ["first"]
