"""Journals with flipped bytes, lost blocks, misdirected pages and torn logs.

What was in the journal before is known row by row, with the page of each. After the damage the
daemon's own opening, the reader and `fermd log` are tried. Kept must be: what lay on undamaged
pages is readable, or the whole file is set aside, byte for byte, with a message and a row; and
control goes on with a journal that writes.
"""

from __future__ import annotations

import json
import os
import shutil
import sqlite3
import tempfile
from collections.abc import Mapping, Sequence
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final, Self

from cli_rig import run
from hypothesis import strategies as st
from loop_rig import PERIOD_S, Rig
from territory import Territory, Verdict

from fermd.cli.exits import EXIT_CODES
from fermd.control.commands import SetTarget, StartProfile
from fermd.control.events import GapSeen
from fermd.control.moment import Moment
from fermd.journal.ports import Outage
from fermd.journal.reader import JournalReader, JournalUnreadable
from fermd.journal.readonly import connect_to_read
from fermd.journal.salvage import salvage
from fermd.journal.schema import EVENT_TABLES, PAGE_BYTES, READING_TABLES
from fermd.journal.settings import JournalSettings
from fermd.journal.writer import SqliteJournal
from fermd.review.telling import tell
from fermd.service import recall
from fermd.web.serving import read_profile

KEPT_TABLES: Final = ("boots", "probes", *EVENT_TABLES, *READING_TABLES)
"""Tables in which no row is ever changed but for its wall time, and none goes without thinning."""

IMPATIENT: Final = JournalSettings(
    linger_s=0.0, busy_s=0.2, first_retry_s=0.02, longest_retry_s=0.1
)
FRAME_BYTES: Final = 24 + PAGE_BYTES
LOG_HEADER_BYTES: Final = 32
ALLOWED: Final = set(EXIT_CODES) - {os.EX_SOFTWARE}
MARK_S: Final = 4321.0

PROFILE: Final = """\
name = "Lager"
[[step]]
kind = "hold"
target_c = 12.0
for = "90 min"
[[step]]
kind = "ramp"
to_c = 17.0
rate_c_per_day = 40.0
[[step]]
kind = "final-hold"
target_c = 5.0
"""

Row = tuple[Any, ...]


@dataclass(frozen=True)
class Whole:
    """A journal before the damage."""

    files: Mapping[str, bytes]
    """By what their names end with: `""` and `-wal`."""
    rows: Mapping[str, Mapping[int, Row]]
    """By table and rowid."""
    page_of: Mapping[tuple[str, int], int]
    frame_of: Mapping[int, int]
    """The newest frame of each page in the log."""
    outage: Outage
    boot_id: str
    now: Moment

    def damaged_pages(self, files: Mapping[str, bytes]) -> set[int]:
        """The pages whose newest text is not what it was."""
        old, new = self.files, files
        pages = len(old[""]) // PAGE_BYTES
        found = set()
        for page in range(1, max(pages, *self.frame_of, 1) + 1):
            frame = self.frame_of.get(page)
            if frame is None:
                at, size, suffix = (page - 1) * PAGE_BYTES, PAGE_BYTES, ""
            else:
                at, size = LOG_HEADER_BYTES + frame * FRAME_BYTES, FRAME_BYTES
                suffix = "-wal"
            if old[suffix][at : at + size] != new.get(suffix, b"")[at : at + size]:
                found.add(page)
        return found


damages = st.lists(
    st.tuples(
        st.sampled_from(["", "", "-wal"]),
        st.sampled_from(
            ["flip"] * 8 + ["byte", "zeros", "page", "garbage page", "cut", "more", "shm"]
        ),
        st.one_of(st.floats(0, 1, exclude_max=True), st.integers(0, 140)),
        st.integers(0, 255),
    ),
    min_size=1,
    max_size=4,
)


class Journals(Territory):
    """Which journal, and what happens to its bytes."""

    name = "journals"
    inputs = st.tuples(st.integers(0, 2), damages)

    def __enter__(self) -> Self:
        # In memory: what is tried here is not whether the disk is quick.
        memory = Path("/dev/shm")  # noqa: S108 - a folder of its own is made in it
        self._folder = Path(
            tempfile.mkdtemp(prefix="fermd-j-", dir=memory if memory.is_dir() else None)
        )
        self._wholes = _lived(self._folder / "life")
        self._tried = 0
        return self

    def __exit__(self, *_: object) -> None:
        shutil.rmtree(self._folder)

    def judge(self, given: Any) -> Sequence[Verdict]:
        which, what = given
        whole = self._wholes[which]
        files = _damaged(whole.files, what)
        place = self._folder / "one"
        shutil.rmtree(place, ignore_errors=True)
        place.mkdir()
        path = place / "journal.db"
        for suffix, data in files.items():
            path.with_name(path.name + suffix).write_bytes(data)
        self._read(path)
        self._tried += 1
        if self._tried % 16 == 0:
            ended = run("log", "--journal", str(path), "--json")
            assert ended.code in ALLOWED, ended
            assert ended.code == 0 or len(ended.err.splitlines()) == 1, ended
        unread = {suffix: path.with_name(path.name + suffix).read_bytes() for suffix in files}
        stored = ("", "-wal")
        assert all(unread[one] == files[one] for one in stored if one in files), "a reader wrote"
        return [self._go_on(path, whole, files)]

    def _read(self, path: Path) -> None:
        reader = JournalReader(path)
        questions = (
            lambda: json.dumps([tell(row).plain() for row in reader.last_events(1000)]),
            lambda: json.dumps([row.plain() for row in reader.last_events(50, chamber="lager")]),
            lambda: reader.temperatures(0.0, 1e11),
            lambda: reader.output_runs(0.0, 1e11),
            lambda: reader.starts_by_hour(0.0, 1e11),
            reader.span,
            reader.figures,
        )
        for question in questions:
            try:
                question()
            except JournalUnreadable as error:
                words = str(error)
            else:
                continue
            assert "\n" not in words
            assert str(path) in words

    def _go_on(self, path: Path, whole: Whole, files: Mapping[str, bytes]) -> Verdict:
        journal = SqliteJournal(
            path, boot_id=whole.boot_id, moment=whole.now, version="next", settings=IMPATIENT
        )
        try:
            outage = journal.outage()
            known = recall.recall(SETTINGS, outage, whole.boot_id, whole.now)
            # With the end of the log gone, what is remembered may be older, but never taken for
            # the end of an orderly stop; and what is remembered is whole.
            assert not outage.ended_cleanly or set(outage.lines) <= set(whole.outage.lines)
            assert outage.ended_cleanly <= whole.outage.ended_cleanly
            if files.get("-wal") == whole.files.get("-wal"):
                assert set(outage.chambers) <= set(whole.outage.chambers)
            assert known.unreadable == ()
            journal.events(whole.now, "lager", [GapSeen(MARK_S)])
            assert journal.flush(2.0), f"it does not write: {journal.trouble()}"
            trouble = journal.trouble()
        finally:
            journal.close(whole.now, cleanly=True)
        with closing(connect_to_read(path)) as connection:
            marks = connection.execute("SELECT 1 FROM gaps WHERE lasted_s = ?", (MARK_S,))
            assert marks.fetchone(), "what happened after the start is not in the journal"
            told = connection.execute("SELECT incident, detail FROM journal_incidents").fetchall()
            found = _rows(connection)
        asides = [
            one
            for one in path.parent.glob(f"{path.name}.set-aside-*")
            if not one.name.endswith(("-wal", "-shm"))
        ]
        if asides:
            [aside] = asides
            kept = {
                suffix: one.read_bytes()
                for suffix in ("", "-wal")
                if (one := aside.with_name(aside.name + suffix)).exists()
            }
            if kept != {one: files[one] for one in ("", "-wal") if one in files}:
                # No check saw the damage, and only the first write came upon it: by then SQLite has
                # carried the log over into the database.
                assert kept.get("-wal", b"") == b"", "what is kept was changed"
                _carries_over_all(aside, whole, files)
            assert trouble is not None
            assert trouble.kind == "set-aside"
            assert str(aside) in trouble.detail
            assert any(incident == "set-aside" for incident, _ in told)
            return Verdict(False, trouble.detail.replace(str(path.parent), ""))
        damaged = whole.damaged_pages(files)
        if logs := list(path.parent.glob(f"{path.name}.set-aside-*-wal")):
            [log] = logs
            assert log.read_bytes() == files["-wal"], "the log that is kept was changed"
            assert any(incident == "log-cut-short" and log.name in d for incident, d in told)
            return Verdict(True)
        for table, rows in whole.rows.items():
            for rowid, row in rows.items():
                if whole.page_of[table, rowid] not in damaged:
                    assert found[table].get(rowid) == row, (
                        f"{table} {rowid}: {row} is {found[table].get(rowid)}, "
                        f"page {whole.page_of[table, rowid]}, damaged {sorted(damaged)}"
                    )
        return Verdict(True)


def _damaged(whole: Mapping[str, bytes], what: Sequence[Any]) -> dict[str, bytes]:
    files = {suffix: bytearray(data) for suffix, data in whole.items()}
    for suffix, kind, where, value in what:
        data = files.get(suffix) or files[""]
        at = int(where * len(data)) if isinstance(where, float) else where
        at = min(at, len(data) - 1)
        page = at // PAGE_BYTES * PAGE_BYTES
        match kind:
            case "flip":
                data[at] ^= 1 << value % 8
            case "byte":
                data[at] = value
            case "zeros":
                data[at // 512 * 512 : at // 512 * 512 + 512] = bytes(512)
            case "page":
                other = value * 7919 % max(1, len(data) // PAGE_BYTES) * PAGE_BYTES
                data[page : page + PAGE_BYTES] = data[other : other + PAGE_BYTES]
            case "garbage page":
                data[page : page + PAGE_BYTES] = bytes(
                    (value + n * 131) % 256 for n in range(PAGE_BYTES)
                )
            case "cut":
                del data[max(1, at) :]
            case "more":
                data += bytes([value]) * 700
            case _:
                files["-shm"] = bytearray(bytes([value]) * 32768)
    return {suffix: bytes(data) for suffix, data in files.items()}


def _lived(folder: Path) -> list[Whole]:
    """Three journals of one life: stopped in order, killed early in it, killed in a later run."""
    folder.mkdir()
    rig = Rig(folder)
    rig.settle(18.0)
    assert rig.ask(StartProfile(read_profile(PROFILE), "anna")).taken
    for hour in range(4):
        rig.warm_to(18.0 - 2.5 * hour)
        rig.run_for(1800.0)
        rig.journal.note(rig.clock.now(), "lager", "anna", f"hour {hour}: smells of sulphur")
    assert rig.journal.flush()
    early = _whole(rig)
    rig.end()
    stopped = _whole(rig)
    rig.start()
    rig.run_for(600.0)
    for target_c in range(6, 16):
        rig.ask(SetTarget(float(target_c), "bert"))
        rig.run_for(10 * PERIOD_S)
        assert rig.journal.flush()
    later = _whole(rig)
    rig.end()
    return [stopped, early, later]


def _carries_over_all(aside: Path, whole: Whole, files: Mapping[str, bytes]) -> None:
    """What `fermd repair` would make of the file has every event that lay on a page left whole."""
    target = aside.with_name("repaired")
    salvage([aside], target)
    damaged = whole.damaged_pages(files)
    with closing(connect_to_read(target)) as connection:
        found = _rows(connection)
    for table in EVENT_TABLES:
        on_whole = {
            rowid for rowid in whole.rows[table] if whole.page_of[table, rowid] not in damaged
        }
        assert on_whole <= set(found[table]), f"{table}: lost {on_whole - set(found[table])}"


SETTINGS: Any = None


def _whole(rig: Rig) -> Whole:
    global SETTINGS
    SETTINGS = rig.site.settings
    path = rig.site.journal_path
    place = path.parent / "copy"
    shutil.rmtree(place, ignore_errors=True)
    place.mkdir()
    files = {}
    for suffix in ("", "-wal"):
        source = path.with_name(path.name + suffix)
        if source.exists():
            files[suffix] = source.read_bytes()
            (place / f"j{suffix}").write_bytes(files[suffix])
    boot_id, now = rig.clock.boot_id(), rig.clock.now()
    # A copy is opened as the daemon will open the damaged one: so it must find what there is.
    with closing(sqlite3.connect(place / "j")) as connection:
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        rows = _rows(connection)
        image = (place / "j").read_bytes()
        page_of = {
            (table, rowid): page
            for table in KEPT_TABLES
            for rowid, page in _leaves(image, _root(connection, table))
        }
    assert all((table, rowid) in page_of for table in rows for rowid in rows[table])
    frames = range((len(files.get("-wal", b"")) - LOG_HEADER_BYTES) // FRAME_BYTES)
    frame_of = {}
    for frame in frames:
        at = LOG_HEADER_BYTES + frame * FRAME_BYTES
        if files["-wal"][at + 8 : at + 16] == files["-wal"][16:24]:
            frame_of[int.from_bytes(files["-wal"][at : at + 4], "big")] = frame
    journal = SqliteJournal(place / "j", boot_id=boot_id, moment=now, version="next")
    outage = journal.outage()
    journal.close(now, cleanly=True)
    assert outage.chambers
    return Whole(files, rows, page_of, frame_of, outage, boot_id, now)


def _rows(connection: sqlite3.Connection) -> dict[str, dict[int, Row]]:
    found = {}
    for table in KEPT_TABLES:
        rows = connection.execute(f"SELECT rowid, * FROM {table}")  # noqa: S608 - constants
        found[table] = {row[0]: row[1:] for row in rows}
    return found


def _root(connection: sqlite3.Connection, table: str) -> int:
    query = "SELECT rootpage FROM sqlite_schema WHERE name = ?"
    return int(connection.execute(query, (table,)).fetchone()[0])


def _leaves(image: bytes, page: int) -> list[tuple[int, int]]:
    """Each rowid of a table and the page that it is on (sqlite.org/fileformat2.html, 1.6)."""
    start = (page - 1) * PAGE_BYTES
    head = start + (100 if page == 1 else 0)
    cells = int.from_bytes(image[head + 3 : head + 5], "big")
    leaf = image[head] == 0x0D
    assert leaf or image[head] == 0x05
    pointers = head + (8 if leaf else 12)
    found = []
    for cell in range(cells):
        at = start + int.from_bytes(image[pointers + 2 * cell : pointers + 2 * cell + 2], "big")
        if leaf:
            _, at = _varint(image, at)
            rowid, _ = _varint(image, at)
            found.append((rowid, page))
        else:
            found += _leaves(image, int.from_bytes(image[at : at + 4], "big"))
    if not leaf:
        found += _leaves(image, int.from_bytes(image[head + 8 : head + 12], "big"))
    return found


def _varint(image: bytes, at: int) -> tuple[int, int]:
    value = 0
    for count in range(9):
        byte = image[at + count]
        if count == 8:
            return value << 8 | byte, at + 9
        value = value << 7 | byte & 0x7F
        if byte < 0x80:
            return value, at + count + 1
    raise AssertionError("unreachable")
