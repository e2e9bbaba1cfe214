"""Full, locked, spoilt, read-only: control goes on, the brewer is told, and nothing is deleted."""

from __future__ import annotations

import json
import os
import sqlite3
import subprocess
import sys
import time
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest
from journal_bench import IMPATIENT, at, rows

from fermd.control.events import GapSeen
from fermd.journal import examining, opening
from fermd.journal import file as journal_file
from fermd.journal.examining import first_fault
from fermd.journal.ports import ChamberRecord, LineHistory, ReadingRow
from fermd.journal.reader import JournalReader, JournalUnreadable
from fermd.journal.rows import DaemonRun, Incident
from fermd.journal.settings import JournalSettings
from fermd.journal.writer import SqliteJournal
from fermd.review.course import JournalNotForReview, opened, read_course
from fermd.review.time_axis import TimeAxis

RECORD = ChamberRecord("lager", '{"index":2}')
LINE = LineHistory("GPIO17", False, 900.0, 300.0, (300.0,), None)


def filled(begin: Callable[..., SqliteJournal], *, readings: int = 3000) -> None:
    """A journal of an earlier run, of some hundred pages."""
    journal = begin(boot_id="earlier")
    for second in range(readings):
        journal.readings([ReadingRow(at(second), "lager", "vessel", 12.0 + second % 7, None)])
    journal.events(at(readings), "lager", [GapSeen(float(n)) for n in range(50)])
    journal.remember(at(readings), [LINE], [RECORD])
    journal.close(at(readings + 1), cleanly=True)


def eventually(condition: Callable[[], bool], within_s: float = 10.0) -> bool:
    """The journal mends itself in a thread of its own, in its own time."""
    until_s = time.monotonic() + within_s
    while not condition():
        if time.monotonic() > until_s:
            return False
        time.sleep(0.005)
    return True


def kept_aside(path: Path) -> list[Path]:
    names = sorted(path.parent.glob(path.name + ".set-aside-*"))
    return [name for name in names if not name.name.endswith(("-wal", "-shm"))]


# -- spoilt files -----------------------------------------------------------------------------


def garbage(path: Path) -> None:
    path.write_bytes(b"not a database at all, " * 500)


def cut_short(path: Path) -> None:
    os.truncate(path, path.stat().st_size * 2 // 3)


def emptied(path: Path) -> None:
    os.truncate(path, 0)


def torn_page(path: Path) -> None:
    """The root page of a table half written."""
    with closing(sqlite3.connect(path)) as connection:
        query = "SELECT rootpage FROM sqlite_schema WHERE name = 'gaps'"
        (page,) = connection.execute(query).fetchone()
    with path.open("r+b") as raw:
        raw.seek((page - 1) * 1024 + 100)
        raw.write(b"\xa5" * 400)
        raw.seek((page - 1) * 1024)
        raw.write(b"\xa5" * 12)


def newer_schema(path: Path) -> None:
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("PRAGMA user_version = 999")


@pytest.mark.parametrize("spoil", [garbage, cut_short, emptied, torn_page, newer_schema])
def test_a_spoilt_journal_is_set_aside_and_a_new_one_begun(begin, path, spoil):
    filled(begin)
    spoil(path)
    spoilt = path.read_bytes()
    journal = begin(moment=at(5000))
    trouble = journal.trouble()
    assert trouble.kind == "set-aside"
    assert str(path) in trouble.detail
    [aside] = kept_aside(path)
    assert str(aside) in trouble.detail
    assert not journal.outage().ended_cleanly
    assert journal.outage().lines == ()
    journal.events(at(5001), "lager", [GapSeen(7.0)])
    assert journal.flush()
    assert rows(path, "SELECT lasted_s FROM gaps") == [(7.0,)]
    assert rows(path, "SELECT incident FROM journal_incidents") == [("set-aside",)]
    assert aside.read_bytes()[100:] == spoilt[100:]  # SQLite may have noted a reader in its header


@pytest.mark.parametrize("spoil", [torn_page, newer_schema])
def test_a_profile_goes_on_from_a_spoilt_journal_that_can_still_be_read_in_part(begin, path, spoil):
    filled(begin)
    spoil(path)
    journal = begin(moment=at(5000))
    assert journal.outage().chambers == (RECORD,)
    assert journal.outage().previous_boot_id == "earlier"
    assert journal.flush()
    assert rows(path, "SELECT chamber, state_json FROM chamber_records") == [
        ("lager", RECORD.state_json)
    ]
    # ... also for the start after next, should nothing be remembered in between.
    assert begin(moment=at(6000)).outage().chambers == (RECORD,)


def test_files_set_aside_in_the_same_second_do_not_replace_each_other(begin, path):
    for number in range(3):
        path.write_bytes(b"spoilt %d" % number)
        begin(moment=at(9)).close(at(9), cleanly=True)
    texts = {each.read_bytes() for each in kept_aside(path)}
    assert texts == {b"spoilt 0", b"spoilt 1", b"spoilt 2"}


def test_a_log_without_its_journal_is_set_aside_too(begin, path):
    Path(f"{path}-wal").write_bytes(b"a log of something that is gone")
    journal = begin()
    assert journal.trouble().kind == "set-aside"
    [log] = path.parent.glob("*.set-aside-*-wal")
    assert log.read_bytes() == b"a log of something that is gone"


@pytest.mark.parametrize("seed", range(30))
def test_flipped_bytes_never_keep_the_daemon_from_starting_nor_make_a_line_history_wrong(
    begin, path, seed
):
    filled(begin, readings=300)
    raw = bytearray(path.read_bytes())
    # A deterministic scatter over the whole file: a multiplicative generator is all it needs.
    place = seed + 1
    for _ in range(8):
        place = place * 48271 % 2147483647
        raw[place % len(raw)] ^= 1 << (place >> 8) % 8
    path.write_bytes(bytes(raw))
    journal = begin(boot_id="earlier", moment=at(5000))
    assert journal.outage().lines in ((), (LINE,))
    assert journal.outage().chambers in ((), (RECORD,))
    journal.events(at(5001), "lager", [GapSeen(7.0)])
    assert journal.flush() or journal.trouble().kind == "not-writing"
    if journal.trouble() is None or journal.trouble().kind == "set-aside":
        assert (7.0,) in rows(path, "SELECT lasted_s FROM gaps")


def test_a_large_journal_is_checked_in_the_writers_thread_and_set_aside_from_there(
    begin, path, monkeypatch
):
    filled(begin)
    torn_page(path)
    monkeypatch.setattr(opening, "CHECK_AT_ONCE_BYTES", 1024)
    journal = begin(moment=at(5000))
    assert eventually(lambda: journal.trouble() is not None)
    assert journal.trouble().kind == "set-aside"
    journal.events(at(5001), "lager", [GapSeen(7.0)])
    assert journal.flush()
    assert rows(path, "SELECT lasted_s FROM gaps") == [(7.0,)]


def test_a_journal_that_is_spoilt_while_it_runs_is_set_aside_and_the_run_goes_on(begin, path):
    journal = begin()
    journal.remember(at(1), [LINE], [RECORD])
    journal.events(at(1), "lager", [GapSeen(1.0)])
    assert journal.flush()
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    with path.open("r+b") as raw:
        raw.write(b"\xa5" * path.stat().st_size)
    journal.events(at(2), "lager", [GapSeen(2.0)])
    assert journal.flush()
    assert journal.trouble().kind == "set-aside"
    assert rows(path, "SELECT lasted_s FROM gaps") == [(2.0,)]
    assert rows(path, "SELECT change FROM daemon_runs") == [("continued",)]
    assert rows(path, "SELECT state_json FROM chamber_records") == [(RECORD.state_json,)]
    assert rows(path, "SELECT line FROM line_history") == [("GPIO17",)]
    assert len(kept_aside(path)) == 1


def test_a_disk_that_spoils_every_journal_does_not_fill_up_with_them(begin, path, monkeypatch):
    monkeypatch.setattr(journal_file, "MOST_SET_ASIDE", 1)
    journal = begin()
    for number in (1, 2):
        assert journal.flush()
        with closing(sqlite3.connect(path)) as connection:
            connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        with path.open("r+b") as raw:
            raw.write(b"\xa5" * path.stat().st_size)
        journal.events(at(number), "lager", [GapSeen(1.0)])
        journal.flush()
    assert journal.trouble().kind == "not-writing"
    assert "replace it" in journal.trouble().detail
    assert len(kept_aside(path)) == 1


def test_the_trouble_of_a_set_aside_journal_passes_after_a_while(begin, path):
    garbage(path)
    journal = begin(moment=at(0))
    journal.readings([ReadingRow(at(800), "lager", "vessel", 12.0, None)])
    assert journal.trouble().kind == "set-aside"
    journal.readings([ReadingRow(at(901), "lager", "vessel", 12.0, None)])
    assert journal.trouble() is None


# -- logs and schemas ---------------------------------------------------------------------------


def killed(begin, path, tmp_path, *, writes: int = 5) -> Path:
    """A copy of a journal as a kill leaves it: most of it is in the log."""
    journal = begin()
    for number in range(writes):
        journal.events(at(number), "lager", [GapSeen(float(number))])
        assert journal.flush()
    left = tmp_path / "left" / path.name
    left.parent.mkdir()
    for suffix in ("", "-wal"):
        left.with_name(left.name + suffix).write_bytes(Path(f"{path}{suffix}").read_bytes())
    return left


def flipped(file: Path, place: int) -> bytes:
    raw = bytearray(file.read_bytes())
    raw[place] ^= 0x10
    file.write_bytes(bytes(raw))
    return bytes(raw)


@pytest.mark.parametrize("place", [5, 17, 32 + 3 * 1048 + 40])
def test_a_log_with_commits_behind_its_damage_is_kept_with_its_journal(
    begin, path, tmp_path, place
):
    left = killed(begin, path, tmp_path)
    stored = flipped(Path(f"{left}-wal"), place), left.read_bytes()
    journal = begin(path=left, moment=at(100))
    assert journal.trouble().kind == "set-aside"
    assert "write-ahead log is damaged" in journal.trouble().detail
    [aside] = kept_aside(left)
    assert (Path(f"{aside}-wal").read_bytes(), aside.read_bytes()) == stored
    journal.events(at(101), "lager", [GapSeen(7.0)])
    assert journal.flush()
    assert rows(left, "SELECT lasted_s FROM gaps") == [(7.0,)]


def test_a_log_whose_last_write_is_damaged_is_kept_and_the_journal_goes_on(begin, path, tmp_path):
    left = killed(begin, path, tmp_path)
    log = Path(f"{left}-wal")
    stored = flipped(log, log.stat().st_size - 10)
    journal = begin(path=left, moment=at(100))
    assert journal.flush()
    assert [s for (s,) in rows(left, "SELECT lasted_s FROM gaps")] == [0.0, 1.0, 2.0, 3.0]
    [kept] = left.parent.glob("*.set-aside-*")
    assert kept.read_bytes() == stored
    [(incident, detail)] = rows(left, "SELECT incident, detail FROM journal_incidents")
    assert incident == "log-cut-short"
    assert kept.name in detail


@pytest.mark.parametrize("left_bytes", [1, 32, 900])
def test_a_stop_before_a_log_that_was_cut_to_nothing_is_not_taken_for_the_last(
    begin, path, tmp_path, left_bytes
):
    first = begin(boot_id="one")
    first.remember(at(0), [LINE], [RECORD])
    first.close(at(1), cleanly=True)
    second = begin(boot_id="one", moment=at(2))
    second.events(at(3), "lager", [GapSeen(1.0)])
    assert second.flush()
    left = tmp_path / "left" / path.name
    left.parent.mkdir()
    left.write_bytes(path.read_bytes())
    Path(f"{left}-wal").write_bytes(Path(f"{path}-wal").read_bytes()[:left_bytes])
    third = begin(path=left, boot_id="one", moment=at(4))
    assert not third.outage().ended_cleanly
    assert third.outage().lines == ()
    assert third.outage().chambers == (RECORD,)
    assert third.flush()
    assert rows(left, "SELECT incident FROM journal_incidents") == [("log-cut-short",)]


def test_a_log_that_a_kill_has_left_whole_is_no_incident(begin, path, tmp_path):
    left = killed(begin, path, tmp_path)
    journal = begin(path=left, moment=at(100))
    assert journal.flush()
    assert rows(left, "SELECT count(*) FROM gaps") == [(5,)]
    assert rows(left, "SELECT * FROM journal_incidents") == []
    assert list(left.parent.glob("*.set-aside-*")) == []


def test_a_name_in_the_schema_that_a_flipped_byte_has_changed_is_found_at_the_start(begin, path):
    filled(begin, readings=10)
    raw = path.read_bytes()
    assert raw.count(b"stepped_by_s REAL") == 1
    path.write_bytes(raw.replace(b"stepped_by_s REAL", b"stepped_by_r REAL"))
    journal = begin(moment=at(5000))
    assert journal.trouble().kind == "set-aside"
    assert "clock_steps is not as fermd made it" in journal.trouble().detail


@pytest.mark.parametrize("version", [0, 1])
def test_a_schema_version_that_went_back_does_not_stop_the_record(begin, path, version):
    filled(begin, readings=10)
    with closing(sqlite3.connect(path)) as connection:
        connection.execute(f"PRAGMA user_version = {version}")
    journal = begin(moment=at(5000))
    assert journal.trouble().kind == "set-aside"
    assert journal.flush()


def test_a_reader_leaves_the_log_of_a_journal_that_was_cut_to_nothing(begin, path, tmp_path):
    left = killed(begin, path, tmp_path)
    left.write_bytes(b"S")
    log = Path(f"{left}-wal").read_bytes()
    with pytest.raises(JournalUnreadable, match="not one page"):
        JournalReader(left).last_events(1)
    assert Path(f"{left}-wal").read_bytes() == log


def test_a_row_that_makes_no_sense_is_told_as_a_journal_that_cannot_be_read(begin, path):
    filled(begin, readings=10)
    with closing(sqlite3.connect(path)) as connection, connection:
        connection.execute("PRAGMA writable_schema = ON")
        connection.execute(
            "UPDATE sqlite_schema "
            "SET sql = replace(replace(sql, ' NOT NULL', ''), ') STRICT', ')') WHERE name = 'gaps'"
        )
    with closing(sqlite3.connect(path)) as connection, connection:
        connection.execute("UPDATE gaps SET wall_trusted = NULL")
    with pytest.raises(JournalUnreadable, match="restart the daemon"):
        JournalReader(path).last_events(9)


# -- files that cannot be written ---------------------------------------------------------------


def test_the_database_of_another_program_is_left_alone(begin, path):
    with closing(sqlite3.connect(path)) as connection, connection:
        connection.execute("CREATE TABLE recipes (name TEXT)")
    before = path.read_bytes()
    journal = begin()
    assert journal.trouble().kind == "not-writing"
    assert "another program" in journal.trouble().detail
    journal.close(at(1), cleanly=True)
    assert path.read_bytes() == before


def test_without_its_folder_the_journal_waits_and_writes_everything_once_it_is_there(
    begin, tmp_path
):
    path = tmp_path / "not-mounted" / "journal.sqlite"
    journal = begin(path=path)
    assert journal.outage().previous_boot_id is None
    journal.events(at(1), "lager", [GapSeen(1.0)])
    journal.readings([ReadingRow(at(1), "lager", "vessel", 12.0, None)])
    journal.remember(at(1), [LINE], [RECORD])
    trouble = journal.trouble()
    assert trouble.kind == "not-writing"
    assert "not-mounted is missing" in trouble.detail
    assert "create it" in trouble.detail
    path.parent.mkdir()
    assert eventually(lambda: journal.trouble() is None)
    assert journal.flush()
    happenings = [row.happening for row in JournalReader(path).last_events(9)]
    assert happenings[:2] == [DaemonRun("started", "1.0"), GapSeen(1.0)]
    assert isinstance(happenings[2], Incident)
    assert happenings[2].incident == "not-writing"
    assert rows(path, "SELECT count(*) FROM readings") == [(1,)]
    assert rows(path, "SELECT line FROM line_history") == [("GPIO17",)]


def test_rows_kept_in_memory_come_after_those_that_are_in_the_journal_already(begin, path):
    begin().close(at(50), cleanly=True)
    hidden = path.rename(path.with_name("hidden"))
    # A link to nowhere in its place: it cannot be opened, and is replaced in one step.
    path.symlink_to(path.parent / "missing" / "journal.sqlite")
    journal = begin(boot_id="second", moment=at(60))
    journal.events(at(61), "lager", [GapSeen(1.0)])
    assert journal.trouble().kind == "not-writing"
    hidden.replace(path)
    assert eventually(lambda: journal.trouble() is None)
    journal.close(at(70), cleanly=True)
    seqs = rows(path, "SELECT seq, kind FROM what_happened ORDER BY seq")
    assert [kind for _, kind in seqs] == ["daemon", "daemon", "daemon", "gap", "journal", "daemon"]
    assert len({seq for seq, _ in seqs}) == len(seqs)


def test_another_programs_lock_is_waited_out_and_nothing_is_lost(begin, path):
    journal = begin()
    with closing(sqlite3.connect(path, isolation_level=None)) as other:
        other.execute("BEGIN EXCLUSIVE")
        began_s = time.monotonic()
        for second in range(1, 200):
            journal.events(at(second), "lager", [GapSeen(float(second))])
        assert time.monotonic() - began_s < 0.2  # the loop does not wait for the lock
        assert eventually(lambda: journal.trouble() is not None)
        trouble = journal.trouble()
        assert trouble.kind == "not-writing"
        assert "locked" in trouble.detail
        assert "end the program" in trouble.detail
        other.execute("ROLLBACK")
    assert eventually(lambda: journal.trouble() is None)
    assert rows(path, "SELECT lasted_s FROM gaps ORDER BY seq") == [
        (float(second),) for second in range(1, 200)
    ]
    [(incident, detail, lost)] = rows(
        path, "SELECT incident, detail, lost_events FROM journal_incidents"
    )
    assert (incident, lost) == ("not-writing", 0)
    assert "locked" in detail


class Failing(sqlite3.Connection):
    """A disk that fails at every change, for as long as it is told to."""

    fails = False
    asked = 0

    def execute(self, sql: str, *parameters: object) -> sqlite3.Cursor:
        if Failing.fails and sql.startswith("BEGIN IMMEDIATE"):
            Failing.asked += 1
            error = sqlite3.OperationalError("disk I/O error")
            error.sqlite_errorcode = sqlite3.SQLITE_IOERR
            raise error
        return super().execute(sql, *parameters)


@pytest.fixture
def checks(monkeypatch) -> list[sqlite3.Connection]:
    """Every time that a whole file is read for faults."""
    seen = []

    def counted(connection):
        seen.append(connection)
        return first_fault(connection)

    monkeypatch.setattr(examining, "first_fault", counted)
    monkeypatch.setattr(journal_file, "first_fault", counted)
    return seen


@pytest.fixture(params=["checked at once", "checked in the thread"])
def size(request, monkeypatch) -> None:
    if request.param == "checked in the thread":
        monkeypatch.setattr(opening, "CHECK_AT_ONCE_BYTES", 1)


@pytest.mark.usefixtures("size")
def test_while_another_program_holds_the_lock_the_file_is_not_read_for_faults_at_every_try(
    begin, path, checks
):
    filled(begin)
    checks.clear()
    journal = begin()
    assert journal.flush()
    with closing(sqlite3.connect(path, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        journal.events(at(10), "lager", [GapSeen(1.0)])
        assert eventually(lambda: journal.trouble() is not None)
        for _ in range(5):
            assert not journal.flush()
        other.execute("ROLLBACK")
        assert eventually(lambda: journal.flush() and journal.trouble() is None)
    assert len(checks) == 1


@pytest.mark.usefixtures("size")
def test_after_an_error_of_the_disk_the_file_is_read_for_faults_once(
    begin, path, checks, monkeypatch
):
    filled(begin)
    checks.clear()
    real = sqlite3.connect
    monkeypatch.setattr(
        opening.sqlite3, "connect", lambda *given, **more: real(*given, factory=Failing, **more)
    )
    journal = begin()
    journal.events(at(9), "lager", [GapSeen(1.0)])
    assert journal.flush()
    assert len(checks) == 1
    for failures in (2, 3):
        Failing.fails, Failing.asked = True, 0
        try:
            journal.events(at(10), "lager", [GapSeen(2.0)])
            assert eventually(lambda: journal.trouble() is not None)
            for _ in range(5):
                assert not journal.flush()
        finally:
            Failing.fails = False
        assert eventually(lambda: journal.flush() and journal.trouble() is None)
        assert Failing.asked > failures
        assert len(checks) == failures


def test_a_spoilt_journal_keeps_its_name_until_another_can_be_begun(
    begin, path, checks, monkeypatch
):
    filled(begin)
    torn_page(path)
    real = sqlite3.connect
    monkeypatch.setattr(
        opening.sqlite3, "connect", lambda *given, **more: real(*given, factory=Failing, **more)
    )
    Failing.fails = True
    try:
        journal = begin(boot_id="second", moment=at(5000))
        assert journal.outage().chambers == (RECORD,)
        checks.clear()
        for _ in range(3):
            assert not journal.flush()
        trouble = journal.trouble()
        assert trouble.kind == "not-writing"
        assert "no other can be begun: disk I/O error" in trouble.detail
        assert kept_aside(path) == []
        assert checks == []  # what is wrong with it is known
        # Nor is it lost for a start to come that this one ends before the disk is well.
        journal.close(at(5001), cleanly=False)
        journal = begin(boot_id="third", moment=at(6000))
        assert journal.outage().chambers == (RECORD,)
    finally:
        Failing.fails = False
    assert eventually(lambda: journal.flush() and journal.trouble().kind == "set-aside")
    assert len(kept_aside(path)) == 1
    assert rows(path, "SELECT incident FROM journal_incidents ORDER BY seq") == [
        ("set-aside",),
        ("not-writing",),
    ]
    assert rows(path, "SELECT state_json FROM chamber_records") == [(RECORD.state_json,)]
    assert list(path.parent.glob("*.begun*")) == []


def test_a_file_that_was_changed_while_it_was_let_go_is_read_for_faults_again(
    begin, path, checks, tmp_path
):
    filled(begin)
    journal = begin()
    assert journal.flush()
    checks.clear()
    spare = tmp_path / "spare.sqlite"
    path.rename(spare)
    path.write_bytes(spare.read_bytes())
    journal.events(at(10), "lager", [GapSeen(1.0)])
    assert journal.flush()
    assert len(checks) == 1


def test_beyond_the_bound_readings_go_first_then_the_oldest_events_and_all_are_counted(begin, path):
    settings = JournalSettings(
        most_rows_in_memory=100, linger_s=0.0, busy_s=0.05, first_retry_s=0.02
    )
    journal = begin(settings=settings)
    with closing(sqlite3.connect(path, isolation_level=None)) as other:
        other.execute("BEGIN EXCLUSIVE")
        journal.events(at(0), "lager", [GapSeen(0.0)])
        assert eventually(lambda: journal.trouble() is not None)
        for second in range(1, 121):
            journal.readings([ReadingRow(at(second), "lager", "vessel", 12.0, None)])
        for second in range(121, 241):
            journal.events(at(second), "lager", [GapSeen(float(second))])
        other.execute("ROLLBACK")
    assert eventually(lambda: journal.trouble() is None)
    assert journal.flush()
    [(readings,)] = rows(path, "SELECT count(*) FROM readings")
    lasted = [s for (s,) in rows(path, "SELECT lasted_s FROM gaps ORDER BY seq")]
    [(lost_readings, lost_events)] = rows(
        path, "SELECT lost_readings, lost_events FROM journal_incidents"
    )
    assert readings == 0
    assert lasted == [float(second) for second in range(141, 241)]
    assert (lost_readings, lost_events) == (120, 21)


FULL_DISK = """
import json, resource, sys, time
from pathlib import Path
from fermd.control.events import GapSeen
from fermd.control.moment import Moment
from fermd.journal.ports import ReadingRow
from fermd.journal.settings import JournalSettings
from fermd.journal.writer import SqliteJournal

def at(s): return Moment(float(s), 1.79e9 + s, True)
quick = JournalSettings(linger_s=0.0, first_retry_s=0.02, longest_retry_s=0.05)
journal = SqliteJournal(Path(sys.argv[1]), boot_id="b", moment=at(0), version="1", settings=quick)
journal.flush()
_, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
resource.setrlimit(resource.RLIMIT_FSIZE, (200_000, hard))
told, slowest_s = None, 0.0
for second in range(1, 3000):
    began_s = time.monotonic()
    journal.readings([ReadingRow(at(second), "lager", "vessel", 12.0, None)])
    journal.events(at(second), "lager", [GapSeen(float(second))])
    slowest_s = max(slowest_s, time.monotonic() - began_s)
    if told is None and second % 50 == 0:
        journal.flush()
        trouble = journal.trouble()
        told = trouble and [second, trouble.kind, trouble.detail]
resource.setrlimit(resource.RLIMIT_FSIZE, (hard, hard))
recovered = journal.flush() or journal.flush()
journal.close(at(3000), cleanly=True)
print(json.dumps([told, slowest_s, recovered]))
"""


def test_a_full_disk_is_told_of_and_when_there_is_room_again_nothing_is_missing(path):
    done = subprocess.run(
        [sys.executable, "-c", FULL_DISK, str(path)], capture_output=True, text=True, check=True
    )
    (second, kind, detail), slowest_s, recovered = json.loads(done.stdout)
    assert kind == "not-writing"
    assert "full" in detail
    assert second > 50
    assert slowest_s < 0.5
    assert recovered
    lasted = [s for (s,) in rows(path, "SELECT lasted_s FROM gaps ORDER BY seq")]
    assert lasted == [float(n) for n in range(1, 3000)]
    assert rows(path, "SELECT count(*) FROM readings") == [(2999,)]
    assert ("not-writing",) in rows(path, "SELECT incident FROM journal_incidents")
    assert rows(path, "PRAGMA integrity_check") == [("ok",)]


READ_ONLY_FOLDER = """
import json, os, sys
from pathlib import Path
from fermd.control.moment import Moment
from fermd.journal.writer import SqliteJournal
if os.geteuid() == 0:
    os.setgid(65534); os.setuid(65534)
journal = SqliteJournal(
    Path(sys.argv[1]), boot_id="two", moment=Moment(1.0, 1.0, True), version="1"
)
outage, trouble = journal.outage(), journal.trouble()
journal.note(Moment(2.0, 2.0, True), "", "Ann", "goes on")
journal.close(Moment(3.0, 3.0, True), cleanly=True)
print(json.dumps([
    trouble.kind, trouble.detail, outage.ended_cleanly, len(outage.lines),
    [each.state_json for each in outage.chambers],
]))
"""


@pytest.mark.parametrize("file_mode", [0o644, 0o000])
def test_a_read_only_folder_leaves_the_run_without_a_file_but_with_the_progress_if_readable(
    begin, tmp_path, file_mode
):
    folder = tmp_path / "ro"
    folder.mkdir()
    path = folder / "journal.sqlite"
    journal = begin(path=path)
    journal.remember(at(1), [LINE], [RECORD])
    journal.close(at(2), cleanly=True)
    path.chmod(file_mode)
    folder.chmod(0o555)
    for parent in tmp_path.parents:
        if "pytest" not in parent.name and "popen" not in parent.name:
            break
        parent.chmod(0o755)
    tmp_path.chmod(0o755)
    try:
        done = subprocess.run(
            [sys.executable, "-c", READ_ONLY_FOLDER, str(path)],
            capture_output=True,
            text=True,
            check=True,
            env={**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)},
        )
    finally:
        folder.chmod(0o755)
    kind, detail, cleanly, lines, chambers = json.loads(done.stdout)
    assert kind == "not-writing"
    assert str(path) in detail
    assert "writable" in detail or "give the daemon's user access" in detail
    assert (cleanly, lines) == (False, 0)
    assert chambers == ([RECORD.state_json] if file_mode else [])


def test_a_journal_deleted_under_the_daemon_is_begun_anew(begin, path):
    journal = begin()
    journal.remember(at(1), [LINE], [RECORD])
    assert journal.flush()
    for suffix in ("", "-wal", "-shm"):
        Path(f"{path}{suffix}").unlink()
    journal.events(at(2), "lager", [GapSeen(2.0)])
    assert journal.flush()
    assert rows(path, "SELECT lasted_s FROM gaps") == [(2.0,)]
    assert rows(path, "SELECT change FROM daemon_runs") == [("continued",)]
    assert rows(path, "SELECT line FROM line_history") == [("GPIO17",)]


def test_a_reader_that_never_ends_is_noticed_and_the_log_is_cut_when_it_does(
    begin, path, monkeypatch
):
    monkeypatch.setattr(journal_file, "LARGEST_WAL_BYTES", 200_000)
    journal = begin()
    with closing(sqlite3.connect(path, isolation_level=None)) as reader:
        reader.execute("BEGIN")
        reader.execute("SELECT count(*) FROM gaps").fetchone()
        for second in range(1, 100):
            journal.events(at(second), "lager", [GapSeen(float(n)) for n in range(100)])
            assert journal.flush()
        assert journal.figures().wal_held_by_reader
        assert journal.figures().wal_bytes > 200_000
        assert journal.trouble() is None
    journal.events(at(200), "lager", [GapSeen(1.0)])
    assert journal.flush()
    assert not journal.figures().wal_held_by_reader
    assert journal.figures().wal_bytes <= 200_000
    [(incident, detail)] = rows(path, "SELECT incident, detail FROM journal_incidents")
    assert incident == "write-ahead-log-held"
    assert "end it" in detail


def test_closing_does_not_wait_for_ever_for_a_lock(begin, path):
    journal = begin()
    with closing(sqlite3.connect(path, isolation_level=None)) as other:
        other.execute("BEGIN EXCLUSIVE")
        began_s = time.monotonic()
        journal.close(at(1), cleanly=True)
        assert time.monotonic() - began_s < 10 * IMPATIENT.busy_s
        other.execute("ROLLBACK")
    assert rows(path, "SELECT change FROM daemon_runs") == [("started",)]


def test_what_cannot_be_read_is_told_with_the_file_and_what_to_do(path):
    with pytest.raises(JournalUnreadable, match=r"journal\.sqlite.*does not exist.*check the path"):
        JournalReader(path).last_events(1)
    garbage(path)
    with pytest.raises(JournalUnreadable, match=r"journal\.sqlite.*not a database"):
        JournalReader(path).last_events(1)


def test_a_schema_that_is_no_text_any_more_is_told_of_and_set_aside(begin, path):
    """SQLite cites it in its message, which is no text then either."""
    begin().close(at(1), cleanly=True)
    whole = path.read_bytes()
    spoilt = whole.replace(b"CREATE INDEX rollup_minute", b"CREATE IN\xc5EX rollup_minute")
    assert spoilt != whole
    path.write_bytes(spoilt)
    with pytest.raises(JournalUnreadable, match="malformed database schema"):
        JournalReader(path).last_events(1)
    assert begin(boot_id="two", moment=at(2)).trouble().kind == "set-aside"
    aside, *_ = sorted(path.parent.glob("*.set-aside-*"))
    assert aside.read_bytes() == spoilt


def test_a_header_that_forbids_writing_is_damage_and_not_a_matter_of_permissions(begin, path):
    begin().close(at(1), cleanly=True)
    with path.open("r+b") as raw:
        raw.seek(18)
        raw.write(b"\x03")
    spoilt = path.read_bytes()
    journal = begin(boot_id="two", moment=at(2))
    assert journal.flush()
    assert journal.trouble().kind == "set-aside"
    aside, *_ = sorted(path.parent.glob("*.set-aside-*"))
    assert aside.read_bytes() == spoilt


def test_a_record_that_was_cut_short_is_told_of_and_not_added_up(begin, path):
    """SQLite gives NULL for the columns at the end that a damaged record does not have."""
    begin().close(at(1), cleanly=True)
    with closing(sqlite3.connect(path, isolation_level=None)) as other:
        other.execute("PRAGMA writable_schema = ON")
        other.execute(
            "UPDATE sqlite_schema SET sql = replace(sql, 'lost_events INTEGER NOT NULL', "
            "'lost_events INTEGER') WHERE name = 'journal_incidents'"
        )
        other.execute("PRAGMA writable_schema = RESET")
        other.execute(
            "INSERT INTO journal_incidents (seq, boot, mono_s, wall_utc_s, wall_trusted, incident, "
            "detail, lost_readings) VALUES (99, 1, 1.0, 1.0, 1, 'not-writing', 'full', 0)"
        )
    with pytest.raises(JournalUnreadable, match="a row has no lost_events"):
        JournalReader(path).last_events(5)
    with (
        pytest.raises(JournalNotForReview, match="a row of journal_incidents is damaged"),
        opened(path) as db,
    ):
        read_course(db, TimeAxis({1: 0.0}), "lager", 0.0, 10.0)
