"""A kill -9 in the middle of a rollup, of deleting what is old, or of a backup loses nothing.

Each is killed at one statement after the other, until it comes to its end; and at times that have
nothing to do with statements, while a daemon writes.
"""

from __future__ import annotations

import random
import signal
import sqlite3
import subprocess
import sys
import time
from contextlib import closing
from pathlib import Path

import pytest
import whole_record
from journal_bench import rows

from fermd.journal.schema import EVENT_TABLES

AT_EVERY_STATEMENT = """
import os, shutil, signal, sqlite3, sys
from fermd.config.keeping import ThinningSettings
from fermd.control.moment import Moment
from fermd.journal import thinning
from fermd.journal.thinning import thin

# In small pieces, so that there are many transactions to be killed between.
thinning.ROWS_AT_ONCE = 70
source, folder, mono_s = sys.argv[1], sys.argv[2], float(sys.argv[3])
nth = 0
while True:
    nth += 1
    copy = f"{folder}/{nth}.db"
    shutil.copyfile(source, copy)
    child = os.fork()
    if child == 0:
        connection = sqlite3.connect(copy, isolation_level=None)
        connection.execute("PRAGMA journal_mode = WAL")
        seen = 0
        def count(_):
            global seen
            seen += 1
            if seen == nth:
                os.kill(os.getpid(), signal.SIGKILL)
        connection.set_trace_callback(count)
        for _ in thin(connection, 1, Moment(mono_s, 0.0, True), ThinningSettings(1, 1)):
            pass
        os._exit(0)
    if os.waitpid(child, 0)[1] == 0:
        break
print(nth - 1)
"""

FINISH = """
import sqlite3, sys
from fermd.config.keeping import ThinningSettings
from fermd.control.moment import Moment
from fermd.journal.thinning import thin
for copy in sys.argv[2:]:
    connection = sqlite3.connect(copy, isolation_level=None)
    for _ in thin(connection, 1, Moment(float(sys.argv[1]), 0.0, True), ThinningSettings(1, 1)):
        pass
    connection.close()
"""


def counted(path: Path, table: str) -> list[tuple[object, ...]]:
    """What a rollup says of each bucket."""
    return rows(
        path,
        "SELECT boot, start_mono_s, probe_key, good_readings, faulty_readings, minimum_c, "  # noqa: S608
        f"round(mean_c, 6), maximum_c FROM {table} ORDER BY 1, 2, 3",
    )


def expected(path: Path, bucket_s: int) -> list[tuple[object, ...]]:
    """The same, from the raw readings."""
    return rows(
        path,
        "SELECT boot, CAST(mono_s / ? AS INTEGER) * ?, probe_key, sum(fault IS NULL), "
        "sum(fault IS NOT NULL), min(temp_c), round(avg(temp_c), 6), max(temp_c) "
        "FROM readings GROUP BY 1, 2, 3 ORDER BY 1, 2, 3",
        bucket_s,
        bucket_s,
    )


# At the end of the record, when all readings wait to be counted; and two days later, when the
# minutes are over their age, and the older of the two tables of readings is emptied.
@pytest.mark.parametrize("mono_s", [7400.0, 7400.0 + 2 * 86400.0])
def test_thinning_that_is_killed_at_any_statement_loses_and_doubles_nothing(tmp_path, mono_s):
    source, folder = tmp_path / "source.db", tmp_path / "killed"
    whole_record.write(source, thin=False, readings=240)
    with closing(sqlite3.connect(source)) as connection:
        # As after an earlier turn: the newer half is in the other table.
        (half,) = connection.execute("SELECT avg(seq) FROM readings_a").fetchone()
        connection.execute("INSERT INTO readings_b SELECT * FROM readings_a WHERE seq > ?", (half,))
        connection.execute("DELETE FROM readings_a WHERE seq > ?", (half,))
        connection.execute("UPDATE rollup_progress SET readings_go_to = 'readings_b'")
        connection.commit()
    folder.mkdir()
    points = int(
        subprocess.run(
            [sys.executable, "-c", AT_EVERY_STATEMENT, source, folder, str(mono_s)],
            capture_output=True,
            text=True,
            check=True,
        ).stdout
    )
    assert points > 20
    quarters = expected(source, 900)
    for nth in range(1, points + 1):
        copy = folder / f"{nth}.db"
        (counted_up_to,) = rows(copy, "SELECT rolled_up_to_seq FROM rollup_progress")[0]
        whole = rows(copy, "SELECT count(*) FROM readings")[0][0] == 480
        # Nothing is deleted before all of it is in its quarter hour.
        assert whole or counted(copy, "rollup_quarter_hour") == quarters, nth
        total = "SELECT coalesce(sum(good_readings + faulty_readings), 0) FROM rollup_quarter_hour"
        counted_there = rows(source, f"SELECT count(*) FROM readings WHERE seq <= {counted_up_to}")  # noqa: S608
        assert rows(copy, total) == counted_there, nth
    copies = [str(folder / f"{nth}.db") for nth in range(1, points + 1)]
    subprocess.run([sys.executable, "-c", FINISH, str(mono_s), *copies], check=True)
    assert (rows(copies[0], "SELECT count(*) FROM readings_a") == [(0,)]) == (mono_s > 86400.0)
    for nth in range(1, points + 1):
        copy = folder / f"{nth}.db"
        assert counted(copy, "rollup_quarter_hour") == quarters, nth
        if mono_s < 86400.0:
            assert counted(copy, "rollup_minute") == expected(source, 60), nth
        for table in EVENT_TABLES:
            every = f"SELECT * FROM {table} ORDER BY seq"  # noqa: S608 - constants
            assert rows(copy, every) == rows(source, every)
        assert rows(copy, "PRAGMA integrity_check") == [("ok",)]


BACKS_UP = """
import sys
from pathlib import Path
from fermd.journal.backup import back_up
print("begun", flush=True)
while True:
    back_up(Path(sys.argv[1]), Path(sys.argv[2]))
    print("done", flush=True)
"""


def test_a_backup_that_is_killed_at_any_time_leaves_a_whole_one_and_the_journal(
    begin, path, tmp_path
):
    journal = begin()
    whole = 0
    for number in range(300):
        journal.note(whole_record.at(float(number)), "lager", "Ann", "x" * 200)
    assert journal.flush()
    copy = tmp_path / "stick" / "copy.db"
    copy.parent.mkdir()
    drawn = random.Random(1)
    for round_ in range(12):
        with subprocess.Popen(
            [sys.executable, "-c", BACKS_UP, path, copy], stdout=subprocess.PIPE, text=True
        ) as backing_up:
            assert backing_up.stdout.readline() == "begun\n"
            journal.note(whole_record.at(1000.0 + round_), "lager", "Ann", f"round {round_}")
            time.sleep(drawn.uniform(0.0, 0.1))
            backing_up.send_signal(signal.SIGKILL)
        if copy.exists():
            whole += 1
            with closing(sqlite3.connect(f"file:{copy}?mode=ro", uri=True)) as connection:
                assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
                (count,) = connection.execute("SELECT count(*) FROM notes").fetchone()
            assert count >= 300
    assert whole, "none of them came to its end: the test shows nothing"
    assert journal.flush()
    assert journal.trouble() is None
    assert rows(path, "SELECT count(*) FROM notes") == [(312,)]
    assert rows(path, "PRAGMA integrity_check") == [("ok",)]
