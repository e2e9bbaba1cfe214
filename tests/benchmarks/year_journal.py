"""A year's journal: its size, and the time of every question that is asked of it.

    python tests/benchmarks/year_journal.py --folder DIR [--chambers 10] [--days 365]

The journal is made by the real writer, with its thinning every night, from a made-up cellar: a
batch every four weeks, a hundred changes of outputs a day, steps, notes, an alarm now and then. It
is kept in the folder and used again by the next run (`--anew` makes it anew).

Days before the last `--close-days` are sampled once a minute instead of every ten seconds: they
leave the same rows, since all that is kept of them are their minutes and quarter hours.

Times are the processor's, the shortest of three (of one, where it takes over a second).
"""

from __future__ import annotations

import argparse
import gzip
import json
import math
import random
import sqlite3
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path

from fermd.control.events import (
    AlarmChanged,
    AlarmPhase,
    Event,
    OutputChanged,
    Severity,
    StepChange,
    StepChanged,
    TargetChanged,
    TrustChanged,
)
from fermd.control.moment import Moment
from fermd.control.reasons import Reason, Rule
from fermd.control.settings import (
    DAY_S,
    PROTECTION_BY_KIND,
    ChamberSettings,
    Duty,
    OutputKind,
    OutputSettings,
    ProbeSettings,
    SiteSettings,
)
from fermd.control.wording import Unit
from fermd.journal.curves import Resolution
from fermd.journal.ports import ChamberRecord, LineHistory, ReadingRow
from fermd.journal.reader import JournalReader
from fermd.journal.settings import JournalSettings
from fermd.journal.views import VIEWS
from fermd.journal.writer import SqliteJournal
from fermd.review.figures import figures
from fermd.review.invariants import violations
from fermd.review.record import read_record
from fermd.web.curves import Wanted, read_curves

START_UTC_S = datetime(2025, 9, 1, tzinfo=UTC).timestamp()
PERIOD_S = 10
OLD_PERIOD_S = 60
BATCH_DAYS = 28
STEPS = ((1, 10.0, "pitch"), (10, 11.0, "ferment"), (14, 17.0, "rest"), (17, 2.0, "lager"))
"""The day of the batch on which a step begins, its target (°C), its name."""
CYCLE_S = 1800
"""A cycle of the fridge: 48 a day, so 96 changes of its output."""
ON_S = 600
TICKS_AT_ONCE = 2000
"""So many ticks' rows wait in memory at the most, divided by the chambers."""


def main() -> None:
    """Make the journal if it is not there, and ask it everything."""
    options = _options()
    options.folder.mkdir(parents=True, exist_ok=True)
    path = options.folder / f"{options.chambers}-chambers-{options.days}-days.sqlite"
    if options.anew or not path.exists():
        began_s = time.process_time()
        making = path.with_suffix(".making")
        for left_over in options.folder.glob(making.name + "*"):
            left_over.unlink()
        _make(making, options.chambers, options.days, options.close_days)
        making.rename(path)
        _say(f"made in {time.process_time() - began_s:.0f} s CPU: {path}")
    _tell_size(path, options.chambers * options.days / 365.0)
    _tell_times(path, options.chambers, START_UTC_S + options.days * DAY_S)


def _make(path: Path, chambers: int, days: int, close_days: int) -> None:
    settings = JournalSettings(batch_s=3600.0, linger_s=0.0, most_rows_in_memory=1_000_000)
    journal = SqliteJournal(
        path, boot_id="benchmark", moment=_moment(0), version="benchmark", settings=settings
    )
    cellar = [_Batches(name, number) for number, name in enumerate(_names(chambers))]
    patience = max(1, TICKS_AT_ONCE // chambers)
    for day in range(days):
        period_s = PERIOD_S if day >= days - close_days else OLD_PERIOD_S
        for tick, at_s in enumerate(range(day * int(DAY_S), (day + 1) * int(DAY_S), period_s)):
            moment = _moment(at_s)
            happened = False
            for one in cellar:
                journal.readings(one.readings(at_s, moment))
                for event in one.events(at_s, period_s):
                    journal.events(moment, one.name, [event])
                    happened = True
            if happened:
                lines = [one.line for one in cellar]
                journal.remember(moment, lines, [one.record(at_s) for one in cellar])
            if tick % patience == 0:
                journal.settle(60.0)
        for one in cellar:
            journal.note(_moment((day + 1) * int(DAY_S)), one.name, "Ann", f"day {day + 1}")
        journal.thin(_moment((day + 1) * int(DAY_S)))
        if not journal.flush(600.0) or not journal.settle(600.0):
            raise SystemExit(f"{path}: {journal.trouble()}")
    journal.close(_moment(days * int(DAY_S)), cleanly=True)


class _Batches:
    """One chamber of the cellar: batch after batch."""

    def __init__(self, name: str, number: int) -> None:
        self.name = name
        self.line = LineHistory(f"sim:{2 * number}", False, None, None, (), None)
        self._random = random.Random(number)
        self._later_s = 97 * number
        """Chambers do not switch all at once."""
        self._target_c = STEPS[-1][1]

    def readings(self, at_s: int, moment: Moment) -> list[ReadingRow]:
        """Both probes, quantised as they are."""
        swing = math.sin(2 * math.pi * (at_s + self._later_s) / CYCLE_S)
        beer_c = self._target_c + 0.1 * swing + self._random.gauss(0.0, 0.03)
        air_c = self._target_c - 1.0 + 3.0 * swing + self._random.gauss(0.0, 0.1)
        return [
            ReadingRow(moment, self.name, "vessel", round(16 * beer_c) / 16, None),
            ReadingRow(moment, self.name, "air", round(16 * air_c) / 16, None),
        ]

    def events(self, at_s: int, period_s: int) -> Iterator[Event]:
        """What happens in this tick."""
        day, into_day_s = divmod(at_s, int(DAY_S))
        if at_s == 0:
            yield from (TrustChanged(probe, True, None, 10.0) for probe in ("vessel", "air"))
        if into_day_s == 0:
            for index, (starts, target_c, step) in enumerate(STEPS):
                if day % BATCH_DAYS == starts:
                    self._target_c = target_c
                    yield StepChanged("lager", index, "soak", step, StepChange.ENTERED, 0.0, "")
                    yield TargetChanged(target_c, target_c, "profile")
        if day % 10 == 5 and into_day_s in (0, 3600):
            phase = AlarmPhase.RAISED if into_day_s == 0 else AlarmPhase.CLEARED
            yield AlarmChanged("beer-too-warm", "", phase, Severity.WARNING, 1.2, 1.0, "")
        phase_s = (at_s + self._later_s) % CYCLE_S
        if phase_s < period_s:
            yield self._switch(True, at_s, Reason(Rule.ABOVE_BAND, self._target_c + 0.3, 0.3))
        elif ON_S <= phase_s < ON_S + period_s and self.line.on:
            yield self._switch(False, at_s, Reason(Rule.WITHIN_BAND, self._target_c, None))

    def record(self, at_s: int) -> ChamberRecord:
        """What a restart would go on from."""
        state = {"profile": {"name": "lager", "steps": STEPS}, "elapsed_s": at_s}
        return ChamberRecord(self.name, json.dumps(state))

    def _switch(self, on: bool, at_s: int, reason: Reason) -> OutputChanged:
        if on:
            starts = (*(one for one in self.line.starts_mono_s if one > at_s - 3600), float(at_s))
            self.line = replace(self.line, on=on, started_mono_s=at_s, starts_mono_s=starts)
        else:
            self.line = replace(self.line, on=on, stopped_mono_s=at_s)
        return OutputChanged(Duty.COOL, "fridge", self.line.line, on, (reason,))


@dataclass(frozen=True, slots=True)
class _Question:
    name: str
    ask: Callable[[], object]
    goal_ms: float


def _questions(path: Path, chambers: int, end_s: float) -> Iterator[_Question]:
    reader, name = JournalReader(path), _names(chambers)[0]
    batch = (end_s - 2 * BATCH_DAYS * DAY_S, end_s - BATCH_DAYS * DAY_S)
    last = (end_s - DAY_S, end_s)
    year = (end_s - 365 * DAY_S, end_s)
    newest = reader.last_events(1)[-1].seq

    def query(label: str, ask: Callable[[], object], goal_ms: float = 50.0) -> _Question:
        return _Question(label, ask, goal_ms)

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
        yield query(f"the page's chart of {label}", _chart(reader, name, end_s, span_s), 1000.0)
    yield query("the page's chart of a year", _chart(reader, name, end_s, 365 * DAY_S), 1000.0)
    yield query("runs of a day", lambda: reader.output_runs(*last, chamber=name))
    yield query("runs of a batch", lambda: reader.output_runs(*batch, chamber=name))
    yield query("starts by hour, a batch", lambda: reader.starts_by_hour(*batch, chamber=name))
    yield query("span of the record", reader.span)
    yield query("the journal's figures", reader.figures)
    yield query("review: the whole record", lambda: read_record(path, name), 3000.0)
    record = read_record(path, name)
    yield query("review: figures of it", lambda: figures(record, "vessel"), 3000.0)
    yield query("review: every promise", lambda: violations(path, _site(chambers)), 3000.0)
    for view in VIEWS:
        sql = f"SELECT * FROM {view}"  # noqa: S608 - constants
        yield query(f"view {view}, whole", lambda sql=sql: _fetch(path, sql), math.inf)  # type: ignore[misc]


def _chart(
    reader: JournalReader, chamber: str, end_s: float, span_s: float
) -> Callable[[], object]:
    """What the daemon does for a chart, from the rows to what goes over the wire."""
    probes = ["vessel", "air"]
    wanted = Wanted(
        chamber, probes, end_s - span_s, end_s, 1000, PERIOD_S, end_s, None, Unit.CELSIUS
    )
    return lambda: gzip.compress(json.dumps(read_curves(reader, wanted)).encode(), 5)


def _fetch(path: Path, sql: str) -> int:
    with closing(sqlite3.connect(f"file:{path}?mode=ro", uri=True)) as connection:
        return sum(1 for _ in connection.execute(sql))


def _site(chambers: int) -> SiteSettings:
    fridge = PROTECTION_BY_KIND[OutputKind.COMPRESSOR]
    return SiteSettings(
        tuple(
            ChamberSettings(
                name,
                ProbeSettings("vessel"),
                ProbeSettings("air"),
                outputs=(
                    OutputSettings(
                        "fridge", f"sim:{2 * number}", Duty.COOL, OutputKind.COMPRESSOR, fridge
                    ),
                ),
            )
            for number, name in enumerate(_names(chambers))
        )
    )


def _tell_size(path: Path, chamber_years: float) -> None:
    size_mb = path.stat().st_size / 1e6
    with closing(sqlite3.connect(path)) as connection:
        tables = connection.execute(
            "SELECT name, sum(pgsize) / 1e6 FROM dbstat GROUP BY name ORDER BY 2 DESC LIMIT 6"
        ).fetchall()
    _say(f"{size_mb:.1f} MB, {size_mb / chamber_years:.1f} MB a chamber-year (goal: under 150)")
    _say("of that: " + ", ".join(f"{name} {mb:.1f}" for name, mb in tables))


def _tell_times(path: Path, chambers: int, end_s: float) -> None:
    for question in _questions(path, chambers, end_s):
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


def _names(chambers: int) -> list[str]:
    return [f"chamber-{number + 1}" for number in range(chambers)]


def _moment(at_s: int) -> Moment:
    return Moment(at_s + 0.25, START_UTC_S + at_s + 0.25, wall_trusted=True)


def _say(line: str) -> None:
    sys.stdout.write(line + "\n")
    sys.stdout.flush()


def _options() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--folder", type=Path, required=True, help="where the journal is kept")
    parser.add_argument("--chambers", type=int, default=1)
    parser.add_argument("--days", type=int, default=365)
    parser.add_argument("--close-days", type=int, default=30, help="sampled every ten seconds")
    parser.add_argument("--anew", action="store_true", help="make the journal anew")
    return parser.parse_args()


if __name__ == "__main__":
    main()
