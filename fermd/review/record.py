"""A span of the journal as series and marks, ready to be summed up or drawn.

Everything comes from rows; nothing is simulated or guessed. Times are wall time (POSIX, s), as
the journal has mended them.
"""

from __future__ import annotations

import sqlite3
from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from sqlite_utils import Database


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
    end_s: float
    started_by: str
    """The rule that started it."""


@dataclass(frozen=True, slots=True)
class Corner:
    """A point of the target's track; between two corners it is constant, or a straight ramp."""

    at_s: float
    heat_c: float | None
    cool_c: float | None


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
        after = bisect_right(self.target, at_s, key=lambda corner: corner.at_s)
        if after == 0:
            return None
        before = self.target[after - 1]
        if before.heat_c is None or before.cool_c is None:
            return None
        if after == len(self.target):
            return before.heat_c, before.cool_c
        following = self.target[after]
        if following.heat_c is None or following.cool_c is None:
            return before.heat_c, before.cool_c
        share = (at_s - before.at_s) / max(1e-9, following.at_s - before.at_s)
        return (
            before.heat_c + share * (following.heat_c - before.heat_c),
            before.cool_c + share * (following.cool_c - before.cool_c),
        )


BUCKETS = 1200
"""As many as a picture has columns of pixels: more could not be seen."""


def read_record(path: Path, chamber: str, buckets: int = BUCKETS) -> Record:
    """Read everything that a journal has of one chamber.

    Raises LookupError if it has nothing.
    """
    uri = path.absolute().as_uri() + "?mode=ro"
    db = Database(sqlite3.connect(uri, uri=True), execute_plugins=False)
    try:
        return _read(db, chamber, buckets)
    finally:
        db.close()


def _read(db: Database, chamber: str, buckets: int) -> Record:
    span = next(
        iter(
            db.query(
                "SELECT min(wall_utc_s) AS start_s, max(wall_utc_s) AS end_s "
                "FROM temperatures WHERE chamber = ?",
                [chamber],
            )
        )
    )
    if span["start_s"] is None:
        raise LookupError(f"the journal has no reading of a chamber {chamber!r}")
    start_s, end_s = float(span["start_s"]), float(span["end_s"])
    width_s = max(1.0, (end_s - start_s) / buckets)
    return Record(
        chamber,
        start_s,
        end_s,
        _probes(db, chamber, start_s, width_s),
        _runs(db, chamber, end_s),
        _target(db, chamber),
        _marks(db, chamber),
    )


def _probes(
    db: Database, chamber: str, start_s: float, width_s: float
) -> dict[str, tuple[Bucket, ...]]:
    found: dict[str, list[Bucket]] = {}
    for row in db.query(
        "SELECT probe, avg(wall_utc_s) AS at_s, min(temp_c) AS minimum_c, avg(temp_c) AS mean_c, "
        "max(temp_c) AS maximum_c FROM temperatures "
        "WHERE chamber = ? AND temp_c IS NOT NULL "
        "GROUP BY probe, CAST((wall_utc_s - ?) / ? AS INTEGER) ORDER BY at_s",
        [chamber, start_s, width_s],
    ):
        bucket = Bucket(row["at_s"], row["minimum_c"], row["mean_c"], row["maximum_c"])
        found.setdefault(row["probe"], []).append(bucket)
    return {probe: tuple(series) for probe, series in found.items()}


def _runs(db: Database, chamber: str, end_s: float) -> tuple[Run, ...]:
    return tuple(
        Run(
            row["output"],
            row["duty"],
            row["start_wall_utc_s"],
            row["end_wall_utc_s"] if row["end_wall_utc_s"] is not None else end_s,
            row["start_rule"] or "",
        )
        for row in db.query("SELECT * FROM output_runs WHERE chamber = ?", [chamber])
    )


def _target(db: Database, chamber: str) -> tuple[Corner, ...]:
    """Return the target's track: a step up or down is two corners, a ramp is its two ends."""
    changes = list(
        db.query(
            "SELECT wall_utc_s, heat_c, cool_c FROM target_changes WHERE chamber = ? ORDER BY seq",
            [chamber],
        )
    )
    ramps = {
        row["wall_utc_s"]
        for row in db.query(
            "SELECT wall_utc_s FROM step_changes "
            "WHERE chamber = ? AND step_kind = 'ramp' AND change IN ('ended', 'skipped')",
            [chamber],
        )
    }
    ramp_starts = [
        float(row["wall_utc_s"])
        for row in db.query(
            "SELECT wall_utc_s FROM step_changes "
            "WHERE chamber = ? AND step_kind = 'ramp' AND change = 'entered' ORDER BY seq",
            [chamber],
        )
    ]
    corners: list[Corner] = []
    for change in changes:
        at_s = float(change["wall_utc_s"])
        if corners:
            last = corners[-1]
            began = [start for start in ramp_starts if last.at_s <= start < at_s]
            held_until_s = began[-1] if at_s in ramps and began else at_s
            corners.append(Corner(held_until_s, last.heat_c, last.cool_c))
        corners.append(Corner(at_s, change["heat_c"], change["cool_c"]))
    return tuple(corners)


def _marks(db: Database, chamber: str) -> tuple[Mark, ...]:
    steps = db.query(
        "SELECT wall_utc_s, 'step' AS kind, step_kind AS text, step_name FROM step_changes "
        "WHERE chamber = ? AND change = 'entered' ORDER BY seq",
        [chamber],
    )
    marks = [Mark(row["wall_utc_s"], "step", row["step_name"] or row["text"]) for row in steps]
    marks += [
        Mark(row["wall_utc_s"], "alarm", row["alarm"])
        for row in db.query(
            "SELECT wall_utc_s, alarm FROM alarm_changes "
            "WHERE chamber = ? AND phase = 'raised' ORDER BY seq",
            [chamber],
        )
    ]
    marks += [
        Mark(row["wall_utc_s"], "note", row["note"])
        for row in db.query(
            "SELECT wall_utc_s, note FROM notes WHERE chamber = ? ORDER BY seq", [chamber]
        )
    ]
    return tuple(sorted(marks, key=lambda mark: mark.at_s))


def runs_of(record: Record, duty: str) -> Sequence[Run]:
    """Return the runs of the output with this duty."""
    return [run for run in record.runs if run.duty == duty]
