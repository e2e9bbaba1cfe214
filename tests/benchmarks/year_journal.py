"""A year's journal: its size, and the time of every question that is asked of it.

    python tests/benchmarks/year_journal.py --folder DIR [--chambers 10] [--days 365] [--made-up]

The journal is lived through by the real daemon on simulated plants, with faults, and kept in the
folder for the next run; see year_of_journal.py for the other ways to have one.

Times are the processor's, the shortest of three (of one, where it takes over a second).
"""

from __future__ import annotations

import gzip
import json
import math
import sqlite3
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

import made_up_cellar
import simulated_year
from year_of_journal import journal_of, options_of, probes_of

from fermd.control.settings import DAY_S, SiteSettings
from fermd.control.wording import Unit
from fermd.journal.curves import Resolution
from fermd.journal.reader import JournalReader
from fermd.journal.views import VIEWS
from fermd.review.figures import figures
from fermd.review.invariants import violations
from fermd.review.record import read_record
from fermd.web.curves import Wanted, read_curves

BATCH_S = 28 * DAY_S
PERIOD_S = 10


def main() -> None:
    """Ask the journal everything."""
    options = options_of(__doc__).parse_args()
    path = journal_of(options)
    maker = made_up_cellar if options.made_up else simulated_year
    span_s = JournalReader(path).span()
    if span_s is None:
        raise SystemExit(f"{path}: has no readings")
    _tell_size(path, span_s[1] - span_s[0])
    _tell_times(path, span_s[1], maker.site_of(options.chambers))


@dataclass(frozen=True, slots=True)
class _Question:
    name: str
    ask: Callable[[], object]
    goal_ms: float


def _questions(path: Path, end_s: float, site: SiteSettings) -> Iterator[_Question]:
    reader, name = JournalReader(path), "chamber-1"
    vessel, air = probes_of(path, name)
    batch = (end_s - 2 * BATCH_S, end_s - BATCH_S)
    last = (end_s - DAY_S, end_s)
    year = (end_s - 365 * DAY_S, end_s)
    newest = reader.last_events(1)[-1].seq

    def query(label: str, ask: Callable[[], object], goal_ms: float = 50.0) -> _Question:
        return _Question(label, ask, goal_ms)

    def chart(span_s: float) -> Callable[[], object]:
        return _chart(reader, name, [vessel, air], end_s, span_s)

    yield query("last 50 events", lambda: reader.last_events(50, chamber=name))
    yield query("events after a row", lambda: reader.events_after(newest - 1000))
    yield query("events of a day", lambda: reader.events_between(*last, chamber=name))
    yield query("events of a batch", lambda: reader.events_between(*batch, chamber=name))
    yield query("temperatures of a day", lambda: reader.temperatures(*last, chamber=name))
    yield query("temperatures of a batch", lambda: reader.temperatures(*batch, chamber=name))
    yield query("temperatures of a year", lambda: reader.temperatures(*year, chamber=name))
    yield query(
        "a day's raw readings",
        lambda: reader.temperatures(*last, chamber=name, resolution=Resolution.RAW),
    )
    for label, span_s in (("an hour", 3600.0), ("a day", DAY_S), ("a month", 30 * DAY_S)):
        yield query(
            f"the page's chart of {label}",
            chart(span_s),
            1000.0,
        )
    yield query(
        "the page's chart of a year",
        chart(365 * DAY_S),
        1000.0,
    )
    yield query("runs of a day", lambda: reader.output_runs(*last, chamber=name))
    yield query("runs of a batch", lambda: reader.output_runs(*batch, chamber=name))
    yield query("starts by hour, a batch", lambda: reader.starts_by_hour(*batch, chamber=name))
    yield query("span of the record", reader.span)
    yield query("the journal's figures", reader.figures)
    yield query("review: the whole record", lambda: read_record(path, name), 3000.0)
    record = read_record(path, name)
    yield query("review: figures of it", lambda: figures(record, vessel), 3000.0)
    yield query("review: every promise", lambda: violations(path, site), 3000.0)
    for view in VIEWS:
        sql = f"SELECT * FROM {view}"  # noqa: S608 - constants
        yield query(f"view {view}, whole", lambda sql=sql: _fetch(path, sql), math.inf)  # type: ignore[misc]


def _chart(
    reader: JournalReader, chamber: str, probes: list[str], end_s: float, span_s: float
) -> Callable[[], object]:
    """What the daemon does for a chart, from the rows to what goes over the wire."""
    wanted = Wanted(
        chamber, probes, end_s - span_s, end_s, 1000, PERIOD_S, end_s, None, Unit.CELSIUS
    )
    return lambda: gzip.compress(json.dumps(read_curves(reader, wanted)).encode(), 5)


def _fetch(path: Path, sql: str) -> int:
    with closing(sqlite3.connect(f"file:{path}?mode=ro", uri=True)) as connection:
        return sum(1 for _ in connection.execute(sql))


def _tell_size(path: Path, lasted_s: float) -> None:
    size_mb = path.stat().st_size / 1e6
    with closing(sqlite3.connect(path)) as connection:
        (chambers,) = connection.execute("SELECT count(DISTINCT chamber) FROM probes").fetchone()
        chamber_years = chambers * lasted_s / (365 * DAY_S)
        tables = connection.execute(
            "SELECT name, sum(pgsize) / 1e6 FROM dbstat GROUP BY name ORDER BY 2 DESC LIMIT 6"
        ).fetchall()
    _say(f"{chambers} chambers, {lasted_s / DAY_S:.0f} days, {path}")
    _say(f"{size_mb:.1f} MB, {size_mb / chamber_years:.1f} MB a chamber-year (goal: under 150)")
    _say("of that: " + ", ".join(f"{name} {mb:.1f}" for name, mb in tables))


def _tell_times(path: Path, end_s: float, site: SiteSettings) -> None:
    for question in _questions(path, end_s, site):
        took_ms = _shortest_ms(question.ask)
        verdict = "" if took_ms <= question.goal_ms else f"  over the goal of {question.goal_ms:g}"
        _say(f"{question.name:<42}{took_ms:10.1f} ms{verdict}")


def _shortest_ms(ask: Callable[[], object]) -> float:
    shortest_s = math.inf
    for _ in range(3):
        began_s = time.process_time()
        ask()
        shortest_s = min(shortest_s, time.process_time() - began_s)
        if shortest_s > 1.0:
            break
    return shortest_s * 1e3


def _say(line: str) -> None:
    sys.stdout.write(line + "\n")
    sys.stdout.flush()


if __name__ == "__main__":
    main()
