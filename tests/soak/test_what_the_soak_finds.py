"""What the soak looks with can find: each promise broken in a record made for it is told of."""

from __future__ import annotations

import sqlite3
import struct
from collections.abc import Sequence
from contextlib import closing
from pathlib import Path

import pytest
from outside_reader import committed_rows, lost, newest_seq
from pin_record import PinRecord, Told
from process_rig import BELT_GPIO, FRIDGE_GPIO, Edge
from soak_board import SOAK_PACE, Life
from torn_copy import commit_ends, copy_journal, cut_log, is_torn, wal_of, whole_up_to
from two_chambers import COOLER_GPIO, WIRE

from fermd.control.events import TargetChanged
from fermd.control.moment import Moment
from fermd.journal.writer import SqliteJournal

PID = 10
START_S = 100_000.0


def edge(at_s: float, gpio: int, on: bool, pid: int = PID) -> Edge:
    return Edge(at_s / SOAK_PACE, pid, gpio, on, SOAK_PACE)


def claim(at_s: float = START_S, pid: int = PID) -> list[Edge]:
    """Every line driven off, as at a start."""
    return [edge(at_s, gpio, False, pid) for gpio in WIRE]


def lived(born_s: float, died_s: float, code: int = 0, pid: int = PID) -> Life:
    return Life(pid, born_s - 1.0, "boot", "a test", died_s, code, ticked=True)


def faults(
    *switched: tuple[float, int, bool],
    told: Sequence[Told] | None = None,
    life: Life | None = None,
    must_be_off: Sequence[tuple[int, float, float, str]] = (),
) -> list[str]:
    """What is wrong with one process that switched so (s after its start)."""
    edges = [*claim(), *(edge(START_S + at_s, gpio, on) for at_s, gpio, on in switched)]
    rows = [Told(WIRE[gpio].line, on, START_S + at_s) for at_s, gpio, on in switched]
    record = PinRecord(
        edges,
        [life or lived(START_S, START_S + 10_000.0)],
        [],
        rows if told is None else told,
        must_be_off=must_be_off,
    )
    return record.faults()


RUN = ((400.0, FRIDGE_GPIO, True), (600.0, FRIDGE_GPIO, False))


def test_a_run_after_the_worst_past_and_a_pause_that_is_long_enough_is_as_it_should_be() -> None:
    again = ((780.0, FRIDGE_GPIO, True), (900.0, FRIDGE_GPIO, False))
    assert faults(*RUN, *again) == []


@pytest.mark.parametrize(
    ("switched", "words"),
    [
        ((*RUN, (779.0, FRIDGE_GPIO, True), (1000.0, FRIDGE_GPIO, False)), "off for 179.0 s only"),
        (((299.0, FRIDGE_GPIO, True), (500.0, FRIDGE_GPIO, False)), "an unknown past"),
        ((*RUN, (659.0, BELT_GPIO, True), (700.0, BELT_GPIO, False)), "on 59.0 s after fridge"),
        (
            (
                (400.0, FRIDGE_GPIO, True),
                (500.0, BELT_GPIO, True),
                (600.0, FRIDGE_GPIO, False),
                (700.0, BELT_GPIO, False),
            ),
            "belt went on with fridge on",
        ),
        (
            (
                (400.0, FRIDGE_GPIO, True),
                (450.0, COOLER_GPIO, True),
                (600.0, FRIDGE_GPIO, False),
                (700.0, COOLER_GPIO, False),
            ),
            "the supply carried 3 A",
        ),
        (((400.0, FRIDGE_GPIO, True), (2500.0, FRIDGE_GPIO, False)), "fridge ran for 2100 s"),
        (((400.0, FRIDGE_GPIO, True),), "left {17} on"),
    ],
)
def test_pins_that_break_a_promise_are_told_of(
    switched: tuple[tuple[float, int, bool], ...], words: str
) -> None:
    assert any(words in text for text in faults(*switched)), faults(*switched)


def test_thirteen_starts_within_an_hour_are_one_too_many() -> None:
    switched: list[tuple[float, int, bool]] = []
    for n in range(13):
        switched += [
            (400.0 + 290.0 * n, FRIDGE_GPIO, True),
            (500.0 + 290.0 * n, FRIDGE_GPIO, False),
        ]
    assert any("started 13 times in an hour" in text for text in faults(*switched))


def test_a_line_on_before_every_line_was_driven_off_is_told_of() -> None:
    edges = [edge(START_S, FRIDGE_GPIO, True), *claim(START_S + 500.0)]
    record = PinRecord(edges, [lived(START_S, START_S + 1000.0)], [], [])
    assert any("unseen" in text for text in record.faults())


def test_an_output_on_with_a_probe_that_has_failed_is_told_of() -> None:
    found = faults(*RUN, must_be_off=[(FRIDGE_GPIO, START_S + 450.0, START_S + 550.0, "blind")])
    assert any("blind" in text for text in found)


def test_a_switching_that_is_not_in_the_journal_is_told_of_unless_the_kill_came_with_it() -> None:
    on = Told(WIRE[FRIDGE_GPIO].line, True, START_S + 400.0)
    orderly = faults(*RUN, told=[on])
    assert any("is not in the journal" in text for text in orderly)
    late = lived(START_S, START_S + 601.0, code=-9)
    assert faults(*RUN, told=[on], life=late) == []
    long_after = lived(START_S, START_S + 600.0 + 3 * SOAK_PACE, code=-9)
    assert any("is not in the journal" in text for text in faults(*RUN, told=[on], life=long_after))


def test_a_switching_in_the_journal_that_did_not_happen_is_told_of() -> None:
    ghost = Told(WIRE[BELT_GPIO].line, True, START_S + 50.0)
    assert any("told [True], did []" in text for text in faults(told=[ghost]))
    of_nobody = Told(WIRE[BELT_GPIO].line, True, START_S + 90_000.0)
    assert any("nobody was there" in text for text in faults(told=[of_nobody]))


def test_a_relay_that_was_left_on_counts_as_stopped_only_when_the_next_process_drives_it_off() -> (
    None
):
    edges = [*claim(), edge(START_S + 400.0, FRIDGE_GPIO, True)]
    edges += claim(START_S + 1000.0, pid=11)
    edges += [edge(START_S + 1290.0, FRIDGE_GPIO, True, pid=11)]
    edges += [edge(START_S + 1500.0, FRIDGE_GPIO, False, pid=11)]
    line = WIRE[FRIDGE_GPIO].line
    told = [
        Told(line, on, START_S + at_s) for at_s, on in ((400, True), (1290, True), (1500, False))
    ]
    lives = [lived(START_S, START_S + 420.0, code=-9)]
    lives += [lived(START_S + 1000.0, START_S + 1600.0, pid=11)]
    (found,) = PinRecord(edges, lives, [], told).faults()
    assert "started 290.0 s after process 11 took over an unknown past" in found


# -- the journal from outside ---------------------------------------------------------------------


@pytest.fixture
def journal(tmp_path: Path) -> Path:
    """A journal as a process that is killed leaves it: with a log that was not carried over."""
    path = tmp_path / "journal.db"
    writer = SqliteJournal(path, boot_id="boot", moment=Moment(10.0, 1.79e9), version="1")
    for n in range(20):
        at = Moment(20.0 + n, 1.79e9 + n)
        writer.events(at, "lager", [TargetChanged(10.0 + n, 10.0 + n, "hand", "anna")])
        assert writer.flush()
    copy = copy_journal(path, tmp_path / "copy")
    writer.close(Moment(99.0, 1.79e9), cleanly=True)
    return copy


def test_a_row_that_is_gone_or_says_something_else_is_told_of(journal: Path) -> None:
    seen = committed_rows(journal)
    assert len(seen) == 21
    assert lost(seen, committed_rows(journal)) == []
    with closing(sqlite3.connect(journal)) as connection:
        connection.execute("DELETE FROM target_changes WHERE heat_c = 12.0")
        connection.execute("UPDATE target_changes SET who = 'bob' WHERE heat_c = 13.0")
        connection.execute("UPDATE target_changes SET wall_utc_s = 0.0 WHERE heat_c = 14.0")
        connection.commit()
    gone, changed = lost(seen, committed_rows(journal))
    assert "is gone" in gone
    assert "says something else" in changed
    assert newest_seq(seen) == max(seq for _, seq in seen)


def test_a_log_cut_off_anywhere_keeps_what_was_committed_before_the_cut(journal: Path) -> None:
    log = wal_of(journal).read_bytes()
    ends = commit_ends(log)
    assert len(ends) >= 20
    for number, end in enumerate(ends):
        assert whole_up_to(log, end - 1) == (ends[number - 1] if number else 0)
    before = copy_journal(journal, journal.parent / "before")
    cut_log(before, ends[-1] - 1)
    at_the_last_but_one = copy_journal(journal, journal.parent / "whole")
    cut_log(at_the_last_but_one, ends[-2])
    assert is_torn(wal_of(before).read_bytes())
    assert not is_torn(wal_of(at_the_last_but_one).read_bytes())
    assert committed_rows(before) == committed_rows(at_the_last_but_one)
    assert len(committed_rows(before)) < len(committed_rows(journal))


def test_frames_of_an_older_log_behind_the_newest_are_not_taken_for_new_ones(
    journal: Path,
) -> None:
    log = bytearray(wal_of(journal).read_bytes())
    ends = commit_ends(bytes(log))
    log[ends[4] + 8 : ends[4] + 16] = struct.pack(">Q", 1)
    assert commit_ends(bytes(log)) == ends[:5]
    assert not is_torn(bytes(log))
