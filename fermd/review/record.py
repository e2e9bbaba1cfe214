"""A span of the journal as series and marks, ready to be summed up or drawn.

Everything comes from rows; nothing is simulated or guessed. Times are wall time (POSIX, s) as
`time_axis` lays the boots onto it: what lies between two moments of one boot is exact, whatever
was done to the wall clock. Where the readings have been thinned, their minutes and quarter hours
stand in for them.
"""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from sqlite_utils import Database

from fermd.journal.readonly import connect_to_read
from fermd.review.points import Points
from fermd.review.target_track import Corner, read_target, target_at
from fermd.review.time_axis import TimeAxis, read_time_axis


@dataclass(frozen=True, slots=True)
class Bucket:
    """A probe's readings over a short span: a spike shows in its minimum or maximum."""

    at_s: float
    minimum_c: float
    mean_c: float
    maximum_c: float


@dataclass(frozen=True, slots=True)
class Run:
    """One run of an output."""

    output: str
    duty: str
    start_s: float
    end_s: float | None
    """None: rows were lost, and nobody knows."""
    started_by: str
    """The rule that started it."""
    is_over: bool = True
    """False: it goes on at the end of the record, which is its `end_s`."""


@dataclass(frozen=True, slots=True)
class Mark:
    """Something that happened at one moment: a step, an alarm, a note."""

    at_s: float
    kind: str
    text: str


@dataclass(frozen=True, slots=True)
class Record:
    """One chamber over a span."""

    chamber: str
    start_s: float
    end_s: float
    probes: dict[str, tuple[Bucket, ...]]
    runs: tuple[Run, ...]
    target: tuple[Corner, ...]
    marks: tuple[Mark, ...]

    def target_at(self, at_s: float) -> tuple[float, float] | None:
        """Return the target at a moment as (heat, cool), °C; None if there was none."""
        return target_at(self.target, at_s)


BUCKETS = 1200
"""As many as a picture has columns of pixels: more could not be seen."""


def read_record(path: Path, chamber: str, buckets: int = BUCKETS) -> Record:
    """Read everything that a journal has of one chamber.

    Raises LookupError if it has nothing, sqlite3.Error if it cannot be read.
    """
    with closing(connect_to_read(path)) as connection:
        return _read(Database(connection, execute_plugins=False), chamber, buckets)


def _read(db: Database, chamber: str, buckets: int) -> Record:
    axis = read_time_axis(db)
    points = Points(db, chamber)
    ends = [
        axis.offset_s_by_boot[boot] + mono_s
        for boot, *span in points.spans(axis.offset_s_by_boot)
        for mono_s in span
    ]
    if not ends:
        raise LookupError(f"the journal has no reading of a chamber {chamber!r}")
    start_s, end_s = min(ends), max(ends)
    return Record(
        chamber,
        start_s,
        end_s,
        _probes(points, axis, start_s, max(1.0, (end_s - start_s) / buckets)),
        _runs(db, chamber, axis, end_s),
        read_target(db, chamber, axis),
        _marks(db, chamber, axis),
    )


def _probes(
    points: Points, axis: TimeAxis, start_s: float, width_s: float
) -> dict[str, tuple[Bucket, ...]]:
    found: dict[str, list[Bucket]] = {}
    for probe, *bucket in points.buckets(axis.offset_s_by_boot, start_s, width_s):
        found.setdefault(probe, []).append(Bucket(*bucket))
    return {probe: tuple(series) for probe, series in found.items()}


def _runs(db: Database, chamber: str, axis: TimeAxis, end_s: float) -> tuple[Run, ...]:
    """Pair each `on` with what follows it for the same output."""
    running: dict[str, Run] = {}
    found: list[Run] = []
    for row in db.query(
        "SELECT seq, boot, mono_s, output, duty, is_on, reason_rule FROM output_changes "
        "WHERE chamber = ? ORDER BY boot, mono_s, seq",
        [chamber],
    ):
        at_s = axis.at_s(row)
        begun = running.pop(row["output"], None)
        if begun is not None:
            # Two starts with no stop between: rows were lost.
            end = None if row["is_on"] else at_s
            found.append(Run(begun.output, begun.duty, begun.start_s, end, begun.started_by))
        if row["is_on"]:
            rule = row["reason_rule"] or ""
            running[row["output"]] = Run(row["output"], row["duty"], at_s, None, rule)
    for begun in running.values():
        until_s = max(begun.start_s, end_s)
        found.append(
            Run(begun.output, begun.duty, begun.start_s, until_s, begun.started_by, is_over=False)
        )
    return tuple(sorted(found, key=lambda run: run.start_s))


def _marks(db: Database, chamber: str, axis: TimeAxis) -> tuple[Mark, ...]:
    rows = db.query(
        "SELECT seq, boot, mono_s, 'step' AS kind, "
        "CASE step_name WHEN '' THEN step_kind ELSE step_name END AS text "
        "FROM step_changes WHERE chamber = :chamber AND change = 'entered' "
        "UNION ALL SELECT seq, boot, mono_s, 'alarm', alarm FROM alarm_changes "
        "WHERE chamber = :chamber AND phase = 'raised' "
        "UNION ALL SELECT seq, boot, mono_s, 'note', note FROM notes WHERE chamber = :chamber "
        "AND takes_back_seq IS NULL AND seq NOT IN "
        "(SELECT takes_back_seq FROM notes WHERE takes_back_seq IS NOT NULL) "
        "ORDER BY seq",
        {"chamber": chamber},
    )
    marks = [Mark(axis.at_s(row), row["kind"], row["text"]) for row in rows]
    return tuple(sorted(marks, key=lambda mark: mark.at_s))


def runs_of(record: Record, duty: str) -> Sequence[Run]:
    """Return the runs of the output with this duty."""
    return [run for run in record.runs if run.duty == duty]
