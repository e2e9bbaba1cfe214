"""What upkeep costs on a year's journal, and whether the writer is held up by it.

    python tests/benchmarks/upkeep_costs.py --journal DIR/1-chambers-365-days-simulated.sqlite

Takes a journal that year_journal.py made; works on a copy beside it. For each of check at start,
weekly check, backup and repair: the processor's time, the time on the wall, and the longest time
that a commit of the running writer took meanwhile.
"""

from __future__ import annotations

import argparse
import shutil
import sqlite3
import sys
import threading
import time
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

from fermd.control.events import GapSeen
from fermd.control.moment import Moment
from fermd.journal.backup import back_up
from fermd.journal.checking import full_check
from fermd.journal.examining import first_fault
from fermd.journal.readonly import connect_to_read
from fermd.journal.salvage import salvage
from fermd.journal.settings import JournalSettings
from fermd.journal.writer import SqliteJournal

PERIOD_S = 0.05
"""Between two events that are written meanwhile."""


def main() -> None:
    """Measure each in turn."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--journal", type=Path, required=True)
    source = parser.parse_args().journal
    copy, out = source.with_suffix(".upkeep"), source.with_suffix(".out")
    shutil.copyfile(source, copy)
    with closing(sqlite3.connect(source)) as connection:
        (boot_id, mono_s) = connection.execute(
            "SELECT (SELECT boot_id FROM boots), max(mono_s) FROM daemon_runs"
        ).fetchone()
    now = Moment(mono_s + 10.0, 1.8e9, wall_trusted=True)
    began_s = time.perf_counter()
    journal = SqliteJournal(
        copy, boot_id=boot_id, moment=now, version="1", settings=JournalSettings(linger_s=0.0)
    )
    _say(f"opened in {(time.perf_counter() - began_s) * 1e3:.0f} ms")
    began_s = time.perf_counter()
    journal.flush(600.0)
    _say(f"first write, after the check at start: {time.perf_counter() - began_s:.2f} s")
    for name, work in (
        ("check at start (quick)", lambda: _quick(copy)),
        ("weekly check (full)", lambda: full_check(copy)),
        ("backup", lambda: back_up(copy, out)),
        ("repair of a sound journal", lambda: _repair(source, out)),
    ):
        _measure(name, journal, now, work)
    journal.close(now, cleanly=True)
    for left_over in (copy, out):
        left_over.unlink(missing_ok=True)


def _quick(copy: Path) -> None:
    with closing(connect_to_read(copy)) as connection:
        first_fault(connection)


def _repair(source: Path, out: Path) -> None:
    out.unlink(missing_ok=True)
    salvage([source], out)


def _measure(name: str, journal: SqliteJournal, now: Moment, work: Callable[[], object]) -> None:
    over, waits_s = threading.Event(), [0.0]

    def write() -> None:
        while not over.is_set():
            began_s = time.perf_counter()
            journal.events(now, "chamber-1", [GapSeen(1.0)])
            journal.flush(60.0)
            waits_s.append(time.perf_counter() - began_s)
            time.sleep(PERIOD_S)

    writing = threading.Thread(target=write)
    writing.start()
    began_s, cpu_s = time.perf_counter(), time.process_time()
    work()
    took_s, used_s = time.perf_counter() - began_s, time.process_time() - cpu_s
    over.set()
    writing.join()
    waits_s.sort()
    _say(
        f"{name:<28}{used_s:7.2f} s CPU {took_s:7.2f} s; commits meanwhile: {len(waits_s) - 1}, "
        f"median {waits_s[len(waits_s) // 2] * 1e3:.0f} ms, longest {waits_s[-1] * 1e3:.0f} ms"
    )


def _say(line: str) -> None:
    sys.stdout.write(line + "\n")
    sys.stdout.flush()


if __name__ == "__main__":
    main()
