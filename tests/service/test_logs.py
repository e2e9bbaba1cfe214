"""What arrives in the journal of the system, and what a person reads at a terminal."""

from __future__ import annotations

import io
import logging
import os
import re
import subprocess
import sys
import threading
import warnings
from collections.abc import Iterator
from pathlib import Path

import pytest

import fermd
from fermd.service.logs import QUEUE_RECORDS, is_connected_to_journal, logging_to_system

log = logging.getLogger("fermd.example")


class Journal:
    """The reading end of a socket, as the journal has one of each service's stderr."""

    def __init__(self, folder: Path) -> None:
        self.path = folder / "stderr"
        self.stream = self.path.open("w+", encoding="utf-8")
        there = os.fstat(self.stream.fileno())
        self.environment = {"JOURNAL_STREAM": f"{there.st_dev}:{there.st_ino}"}

    def lines(self) -> list[str]:
        return self.path.read_text(encoding="utf-8").splitlines()


@pytest.fixture
def journal(tmp_path: Path) -> Iterator[Journal]:
    journal = Journal(tmp_path)
    yield journal
    journal.stream.close()


def test_each_level_arrives_with_its_priority(journal: Journal) -> None:
    with logging_to_system(logging.DEBUG, journal.environment, journal.stream):
        log.debug("raw frame")
        log.info("cooling on")
        log.warning("probe late")
        log.error("probe lost")
        log.critical("outputs are stuck")
    assert journal.lines() == [
        "<7>fermd.example: raw frame",
        "<6>fermd.example: cooling on",
        "<4>fermd.example: probe late",
        "<3>fermd.example: probe lost",
        "<2>fermd.example: outputs are stuck",
    ]


def test_a_traceback_is_one_line(journal: Journal) -> None:
    with logging_to_system(logging.INFO, journal.environment, journal.stream):
        try:
            int("85,0")
        except ValueError:
            log.exception("the frame makes no sense:\nline two")
    (line,) = journal.lines()
    assert line.startswith("<3>fermd.example: the frame makes no sense: | line two | Traceback")
    assert "test_logs.py" in line
    assert line.endswith("ValueError: invalid literal for int() with base 10: '85,0'")


def test_what_comes_from_outside_can_forge_no_line_and_no_colour(journal: Journal) -> None:
    with logging_to_system(logging.INFO, journal.environment, journal.stream):
        log.info("name: %s", "x\n<0>kernel: panic\x1b[31m\x00")
    (line,) = journal.lines()
    assert line == r"<6>fermd.example: name: x | <0>kernel: panic\x1b[31m\x00"


def test_what_is_below_the_level_is_not_written(journal: Journal) -> None:
    with logging_to_system(logging.WARNING, journal.environment, journal.stream):
        log.info("idle")
    assert journal.lines() == []


def test_a_warning_of_python_is_a_record_too(journal: Journal) -> None:
    with (
        warnings.catch_warnings(),
        logging_to_system(logging.INFO, journal.environment, journal.stream),
    ):
        warnings.simplefilter("always")
        warnings.warn("old library call", stacklevel=1)
    (line,) = journal.lines()
    assert line.startswith("<4>py.warnings: ")
    assert "old library call" in line


def test_a_terminal_shows_time_and_level_in_words(tmp_path: Path) -> None:
    stream = io.StringIO()
    with logging_to_system(logging.INFO, {}, stream):
        try:
            int("x")
        except ValueError:
            log.warning("probe %s is late", "28-000006b67845", exc_info=True)
    first, second, *_ = stream.getvalue().splitlines()
    assert re.fullmatch(r"\d\d:\d\d:\d\d warning  probe 28-000006b67845 is late", first)
    assert second == "Traceback (most recent call last):"


def test_stderr_sent_elsewhere_is_not_the_journal(journal: Journal, tmp_path: Path) -> None:
    assert is_connected_to_journal(journal.environment, journal.stream)
    with (tmp_path / "elsewhere").open("w") as elsewhere:
        assert not is_connected_to_journal(journal.environment, elsewhere)
    assert not is_connected_to_journal({}, journal.stream)
    assert not is_connected_to_journal({"JOURNAL_STREAM": "x:y"}, journal.stream)
    assert not is_connected_to_journal(journal.environment, io.StringIO())


def test_a_journal_that_hangs_does_not_hold_up_the_loop() -> None:
    """A pipe that nobody empties blocks its writer; the records beyond the queue are counted."""
    reading, writing = os.pipe()
    read: list[bytes] = []
    drain = threading.Thread(target=_read_all, args=(reading, read))
    with os.fdopen(writing, "w") as stream, logging_to_system(logging.INFO, {}, stream):
        for number in range(QUEUE_RECORDS + 500):
            log.info("%d %s", number, "x" * 1000)
        drain.start()
        _until_written(read, "499 ")
        log.info("the journal is back")
    drain.join()
    text = b"".join(read).decode()
    lost = re.search(r"warning  (\d+) records were lost", text)
    assert lost is not None
    assert 0 < int(lost[1]) <= 500
    assert "the journal is back" in text


def _read_all(reading: int, into: list[bytes]) -> None:
    with os.fdopen(reading, "rb", buffering=0) as pipe:
        while piece := pipe.read(65536):
            into.append(piece)


def _until_written(pieces: list[bytes], text: str) -> None:
    while text.encode() not in b"".join(pieces[:]):
        threading.Event().wait(0.001)


def test_a_stream_that_breaks_costs_the_record_and_nothing_else() -> None:
    reading, writing = os.pipe()
    os.close(reading)
    stream = io.TextIOWrapper(io.FileIO(writing, "w"), write_through=True)
    with logging_to_system(logging.INFO, {}, stream):
        log.info("nobody reads this")
    with pytest.raises(BrokenPipeError):
        stream.write("x")
    stream.detach().close()


def test_leaving_puts_the_logging_back_as_it_was(journal: Journal) -> None:
    root = logging.getLogger()
    before = (root.handlers[:], root.level)
    with (
        pytest.raises(ZeroDivisionError),
        logging_to_system(logging.DEBUG, journal.environment, journal.stream),
    ):
        raise ZeroDivisionError
    assert (root.handlers[:], root.level) == before


def test_the_last_words_of_a_process_that_ends_are_written(tmp_path: Path) -> None:
    program = """
import logging
from fermd.service.logs import logging_to_system
with logging_to_system():
    logging.getLogger("fermd").error("last words")
"""
    ended = subprocess.run(
        [sys.executable, "-c", program],
        env={**os.environ, "PYTHONPATH": str(Path(fermd.__file__).parent.parent)},
        capture_output=True,
        text=True,
        timeout=60,
        check=True,
    )
    assert ended.stderr.endswith("error    last words\n")
