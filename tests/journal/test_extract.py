"""A span of the record in the hands of other programs: CSV, Parquet, and what they make of it."""

from __future__ import annotations

import csv
import io
import sqlite3
import subprocess
import sys
import tracemalloc
from contextlib import closing
from zoneinfo import ZoneInfo

import duckdb
import pytest
from hypothesis import given
from hypothesis import strategies as st
from journal_bench import WALL_S, at, rows

from fermd.control.events import GapSeen
from fermd.journal.csv_out import write_csv
from fermd.journal.described import RELATIONS
from fermd.journal.extract import Extract, extracted, relation_named
from fermd.journal.parquet_out import write_parquet
from fermd.journal.reader import JournalUnreadable

VIENNA = ZoneInfo("Europe/Vienna")


def as_csv(path, what, **wanted):
    """`what` is a short name or, as such, a table or view."""
    extract = Extract(RELATIONS.get(what) or relation_named(what), **wanted)
    text = io.StringIO(newline="")
    with extracted(path, extract) as found:
        write_csv([column.name for column in extract.columns], found, text)
    return text.getvalue()


@pytest.mark.parametrize("name", RELATIONS)
def test_every_table_and_view_comes_back_from_csv_as_the_database_has_it(record, name):
    text = as_csv(record, name)
    header, *found = csv.reader(io.StringIO(text, newline=""))
    columns = RELATIONS[name].names
    assert header[-len(columns) :] == list(columns)
    kept = rows(record, f"SELECT {', '.join(columns)} FROM {name}")  # noqa: S608 - names
    assert kept or name == "readings_b", "there is something in every table"
    told = sorted(tuple(row[-len(columns) :]) for row in found)
    assert told == sorted(tuple("" if one is None else str(one) for one in row) for row in kept)


# RFC 4180, section 2: rules 1 and 2 (CRLF), 3 (header), 4 (as many fields in each line), 5 to 7
# (quotes around what holds a comma, a quote or a line's end; quotes doubled). The grammar at its
# end, as a reader of its own:
def read_by_the_grammar(text: str) -> list[list[str]]:
    records, record, at_char = [], [], 0
    while at_char < len(text):
        if text[at_char] == '"':
            field, at_char = "", at_char + 1
            while True:
                end = text.index('"', at_char)
                field += text[at_char:end]
                at_char = end + 1
                if text[at_char : at_char + 1] != '"':
                    break
                field += '"'
                at_char += 1
        else:
            end = min(text.find(mark, at_char) % (len(text) + 1) for mark in (",", "\r\n"))
            field = text[at_char:end]
            assert '"' not in field, "rule 5"
            assert "\n" not in field, "rule 6"
            assert "\r" not in field, "rule 6"
            at_char = end
        record.append(field)
        if text[at_char : at_char + 2] == "\r\n":
            records.append(record)
            record, at_char = [], at_char + 2
        else:
            assert text[at_char] == ","
            at_char += 1
    assert record == [], "rule 1: every line ends with CRLF"
    return records


VALUES = st.none() | st.integers() | st.floats(allow_nan=False) | st.text()


@given(st.lists(st.lists(VALUES, min_size=3, max_size=3), max_size=5))
def test_csv_is_what_rfc_4180_says_whatever_the_brewer_wrote(values):
    sink = io.StringIO(newline="")
    write_csv(["a", "b,c", 'd"'], values, sink)
    expected = [["a", "b,c", 'd"']]
    expected += [["" if one is None else str(one) for one in row] for row in values]
    assert read_by_the_grammar(sink.getvalue()) == expected
    assert list(csv.reader(io.StringIO(sink.getvalue(), newline=""), strict=True)) == expected


def test_nothing_and_an_empty_text_can_be_told_apart(record):
    text = as_csv(record, "notes")
    assert ',Ann,"",other,,,\r\n' in text


@pytest.mark.debian("sqlite3")
def test_the_command_line_of_sqlite_imports_the_csv(record, tmp_path):
    file = tmp_path / "notes.csv"
    file.write_bytes(as_csv(record, "notes").encode())
    found = subprocess.run(
        ["sqlite3", ":memory:", ".mode csv", f".import {file} n", "SELECT note FROM n"],
        capture_output=True,
        check=True,
    ).stdout.decode()
    told = [row[0] for row in csv.reader(io.StringIO(found, newline=""))]
    assert told == [note for (note,) in rows(record, "SELECT note FROM notes ORDER BY seq")]


def test_a_span_begins_with_its_first_moment_and_ends_before_its_last(record):
    first, last = WALL_S + 600.5, WALL_S + 1200.5
    text = as_csv(record, "temperatures", from_utc_s=first, to_utc_s=last, chamber="lager")
    found = list(csv.DictReader(io.StringIO(text, newline="")))
    assert len(found) == 2 * 60
    assert {row["wall_utc_s"] for row in found} >= {str(first)}
    assert str(last) not in {row["wall_utc_s"] for row in found}
    assert as_csv(record, "temperatures", chamber="ale").count("\r\n") == 1


def test_what_befell_the_whole_site_is_told_with_every_chamber(record):
    found = csv.DictReader(io.StringIO(as_csv(record, "events", chamber="lager"), newline=""))
    assert {row["chamber"] for row in found} == {"lager", ""}


def test_local_times_are_those_of_the_sites_zone_on_the_night_the_clocks_go_back(begin, path):
    # 2026-10-25 01:00 UTC: in Vienna the clocks go back from 03:00 to 02:00 (EU directive
    # 2000/84/EC: the last Sunday of October at 01:00 UTC).
    change_s = 1_792_890_000.0
    journal = begin(moment=at(0.0, wall_utc_s=change_s - 1800))
    for before_s in (-1800.0, 1800.0):
        journal.events(at(5.0, wall_utc_s=change_s + before_s), "lager", [GapSeen(1.0)])
    assert journal.flush()
    found = list(csv.DictReader(io.StringIO(as_csv(path, "gaps", zone=VIENNA), newline="")))
    assert [row["local_time"] for row in found] == [
        "2026-10-25T02:30:00.000+02:00",
        "2026-10-25T02:30:00.000+01:00",
    ]


def test_a_row_is_in_the_extract_while_the_daemon_goes_on_writing(begin, path):
    journal = begin()
    journal.events(at(1), "lager", [GapSeen(1.0)])
    assert journal.flush()
    with extracted(path, Extract(relation_named("gaps"))) as found:
        journal.events(at(2), "lager", [GapSeen(2.0)])
        assert journal.flush()
        assert [row[-1] for row in found] == [1.0]


def test_rows_are_streamed_and_never_held_all_at_once(path, begin):
    journal = begin()
    for second in range(20_000):
        journal.events(at(second), "lager", [GapSeen(1.0)])
    assert journal.flush(60.0)

    class Nowhere:
        def write(self, text: str) -> None:
            return None

    tracemalloc.start()
    with extracted(path, Extract(relation_named("gaps"))) as found:
        assert write_csv(["x"], found, Nowhere()) == 20_000
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    # Held at once, 20,000 rows of eight values are over 6 MB.
    assert peak < 2_000_000


def test_parquet_is_read_by_another_program_with_every_value(record, tmp_path):
    for name, relation in RELATIONS.items():
        wanted = Extract(relation, zone=VIENNA)
        file = tmp_path / f"{name}.parquet"
        with extracted(record, wanted) as found:
            count = write_parquet(wanted.columns, found, file, VIENNA)
        names = ", ".join(relation.names)
        with closing(duckdb.connect()) as other:
            told = other.execute(f"SELECT {names} FROM '{file}'").fetchall()  # noqa: S608 - names
        kept = rows(record, f"SELECT {names} FROM {name}")  # noqa: S608 - names
        assert count == len(kept)
        assert sorted(told, key=repr) == sorted(kept, key=repr)


def test_parquet_says_what_its_columns_mean_and_has_times_as_times(record, tmp_path):
    file = tmp_path / "readings.parquet"
    wanted = Extract(relation_named("readings"), zone=VIENNA)
    with extracted(record, wanted) as found:
        write_parquet(wanted.columns, found, file, VIENNA)
    with closing(duckdb.connect()) as other:
        kinds = dict(
            other.execute(
                f"SELECT column_name, column_type FROM (DESCRIBE SELECT * FROM '{file}')"  # noqa: S608
            ).fetchall()
        )
        (first,) = other.execute(
            f"SELECT epoch(min(local_time)) FROM '{file}'"  # noqa: S608 - a path of the test's own
        ).fetchone()
    assert kinds["local_time"] == "TIMESTAMP WITH TIME ZONE"
    assert kinds["temp_c"] == "DOUBLE"
    assert first == WALL_S + 0.5
    import pyarrow.parquet as pq

    field = pq.read_schema(file).field("temp_c")
    assert field.metadata[b"unit"].decode() == "°C"
    assert field.metadata[b"meaning"]


def test_a_journal_that_is_damaged_or_missing_is_one_clear_error(record, tmp_path):
    with (
        pytest.raises(JournalUnreadable, match="does not exist"),
        extracted(tmp_path / "none.db", Extract(relation_named("gaps"))),
    ):
        pass
    [(page,)] = rows(record, "SELECT rootpage FROM sqlite_schema WHERE name = 'notes'")
    with record.open("r+b") as raw:
        raw.seek((page - 1) * 1024)
        raw.write(b"\xa5" * 1024)
    with (
        pytest.raises(JournalUnreadable, match="fermd repair"),
        extracted(record, Extract(relation_named("notes"))) as found,
    ):
        list(found)


def test_without_the_parquet_library_the_error_says_what_to_install(record, tmp_path):
    blocked = (
        "import sys; sys.modules['pyarrow'] = None\n"
        "from fermd.cli import main; sys.argv[0] = 'fermd'; main()"
    )
    out = tmp_path / "x.parquet"
    ended = subprocess.run(
        [sys.executable, "-c", blocked, "extract", "gaps", "--journal", str(record), "--out", out],
        capture_output=True,
        text=True,
    )
    assert ended.returncode == 69  # EX_UNAVAILABLE
    assert "pip install 'fermd[parquet]'" in ended.stderr
    assert len(ended.stderr.splitlines()) == 1
    assert list(tmp_path.glob("x.parquet*")) == []


def test_everything_can_be_read_by_sqlite_alone_from_a_copy_that_cannot_be_written(
    record, tmp_path
):
    copy = tmp_path / "read-only.db"
    copy.write_bytes(record.read_bytes())
    copy.chmod(0o400)
    plain = (
        "import sqlite3, sys\n"
        "c = sqlite3.connect(f'file:{sys.argv[1]}?immutable=1', uri=True)\n"
        "for name, in c.execute(\"SELECT name FROM sqlite_schema WHERE type IN ('table', 'view') "
        "AND name NOT LIKE '%sqlite%'\").fetchall():\n"
        "    print(name, len(c.execute(f'SELECT * FROM {name}').fetchall()))\n"
    )
    # -I -S: neither fermd nor any other package can be imported.
    found = subprocess.run(
        [sys.executable, "-I", "-S", "-c", plain, copy], capture_output=True, text=True, check=True
    ).stdout.splitlines()
    counts = {name: int(count) for name, count in map(str.split, found)}
    assert set(counts) == set(RELATIONS)
    # The alarm is still raised, so that there is something in every view.
    assert [name for name, count in counts.items() if count == 0 and name != "readings_b"] == []
    with closing(sqlite3.connect(f"file:{copy}?immutable=1", uri=True)) as connection:
        assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
