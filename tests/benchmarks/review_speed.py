"""How long a review takes from a year's journal: each query on a batch, and the whole of it.

    python tests/benchmarks/review_speed.py --folder DIR [--chambers 10] [--days 365]

The journal is that of year_journal.py, made by it if it is not in the folder yet. Two batches are
marked in a copy of it as a daemon would have: the newest but one, and a running one. Times are the
processor's, the shortest of three.
"""

from __future__ import annotations

import argparse
import shutil
import sqlite3
import subprocess
import sys
import time
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

from fermd.review.as_page import page
from fermd.review.as_text import text
from fermd.review.batches import read_batches
from fermd.review.course import opened, read_course
from fermd.review.plain import plain
from fermd.review.reviewing import review_of
from fermd.review.series import read_series
from fermd.review.target_track import read_target
from fermd.review.time_axis import read_time_axis

QUERY_GOAL_MS, REVIEW_GOAL_MS = 50.0, 3000.0
BATCH_S = 28 * 86400.0


def main() -> None:
    """Make the journal if it is not there, and review it."""
    options = _options()
    made = options.folder / f"{options.chambers}-chambers-{options.days}-days.sqlite"
    if not made.exists():
        beside = Path(__file__).with_name("year_journal.py")
        more = ["--chambers", str(options.chambers), "--days", str(options.days)]
        subprocess.run(
            [sys.executable, str(beside), "--folder", str(options.folder), *more], check=True
        )
    path = options.folder / "review.sqlite"
    shutil.copy(made, path)
    _mark_batches(path)
    with opened(path) as db:
        axis = read_time_axis(db)
        batch, running = read_batches(db, axis)
        chamber, span = batch.chamber, (batch.start_s, batch.end_s)
        _tell("query: the time axis of the record", lambda: read_time_axis(db), REVIEW_GOAL_MS)
        _tell("query: the batches", lambda: read_batches(db, axis), QUERY_GOAL_MS)
        _tell("query: the target", lambda: read_target(db, chamber, axis), QUERY_GOAL_MS)
        _tell(
            "query: a batch's readings, by minutes",
            lambda: read_series(db, axis, chamber, *span),
            QUERY_GOAL_MS,
        )
        _tell(
            "all that a batch's review reads",
            lambda: read_course(db, axis, chamber, *span),
            REVIEW_GOAL_MS,
        )
        year_s = span[1] - 330 * 86400.0, span[1]
        for name, from_s, to_s in (
            ("the newest whole batch", *span),
            ("the running batch", running.start_s, running.end_s),
            ("eleven months", *year_s),
        ):

            def whole(from_s: float = from_s, to_s: float = to_s) -> None:
                course = read_course(db, read_time_axis(db), chamber, from_s, to_s)
                review = review_of(course, path)
                text(review)
                plain(review)
                page(review)

            _tell(f"review of {name}, text, JSON and page", whole, REVIEW_GOAL_MS)


def _mark_batches(path: Path) -> None:
    """Two starts of a profile, four weeks and eight weeks before the end."""
    with closing(sqlite3.connect(path)) as connection, connection:
        seq, boot, mono_s, wall_s = connection.execute(
            "SELECT seq, boot, mono_s, wall_utc_s FROM readings ORDER BY seq DESC LIMIT 1"
        ).fetchone()
        for number, before_s in enumerate((2 * BATCH_S, BATCH_S), 1):
            connection.execute(
                "INSERT INTO profile_changes (seq, boot, mono_s, wall_utc_s, wall_trusted, "
                "chamber, profile, change, who) VALUES (?, ?, ?, ?, 1, 'chamber-1', 'lager', "
                "'started', 'benchmark')",
                (seq + number, boot, mono_s - before_s, wall_s - before_s),
            )


def _tell(name: str, ask: Callable[[], object], goal_ms: float) -> None:
    took_ms = []
    for _ in range(3):
        began_s = time.process_time()
        ask()
        took_ms.append(1e3 * (time.process_time() - began_s))
    verdict = "" if min(took_ms) <= goal_ms else f"  over the goal of {goal_ms:g}"
    print(f"{name:<48}{min(took_ms):10.1f} ms{verdict}", flush=True)


def _options() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--folder", type=Path, required=True, help="where the journal is kept")
    parser.add_argument("--chambers", type=int, default=1)
    parser.add_argument("--days", type=int, default=365)
    return parser.parse_args()


if __name__ == "__main__":
    main()
