"""How long a review takes from a year's journal: each query on a batch, and the whole of it.

    python tests/benchmarks/review_speed.py --folder DIR [--chambers 10] [--days 365] [--made-up]

The journal is that of year_journal.py, made if it is not in the folder yet; see year_of_journal.py
for the other ways to have one. Times are the processor's, the shortest of three.

Measured (ms) on a year of one chamber that was lived through, with faults, and on ten chambers of a
made-up year (one boot, more switching than in life), of which one is reviewed:

    ======================================  ===========  ============
    what                                    one chamber  one of ten
    ======================================  ===========  ============
    the time axis of the record                      10             3
    the target, the batches                     under 1       under 1
    what happened in a batch of 28 days               9            30
    its readings by quarter hours                    15            15
    the beer of it by minutes                        41            39
    both probes of it by minutes                     81            80
    the whole review of it, with its page          1390          1315
    of 330 days                                     537          1112
    ======================================  ===========  ============

The beer's minutes of a batch are 40,320 rows of five figures: SQLite finds them in 7 ms, and all
else is handing 200,000 numbers over to Python. A chamber's probes are a query each; both are above
50 ms together. How many chambers there are beside it makes no difference, since a probe's buckets
lie side by side: while those of all probes lay together, both probes took 151 and 179 ms on the
same journals.
"""

from __future__ import annotations

import time
from collections.abc import Callable

from year_of_journal import journal_of, options_of, probes_of

from fermd.journal.reader import JournalReader
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
DAY_S = 86400.0
CHAMBER = "chamber-1"


def main() -> None:
    """Review the journal."""
    path = journal_of(options_of(__doc__).parse_args())
    with opened(path) as db:
        axis = read_time_axis(db)
        batches = [one for one in read_batches(db, axis) if one.chamber == CHAMBER]
        running = batches[-1]
        batch = max(batches[-3:-1], key=lambda one: one.end_s - one.start_s)
        span = (batch.start_s, batch.end_s)
        days = (span[1] - span[0]) / DAY_S
        print(f"{path}: {len(batches)} batches of {CHAMBER}, one of {days:.1f} days is reviewed")
        _tell("query: the time axis of the record", lambda: read_time_axis(db), QUERY_GOAL_MS)
        _tell("query: the batches", lambda: read_batches(db, axis), QUERY_GOAL_MS)
        _tell("query: the target", lambda: read_target(db, CHAMBER, axis), QUERY_GOAL_MS)
        reader = JournalReader(path)
        _tell(
            "query: what happened in a batch",
            lambda: reader.events_between(*span, chamber=CHAMBER),
            QUERY_GOAL_MS,
        )
        _tell(
            "query: a batch's readings by quarter hours",
            lambda: reader.temperatures(*span, chamber=CHAMBER),
            QUERY_GOAL_MS,
        )
        vessel, _ = probes_of(path, CHAMBER)
        _tell(
            "query: the beer of a batch by minutes",
            lambda: read_series(db, axis, CHAMBER, *span, vessel),
            QUERY_GOAL_MS,
        )
        _tell(
            "both probes of a batch by minutes (two queries)",
            lambda: read_series(db, axis, CHAMBER, *span),
            2 * QUERY_GOAL_MS,
        )
        _tell(
            "all that a batch's review reads",
            lambda: read_course(db, axis, CHAMBER, *span),
            REVIEW_GOAL_MS,
        )
        long_s = max(running.end_s - 330 * DAY_S, batches[0].start_s), running.end_s
        for name, from_s, to_s in (
            (f"a batch of {days:.0f} days", *span),
            ("the running batch", running.start_s, running.end_s),
            (f"{(long_s[1] - long_s[0]) / DAY_S:.0f} days", *long_s),
        ):

            def whole(from_s: float = from_s, to_s: float = to_s) -> None:
                course = read_course(db, read_time_axis(db), CHAMBER, from_s, to_s)
                review = review_of(course, path)
                text(review)
                plain(review)
                page(review)

            _tell(f"review of {name}, text, JSON and page", whole, REVIEW_GOAL_MS)


def _tell(name: str, ask: Callable[[], object], goal_ms: float) -> None:
    took_ms = []
    for _ in range(3):
        began_s = time.process_time()
        ask()
        took_ms.append(1e3 * (time.process_time() - began_s))
    verdict = "" if min(took_ms) <= goal_ms else f"  over the goal of {goal_ms:g}"
    print(f"{name:<52}{min(took_ms):10.1f} ms{verdict}", flush=True)


if __name__ == "__main__":
    main()
