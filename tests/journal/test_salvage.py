"""What can be read of a damaged journal is carried over: what its bytes have is not lost."""

from __future__ import annotations

import random
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
import whole_record
from hypothesis import given, settings
from hypothesis import strategies as st
from journal_bench import at, rows

from fermd.control.events import GapSeen
from fermd.journal.checking import full_check
from fermd.journal.described import RELATIONS
from fermd.journal.pages import Image
from fermd.journal.reader import JournalReader
from fermd.journal.salvage import salvage
from fermd.journal.schema import EVENT_TABLES, READING_TABLES, ROLLUP_TABLES

PAGE = 1024
KEPT = ("boots", "probes", *EVENT_TABLES, *READING_TABLES, *ROLLUP_TABLES)


def contents(path: Path) -> dict[str, set[tuple[object, ...]]]:
    """The record of a sound journal; readings of either table count as one."""
    found: dict[str, set[tuple[object, ...]]] = {}
    for table in KEPT:
        name = "readings" if table in READING_TABLES else table
        columns = ", ".join(RELATIONS[table].names)
        found.setdefault(name, set()).update(rows(path, f"SELECT {columns} FROM {table}"))  # noqa: S608
    return found


def owners(path: Path) -> dict[int, str]:
    """The table or index of every page, as SQLite itself has it (dbstat)."""
    with closing(sqlite3.connect(path)) as connection:
        return dict(connection.execute("SELECT pageno, name FROM dbstat"))


def kinds(path: Path) -> dict[int, str]:
    with closing(sqlite3.connect(path)) as connection:
        return dict(connection.execute("SELECT pageno, pagetype FROM dbstat"))


def lost(before: dict[str, set[tuple[object, ...]]], path: Path) -> dict[str, int]:
    after = contents(path)
    return {
        table: len(kept - after[table])
        for table, kept in before.items()
        if kept - after[table] and table != "journal_incidents"
    }


@pytest.fixture(scope="module")
def large(tmp_path_factory):
    """A record whose tables are trees of several levels, with long texts on pages of their own."""
    path = tmp_path_factory.mktemp("large") / "journal.sqlite"
    whole_record.write(path)
    with closing(sqlite3.connect(path)) as connection:
        (seq,) = connection.execute("SELECT max(seq) FROM journal_incidents").fetchone()
        moments = [(seq + 100 + n, 1, 8000.0 + n, 1.79e9 + n, 1) for n in range(3000)]
        connection.executemany(
            "INSERT INTO output_changes VALUES (?, ?, ?, ?, ?, 'lager', 'cool', 'fridge', 'l', "
            "1, 'observed', 'above-band', 12.25, 12.0, NULL, NULL, '[]')",
            moments[:2000],
        )
        connection.executemany(
            "INSERT INTO notes VALUES (?, ?, ?, ?, ?, 'lager', 'Ann', ?, 'other', NULL, NULL, "
            "NULL)",
            [(*one, "a long note " * (1 + 40 * (one[0] % 9))) for one in moments[2000:]],
        )
        connection.commit()
    return path


def damaged(source: Path, folder: Path) -> Path:
    copy = folder / "damaged.sqlite"
    copy.write_bytes(source.read_bytes())
    return copy


def overwrite(path: Path, at_byte: int, what: bytes) -> None:
    with path.open("r+b") as raw:
        raw.seek(at_byte)
        raw.write(what)


def flip_in_schema(path: Path, behind: str, name: str) -> None:
    """One bit in a name that stands in the schema, at the end of or behind some text."""
    whole = path.read_bytes()
    at_byte = whole.index(name.encode(), whole.index(behind.encode()))
    overwrite(path, at_byte, bytes([whole[at_byte] ^ 2]))


def test_a_sound_journal_is_carried_over_to_the_last_row(large, tmp_path):
    target = tmp_path / "new.sqlite"
    [carried] = salvage([large], target)
    assert (carried.faults, carried.refused, carried.by_bytes) == ((), 0, 0)
    assert lost(contents(large), target) == {}
    assert rows(target, "PRAGMA integrity_check") == [("ok",)]
    assert [row.happening.incident for row in JournalReader(target).last_events(1)] == ["repaired"]


def test_every_cell_of_a_sound_file_is_read_from_its_bytes_as_sqlite_reads_it(large):
    image = Image(large)
    of_page = owners(large)
    found: dict[str, set[int]] = {}
    for number in range(1, image.count + 1):
        for cell in image.cells(image.page(number), number):
            if cell.rowid is not None:
                found.setdefault(of_page.get(number, ""), set()).add(cell.rowid)
    assert image.senseless == 0
    for table in (*EVENT_TABLES, *READING_TABLES):
        assert found.get(table, set()) == {
            seq
            for (seq,) in rows(large, f"SELECT seq FROM {table}")  # noqa: S608 - constants
        }
    notes = {
        cell.rowid: cell.values[7]
        for number, owner in of_page.items()
        if owner == "notes"
        for cell in image.cells(image.page(number), number)
    }
    assert notes == dict(rows(large, "SELECT seq, note FROM notes"))


@pytest.mark.parametrize("table", ["output_changes", "notes", "readings_a", "rollup_minute"])
def test_rows_behind_a_destroyed_page_of_pointers_are_all_there(large, tmp_path, table):
    """With its root gone SQLite sees nothing of a table; its leaves are as they were."""
    copy = damaged(large, tmp_path)
    [(root,)] = rows(copy, "SELECT rootpage FROM sqlite_schema WHERE name = ?", table)
    assert kinds(copy)[root] == "internal"
    before = contents(copy)
    overwrite(copy, (root - 1) * PAGE, b"\xa5" * PAGE)
    target = tmp_path / "new.sqlite"
    [carried] = salvage([copy], target)
    assert carried.faults
    # The inner pages of a table without rowid hold rows of their own: those of the root are gone.
    at_most = 60 if table in ROLLUP_TABLES else 0
    gone = lost(before, target)
    assert sum(gone.values()) <= at_most, gone
    assert set(gone) <= {table}
    assert carried.by_bytes > 100
    assert rows(target, "PRAGMA integrity_check") == [("ok",)]


def test_with_the_schema_and_the_header_gone_every_event_is_still_there(large, tmp_path):
    copy = damaged(large, tmp_path)
    before = contents(copy)
    overwrite(copy, 0, b"\xa5" * PAGE)
    target = tmp_path / "new.sqlite"
    salvage([copy], target)
    gone = lost(before, target)
    assert gone == {}, gone


def test_a_table_whose_columns_names_are_no_text_any_more_is_read_from_its_bytes(large, tmp_path):
    """SQLite cites the name in its message, which is no text then either."""
    copy = damaged(large, tmp_path)
    before = contents(copy)
    whole = copy.read_bytes()
    named = b"CREATE TABLE probes (\n    probe_key"
    spoilt = whole.replace(named, named[:-3] + b"\xe5ey")
    assert spoilt != whole
    copy.write_bytes(spoilt)
    target = tmp_path / "new.sqlite"
    [carried] = salvage([copy], target)
    assert carried.faults or carried.by_bytes
    gone = lost(before, target)
    assert set(gone) <= {"probes", "readings", *ROLLUP_TABLES}, gone


@pytest.mark.parametrize("table", ["gaps", "profile_changes", "readings_a", "rollup_minute"])
def test_a_table_with_another_name_for_a_column_is_read_from_its_bytes(large, tmp_path, table):
    """A flipped bit in the text of the schema: SQLite finds nothing wrong with it."""
    copy = damaged(large, tmp_path)
    before = contents(copy)
    column = "last_seq" if table == "rollup_minute" else "wall_utc_s"
    flip_in_schema(copy, f"CREATE TABLE {table} (", column)
    assert rows(copy, "PRAGMA quick_check") == [("ok",)]
    assert full_check(copy) == [f"{table}: its columns are not those that fermd made"]
    target = tmp_path / "new.sqlite"
    [carried] = salvage([copy], target)
    assert (carried.refused, carried.senseless) == (0, 0)
    assert lost(before, target) == {}
    assert rows(target, "PRAGMA integrity_check") == [("ok",)]


@pytest.mark.parametrize("table", ["boots", "profile_changes", "readings_a", "rollup_minute"])
def test_a_table_with_another_name_is_known_by_the_shape_of_its_rows(large, tmp_path, table):
    """SQLite then refuses the whole file, since the name in the text is not the name beside it."""
    copy = damaged(large, tmp_path)
    before = contents(copy)
    flip_in_schema(copy, f"table{table}", table)
    with pytest.raises(sqlite3.DatabaseError, match="malformed"):
        full_check(copy)
    target = tmp_path / "new.sqlite"
    salvage([copy], target)
    assert lost(before, target) == {}


@pytest.mark.parametrize("header", [True, False])
def test_the_buckets_of_an_older_journal_are_told_by_its_own_key(tmp_path, header):
    """Up to version 7 a bucket's record began with boot, start and probe, since then otherwise."""
    older = tmp_path / "older.sqlite"
    fixture = Path(__file__).parent / "fixtures" / "journal_version_7.sql"
    with closing(sqlite3.connect(older)) as connection:
        connection.executescript(fixture.read_text(encoding="utf-8"))
    before = contents(older)
    if not header:
        overwrite(older, 0, b"\xa5" * PAGE)
    target = tmp_path / "new.sqlite"
    [carried] = salvage([older], target)
    assert (carried.by_bytes > 0) is not header
    gone = lost(before, target)
    # The key of a bucket is all there is to tell which table it is of.
    assert gone == {}, gone


@pytest.mark.parametrize("part", [0.3, 0.7, 0.999])
def test_of_a_truncated_file_every_row_is_there_whose_page_is_there(large, tmp_path, part):
    copy = damaged(large, tmp_path)
    of_page, image = owners(copy), Image(copy)
    size = int(copy.stat().st_size * part)
    whole = size // PAGE
    expected: dict[str, set[int | None]] = {}
    long_ones = {number for number, kind in kinds(copy).items() if kind == "overflow"}
    for number in range(1, whole + 1):
        owner = of_page.get(number, "")
        if owner in EVENT_TABLES and number not in long_ones:
            for cell in image.cells(image.page(number), number):
                expected.setdefault(owner, set()).add(cell.rowid)
    with copy.open("r+b") as raw:
        raw.truncate(size)
    target = tmp_path / "new.sqlite"
    salvage([copy], target)
    for table, seqs in expected.items():
        found = {seq for (seq,) in rows(target, f"SELECT seq FROM {table}")}  # noqa: S608
        # A note whose end lay on a page that was cut off is lost with it.
        assert table == "notes" or seqs <= found, table
    assert rows(target, "PRAGMA integrity_check") == [("ok",)]


@pytest.mark.parametrize("seed", range(4))
def test_flipped_bytes_cost_no_row_of_a_page_that_they_are_not_on(large, tmp_path, seed):
    copy = damaged(large, tmp_path)
    before, of_page = contents(copy), owners(copy)
    drawn = random.Random(seed)
    leaves = {number for number, kind in kinds(copy).items() if kind in ("leaf", "overflow")}
    on_pages = set()
    for _ in range(5):
        place = drawn.randrange(copy.stat().st_size)
        on_pages.add(place // PAGE + 1)
        with copy.open("r+b") as raw:
            raw.seek(place)
            (byte,) = raw.read(1)
            raw.seek(place)
            raw.write(bytes([byte ^ 1 << drawn.randrange(8)]))
    target = tmp_path / "new.sqlite"
    salvage([copy], target)
    hit = {of_page.get(number, "") for number in on_pages}
    gone = lost(before, target)
    rollups_behind = {table for table in ROLLUP_TABLES if table in hit}
    for table, count in gone.items():
        on_leaves = [n for n in on_pages & leaves if of_page.get(n, "").startswith(table[:8])]
        # A page has at most 60 rows; nine rows' ends may lie on one page of a long note.
        most = 60 * len(on_leaves) + (60 if table in rollups_behind else 0)
        assert count <= most, (table, count, on_pages, hit)


def test_what_was_committed_to_a_damaged_log_is_carried_over(begin, path, tmp_path):
    journal = begin()
    for second in range(200):
        journal.events(at(second), "lager", [GapSeen(float(second))])
        assert journal.flush()
    copy = tmp_path / "killed.sqlite"
    log = path.with_name(path.name + "-wal").read_bytes()
    copy.write_bytes(path.read_bytes())
    spoilt = bytearray(log)
    spoilt[len(log) // 3] ^= 0xFF
    copy.with_name(copy.name + "-wal").write_bytes(spoilt)
    target = tmp_path / "new.sqlite"
    salvage([copy], target)
    found = {lasted for (lasted,) in rows(target, "SELECT lasted_s FROM gaps")}
    # One page of the table may have been the one that was hit.
    assert len({float(second) for second in range(200)} - found) == 0


def test_a_set_aside_journal_and_the_one_after_it_become_one_record(begin, tmp_path):
    first, second = tmp_path / "first.sqlite", tmp_path / "second.sqlite"
    whole_record.write(first, boot_id="one")
    whole_record.write(second, boot_id="one", thin=False)
    target = tmp_path / "both.sqlite"
    salvage([first, second], target)
    for table in EVENT_TABLES:
        count = f"SELECT count(*) FROM {table}"  # noqa: S608 - constants
        parts = rows(first, count)[0][0] + rows(second, count)[0][0]
        noted = 1 if table == "journal_incidents" else 0
        assert rows(target, count) == [(parts + noted,)], table
    assert rows(target, "SELECT count(*) FROM boots") == [(1,)]
    assert rows(target, "SELECT count(*) FROM probes") == [(2,)]
    # Both counted the same two hours of one boot: buckets are joined, no reading counts twice.
    assert rows(target, "SELECT sum(good_readings + faulty_readings) FROM rollup_minute") == [
        (4 * whole_record.READINGS,)
    ]
    everything = [row.seq for row in JournalReader(target).last_events(10_000)]
    assert everything == sorted(set(everything))
    taken_back = rows(target, "SELECT takes_back_seq FROM notes WHERE takes_back_seq IS NOT NULL")
    # A note takes back one of its own file.
    (begun,) = rows(target, "SELECT max(seq) FROM daemon_runs WHERE change = 'started'")[0]
    assert taken_back == [(1,), (begun,)]


def test_a_chamber_goes_on_in_the_repaired_journal_and_its_compressor_waits(begin, tmp_path):
    first, target = tmp_path / "first.sqlite", tmp_path / "new.sqlite"
    whole_record.write(first)
    salvage([first], target)
    outage = begin(path=target, boot_id="first-boot", moment=at(9000.0)).outage()
    assert [one.state_json for one in outage.chambers] == ['{"index": 1}']
    assert outage.lines == ()


@settings(max_examples=60, deadline=None)
@given(st.binary(max_size=3000), st.integers(0, 3), st.booleans())
def test_nothing_in_the_bytes_of_a_page_ends_the_reading_of_them(tmp_path_factory, noise, n, log):
    path = tmp_path_factory.mktemp("noise") / "noise.sqlite"
    kinds = (b"", b"\x0d", b"\x0a", b"\x02")
    path.write_bytes(b"\0" * PAGE + kinds[n] + noise)
    if log:
        path.with_name(path.name + "-wal").write_bytes(b"\0" * 40 + noise)
    image = Image(path)
    image.free_pages()
    for number in range(1, image.count + 1):
        image.children(number)
        list(image.cells(image.page(number), number))
