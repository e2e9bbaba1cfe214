"""A repair that is killed begins anew the next time: nothing is lost, nothing is there twice."""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path

import whole_record
from journal_bench import rows

from fermd.journal.repairing import files_of, repair
from fermd.journal.schema import EVENT_TABLES

KILLED_AT_EVERY_RENAME = """
import os, shutil, signal, sys
from pathlib import Path
from fermd.journal.repairing import repair

state, folder = map(Path, sys.argv[1:])
nth = 0
while True:
    nth += 1
    copy = folder / str(nth)
    shutil.copytree(state, copy)
    child = os.fork()
    if child == 0:
        seen = 0
        def hook(event, _):
            global seen
            if event in ("os.rename", "os.remove"):
                seen += 1
                if seen == nth:
                    os.kill(os.getpid(), signal.SIGKILL)
        sys.addaudithook(hook)
        repair(copy / "journal.db", 1.8e9)
        os._exit(0)
    if os.waitpid(child, 0)[1] == 0:
        break
print(nth - 1)
"""


def counts(path: Path) -> dict[str, int]:
    return {table: rows(path, f"SELECT count(*) FROM {table}")[0][0] for table in EVENT_TABLES}  # noqa: S608


def test_a_repair_that_is_killed_at_any_rename_is_made_good_by_the_next(tmp_path):
    state, killed = tmp_path / "state", tmp_path / "killed"
    state.mkdir()
    killed.mkdir()
    aside = state / "journal.db.set-aside-20260101T000000"
    whole_record.write(aside, boot_id="one", readings=96)
    whole_record.write(state / "journal.db", boot_id="two", readings=96)
    expected = {table: 2 * count for table, count in counts(aside).items()}
    points = int(
        subprocess.run(
            [sys.executable, "-c", KILLED_AT_EVERY_RENAME, state, killed],
            capture_output=True,
            text=True,
            check=True,
        ).stdout
    )
    assert points >= 4
    for nth in range(1, points + 1):
        journal = killed / str(nth) / "journal.db"
        repair(journal, 1.9e9)
        found = counts(journal)
        found["journal_incidents"] -= 1
        assert found == expected, nth
        assert files_of(journal) == [journal]
        # What it was made from is kept.
        assert len(list(journal.parent.glob("*.carried-over-*"))) >= 2
        shutil.rmtree(journal.parent)
