"""What was committed outlives the process; what a restart goes on from is believed with care."""

from __future__ import annotations

import signal
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import pytest
from journal_bench import WALL_S, at, rows

from fermd.control.events import GapSeen, OutputChanged, TargetChanged
from fermd.control.moment import Moment
from fermd.control.reasons import Reason, Rule
from fermd.control.settings import Duty
from fermd.journal.ports import ChamberRecord, LineHistory, ReadingRow
from fermd.journal.reader import JournalReader
from fermd.journal.rows import DaemonRun, PresumedOff

WRITES_UNTIL_KILLED = """
import sys
from pathlib import Path
from fermd.control.events import GapSeen
from fermd.control.moment import Moment
from fermd.journal.ports import ChamberRecord, ReadingRow
from fermd.journal.writer import SqliteJournal

journal = SqliteJournal(Path(sys.argv[1]), boot_id="b", moment=Moment(0.0), version="1")
for n in range(1, 100000):
    now = Moment(float(n), float(n), True)
    journal.readings([ReadingRow(now, "lager", "vessel", float(n), None)])
    journal.events(now, "lager", [GapSeen(float(n))])
    journal.remember(now, [], [ChamberRecord("lager", str(n))])
    if journal.flush():
        print(n, flush=True)
"""

FRIDGE_ON = OutputChanged(Duty.COOL, "fridge", "GPIO17", True, (Reason(Rule.ABOVE_BAND),))
FRIDGE_OFF = OutputChanged(Duty.COOL, "fridge", "GPIO17", False, (Reason(Rule.WITHIN_BAND),))
LINE = LineHistory("GPIO17", False, 900.5, 300.25, (100.0, 300.25), None)
RECORD = ChamberRecord("lager", '{"index":2,"elapsed_s":4000.5}')


def test_every_committed_row_is_there_after_kill_9(path):
    writer = subprocess.Popen(
        [sys.executable, "-c", WRITES_UNTIL_KILLED, str(path)], stdout=subprocess.PIPE, text=True
    )
    with writer:
        told = [int(writer.stdout.readline()) for _ in range(25)]
        writer.send_signal(signal.SIGKILL)
        told += [int(line) for line in writer.stdout]
    last = told[-1]
    lasted = [s for (s,) in rows(path, "SELECT lasted_s FROM gaps ORDER BY seq")]
    assert lasted[:last] == [float(n) for n in range(1, last + 1)]
    temps = [t for (t,) in rows(path, "SELECT temp_c FROM readings ORDER BY seq")]
    assert temps[:last] == lasted[:last]
    [(remembered,)] = rows(path, "SELECT state_json FROM chamber_records")
    assert int(remembered) >= last


def test_a_new_journal_knows_of_nothing(begin):
    outage = begin().outage()
    assert outage.previous_boot_id is None
    assert outage.last is None
    assert not outage.ended_cleanly
    assert (outage.lines, outage.chambers) == ((), ())


def test_an_orderly_stop_is_known_with_everything_remembered(begin):
    journal = begin(boot_id="one")
    journal.remember(at(1000), [LINE], [RECORD])
    journal.close(at(1001), cleanly=True)
    outage = begin(boot_id="one", moment=at(1100)).outage()
    assert outage.previous_boot_id == "one"
    assert outage.ended_cleanly
    assert outage.last == at(1001)
    assert outage.lines == (LINE,)
    assert outage.chambers == (RECORD,)
    assert outage.chambers[0].boot_id == "one"


def test_a_stop_after_a_fault_is_no_orderly_one(begin):
    begin().close(at(5), cleanly=False)
    assert not begin(moment=at(6)).outage().ended_cleanly


def test_a_run_that_never_said_goodbye_is_no_orderly_one(begin):
    journal = begin(boot_id="one")
    journal.close(at(5), cleanly=True)
    killed = begin(boot_id="one", moment=at(10))
    killed.remember(at(20), [LINE], [])
    assert killed.flush()
    outage = begin(boot_id="one", moment=at(30)).outage()
    assert not outage.ended_cleanly
    assert outage.last == at(20)


def test_times_of_an_older_boot_are_never_taken_for_those_of_the_last(begin):
    journal = begin(boot_id="one")
    journal.remember(at(1000), [LINE], [RECORD])
    journal.close(at(1001), cleanly=True)
    begin(boot_id="two", moment=at(3))  # ends without a word before it remembers anything
    outage = begin(boot_id="two", moment=at(9)).outage()
    # Of the run that was in charge of nothing there is nothing to know but that it did not stop.
    assert outage.previous_boot_id == "one"
    assert outage.last == at(1001)
    assert not outage.ended_cleanly
    assert [each.boot_id for each in outage.chambers] == ["one"]


def test_an_output_left_on_by_a_killed_daemon_is_presumed_off_since_its_last_known_moment(
    begin, path
):
    killed = begin(boot_id="one")
    killed.events(at(100), "lager", [FRIDGE_ON])
    killed.remember(at(160), [LINE], [RECORD])
    assert killed.flush()
    begin(boot_id="two", moment=at(5, wall_utc_s=WALL_S + 9000)).close(at(6), cleanly=True)
    found = JournalReader(path).last_events(99)
    [presumed] = [row for row in found if isinstance(row.happening, PresumedOff)]
    assert presumed.happening.change.output == "fridge"
    assert presumed.moment == at(160)
    kinds = [type(row.happening) for row in found]
    assert kinds.index(PresumedOff) > kinds.index(OutputChanged)
    assert found[kinds.index(PresumedOff) + 1].happening == DaemonRun("started", "1.0")
    assert [row.seq for row in found] == sorted({row.seq for row in found})
    [run] = JournalReader(path).output_runs(0.0, 1e12)
    assert (run.lasted_s, run.end_presumed) == (60.0, True)
    assert rows(path, "SELECT count(*) FROM output_changes WHERE certainty = 'observed'") == [(1,)]


def test_an_output_that_was_seen_to_go_off_is_not_presumed_off_again(begin, path):
    killed = begin(boot_id="one")
    killed.events(at(100), "lager", [FRIDGE_ON])
    killed.events(at(400), "lager", [FRIDGE_OFF])
    assert killed.flush()
    begin(boot_id="two").close(at(6), cleanly=True)
    assert rows(path, "SELECT is_on, certainty FROM output_changes ORDER BY seq") == [
        (1, "observed"),
        (0, "observed"),
    ]


def test_a_line_whose_row_was_spoilt_is_left_out_and_the_others_stay(begin, path):
    other = LineHistory("GPIO27", True, None, 500.0, (500.0,), 2000.0)
    journal = begin(boot_id="one")
    journal.remember(at(1000), [LINE, other], [RECORD, ChamberRecord("ale", "{}")])
    journal.close(at(1001), cleanly=True)
    with closing(sqlite3.connect(path)) as connection, connection:
        connection.execute("UPDATE line_history SET stopped_mono_s = 100.5 WHERE line = 'GPIO17'")
        connection.execute("UPDATE chamber_records SET state_json = '{}' WHERE chamber = 'lager'")
    outage = begin(boot_id="one", moment=at(1100)).outage()
    assert outage.lines == (other,)
    assert [each.chamber for each in outage.chambers] == ["ale"]


def test_what_is_remembered_replaces_what_was_before(begin, path):
    journal = begin()
    journal.remember(at(1), [LINE], [RECORD, ChamberRecord("ale", "{}")])
    journal.events(at(2), "lager", [TargetChanged(12.0, 12.0, "hand")])
    journal.remember(at(2), [LineHistory("GPIO5", False, None, None, (), None)], [RECORD])
    journal.close(at(3), cleanly=True)
    assert rows(path, "SELECT line FROM line_history") == [("GPIO5",)]
    assert rows(path, "SELECT chamber FROM chamber_records") == [("lager",)]


def test_a_step_that_ended_is_on_the_disk_with_its_event_though_the_state_came_first(begin, path):
    journal = begin()
    journal.remember(at(1), [], [ChamberRecord("lager", "step 1")])
    assert journal.flush()
    journal.remember(at(11), [], [ChamberRecord("lager", "step 2")])
    journal.events(at(11), "lager", [TargetChanged(2.0, 2.0, "profile")])
    assert journal.flush()
    assert rows(path, "SELECT state_json FROM chamber_records") == [("step 2",)]


def test_a_compressors_stop_is_on_the_disk_at_once_without_any_event(begin, path):
    journal = begin()
    running = LineHistory("GPIO17", True, None, 5.0, (5.0,), None)
    journal.remember(at(5), [running], [RECORD])
    assert journal.flush()
    stopped = LineHistory("GPIO17", False, 65.0, 5.0, (5.0,), None)
    journal.remember(at(65), [stopped], [RECORD])
    assert journal.flush()
    assert rows(path, "SELECT is_on, stopped_mono_s FROM line_history") == [(0, 65.0)]


def test_the_progress_of_a_quiet_chamber_is_written_every_ten_minutes_and_at_the_end(begin, path):
    journal = begin()
    written = []
    for minute in range(25):
        record = ChamberRecord("lager", f"minute {minute}")
        journal.remember(at(minute * 60.0), [LINE], [record])
        assert journal.flush()
        written.append(rows(path, "SELECT state_json FROM chamber_records")[0][0])
    assert sorted(set(written), key=written.index) == ["minute 0", "minute 10", "minute 20"]
    journal.close(at(1500), cleanly=True)
    assert rows(path, "SELECT state_json FROM chamber_records") == [("minute 24",)]


def test_a_run_that_could_not_note_its_start_leaves_word_for_the_next(begin, path, tmp_path):
    marker = tmp_path / "run" / "run-not-ended"
    marker.parent.mkdir()
    first = begin(boot_id="one", marker=marker)
    first.remember(at(10), [LINE], [RECORD])
    first.close(at(11), cleanly=True)
    assert not marker.exists()
    with closing(sqlite3.connect(path, isolation_level=None)) as other:
        other.execute("BEGIN EXCLUSIVE")
        unnoted = begin(boot_id="one", moment=at(20), marker=marker)
        assert not unnoted.outage().ended_cleanly
        assert unnoted.outage().lines == ()
        assert unnoted.outage().chambers == (RECORD,)
        assert unnoted.trouble().kind == "not-writing"
        unnoted.close(at(30), cleanly=False)
        other.execute("ROLLBACK")
    assert marker.read_text() == "one\n"
    following = begin(boot_id="one", moment=at(40), marker=marker)
    assert not following.outage().ended_cleanly
    assert following.outage().lines == ()
    assert following.outage().chambers == (RECORD,)
    following.close(at(50), cleanly=True)
    assert not marker.exists()


def damage_nothing(path: Path) -> None:
    """What a kill leaves."""


def lose_the_log(path: Path) -> None:
    path.with_name(path.name + "-wal").unlink()


def lose_the_logs_beginning(path: Path) -> None:
    log = path.with_name(path.name + "-wal")
    # One page is left, and it cannot be told any more that it was a whole transaction.
    log.write_bytes(bytes(512) + log.read_bytes()[512:1200])


@pytest.mark.parametrize("damage", [damage_nothing, lose_the_log, lose_the_logs_beginning])
def test_an_orderly_stop_is_not_believed_once_another_run_has_begun_after_it(
    begin, path, tmp_path, damage
):
    """The compressor may have run in the second run: what the first said of it is too old."""
    marker = tmp_path / "run-not-ended"
    begin(boot_id="one", marker=marker).close(at(11), cleanly=True)
    first = begin(boot_id="one", moment=at(12), marker=marker)
    first.remember(at(20), [LINE], [RECORD])
    first.close(at(21), cleanly=True)
    killed = begin(boot_id="one", moment=at(30), marker=marker)
    assert killed.outage().ended_cleanly
    assert killed.outage().lines == (LINE,)
    killed.remember(at(40), [], [RECORD])
    assert killed.flush()
    log = path.with_name(path.name + "-wal")
    left = {file: file.read_bytes() for file in (path, log)}
    word = marker.read_text()
    killed.close(at(41), cleanly=True)
    for file, data in left.items():
        file.write_bytes(data)
    marker.write_text(word)
    damage(path)
    following = begin(boot_id="one", moment=at(60), marker=marker)
    assert not following.outage().ended_cleanly
    assert following.outage().lines == ()
    assert following.outage().chambers == (RECORD,)


def test_a_log_without_its_beginning_hides_a_run_also_where_no_word_was_left(begin, path):
    begin(boot_id="one").close(at(11), cleanly=True)
    killed = begin(boot_id="one", moment=at(30))
    assert killed.flush()
    log = path.with_name(path.name + "-wal")
    left = {file: file.read_bytes() for file in (path, log)}
    killed.close(at(41), cleanly=True)
    for file, data in left.items():
        file.write_bytes(data)
    lose_the_logs_beginning(path)
    assert not begin(boot_id="one", moment=at(60)).outage().ended_cleanly


def test_word_left_in_an_earlier_boot_means_nothing(begin, tmp_path):
    marker = tmp_path / "run-not-ended"
    begin(boot_id="two").close(at(1), cleanly=True)
    marker.write_text("one\n")
    assert begin(boot_id="two", moment=at(2), marker=marker).outage().ended_cleanly


def test_readings_wait_for_their_batch_and_go_with_whatever_is_written(begin, path):
    journal = begin()
    for second in range(0, 300, 10):
        journal.readings([ReadingRow(at(second), "lager", "vessel", 12.0, None)])
    assert journal.settle()
    assert rows(path, "SELECT count(*) FROM readings") == [(0,)]
    journal.note(at(300), "lager", "Ann", "dry hops")
    assert journal.settle()
    assert rows(path, "SELECT count(*) FROM readings") == [(30,)]
    for second in range(310, 920, 10):
        journal.readings([ReadingRow(at(second), "lager", "vessel", 12.0, None)])
    assert journal.settle()
    assert rows(path, "SELECT count(*) FROM readings") == [(91,)]


def test_closing_twice_and_writing_after_it_changes_nothing(begin, path):
    journal = begin()
    journal.close(at(1), cleanly=True)
    journal.close(at(2), cleanly=False)
    journal.note(at(3), "lager", "Ann", "too late")
    journal.readings([ReadingRow(at(3), "lager", "vessel", 1.0, None)])
    journal.remember(at(3), [LINE], [RECORD])
    assert rows(path, "SELECT change, cleanly FROM daemon_runs") == [
        ("started", None),
        ("stopped", 1),
    ]
    assert not Path(f"{path}-wal").exists()


def test_the_wall_clock_of_rows_from_before_it_was_set_is_mended(begin, path):
    journal = begin(moment=Moment(5.0, 100.0))
    journal.readings([ReadingRow(Moment(10.0, 105.0), "lager", "vessel", 12.0, None)])
    journal.events(Moment(10.0, 105.0), "lager", [TargetChanged(12.0, 12.0, "hand")])
    journal.remember(Moment(10.0, 105.0), [LINE], [RECORD])
    assert journal.flush()
    assert rows(path, "SELECT DISTINCT wall_trusted FROM readings") == [(0,)]
    journal.clock_stepped(Moment(20.0, WALL_S + 20, wall_trusted=True), WALL_S - 95.0)
    journal.events(at(30), "lager", [TargetChanged(13.0, 13.0, "hand")])
    assert journal.flush()
    for table in ("readings", "daemon_runs", "line_history", "chamber_records"):
        found = rows(path, f"SELECT wall_utc_s - mono_s, wall_trusted FROM {table}")  # noqa: S608 - constants
        assert found == [(WALL_S, 2)], table
    targets = [
        row
        for row in JournalReader(path).last_events(99)
        if isinstance(row.happening, TargetChanged)
    ]
    assert [(row.moment, row.wall_mended) for row in targets] == [(at(10), True), (at(30), False)]
    [(told,)] = rows(path, "SELECT detail FROM journal_incidents WHERE incident = 'wall-mended'")
    assert told.startswith("5 rows")


def test_rows_of_a_process_before_in_the_same_boot_are_mended_too_and_of_another_boot_not(
    begin, path
):
    begin(boot_id="old", moment=Moment(5.0, 100.0)).close(Moment(6.0, 101.0), cleanly=True)
    begin(boot_id="new", moment=Moment(5.0, 200.0)).close(Moment(6.0, 201.0), cleanly=True)
    begin(boot_id="new", moment=at(50)).close(at(60), cleanly=True)
    walls = rows(path, "SELECT wall_utc_s, wall_trusted FROM daemon_runs ORDER BY seq")
    assert walls[:2] == [(100.0, 0), (101.0, 0)]
    assert walls[2:] == [
        (WALL_S + 5, 2),
        (WALL_S + 6, 2),
        (WALL_S + 50, 1),
        (WALL_S + 60, 1),
    ]


@pytest.mark.parametrize("part", range(0, 100, 7))
def test_a_log_torn_by_a_power_cut_gives_back_whole_transactions_from_the_first_on(
    begin, path, tmp_path, part
):
    journal = begin()
    for second in range(1, 40):
        journal.events(at(second), "lager", [GapSeen(float(second)), GapSeen(-float(second))])
        assert journal.flush()
    torn = tmp_path / "torn.sqlite"
    torn.write_bytes(path.read_bytes())
    log = Path(f"{path}-wal").read_bytes()
    Path(f"{torn}-wal").write_bytes(log[: len(log) * part // 100] + b"\xff" * 512)
    after = begin(path=torn, boot_id="after")
    assert after.trouble() is None
    assert after.flush()
    lasted = [s for (s,) in rows(torn, "SELECT lasted_s FROM gaps ORDER BY seq")]
    pairs = len(lasted) // 2
    assert lasted == [sign * n for n in range(1, pairs + 1) for sign in (1.0, -1.0)]
    assert rows(torn, "PRAGMA integrity_check") == [("ok",)]
