"""The readings of a span, minute by minute or by quarter hours, a column for each figure.

What has been thinned is read from its minutes (or quarter hours, where these are gone or the span
is long); what has not been counted yet is counted here into the same buckets.
"""

from __future__ import annotations

from array import array
from bisect import bisect_left, bisect_right
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from sqlite_utils import Database

from fermd.journal.schema import READING_TABLES
from fermd.review.time_axis import TimeAxis

MINUTE_S, QUARTER_HOUR_S = 60, 900

LONGEST_BY_MINUTE_S = 62 * 86400.0
"""A longer span is read by quarter hours: two months of minutes are as many rows as a review reads
within a second on a small board."""


def _column() -> array[float]:
    return array("d")


@dataclass(slots=True)
class Series:
    """The readings of one probe, bucket by bucket in the order of time; empty ones are absent."""

    step_s: int
    """Length of a bucket, s."""
    at_s: array[float] = field(default_factory=_column)
    """The middle of each bucket (POSIX, s)."""
    low_c: array[float] = field(default_factory=_column)
    mean_c: array[float] = field(default_factory=_column)
    high_c: array[float] = field(default_factory=_column)
    good: array[float] = field(default_factory=_column)
    """How many readings the bucket has."""
    bad: dict[float, int] = field(default_factory=dict)
    """How many readings failed, by the middle of the bucket; also of buckets without a good one."""

    def __len__(self) -> int:
        """How many buckets have a reading."""
        return len(self.at_s)

    def places(self, from_s: float, to_s: float) -> range:
        """The places of the buckets within a span."""
        return range(bisect_left(self.at_s, from_s), bisect_right(self.at_s, to_s))

    def at(self, when_s: float, within_s: float | None = None) -> float | None:
        """The mean of the bucket nearest to a moment, °C; None if none is near enough.

        Near enough is a bucket and a half unless told otherwise.
        """
        limit_s = 1.5 * self.step_s if within_s is None else within_s
        place = bisect_left(self.at_s, when_s)
        near = [
            (abs(self.at_s[one] - when_s), one)
            for one in (place - 1, place)
            if 0 <= one < len(self.at_s)
        ]
        if not near or min(near)[0] > limit_s:
            return None
        return self.mean_c[min(near)[1]]

    def mean(self, from_s: float, to_s: float) -> float | None:
        """The mean over a span, °C; None without a bucket in it."""
        places = self.places(from_s, to_s)
        if not places:
            return None
        return sum(self.mean_c[places.start : places.stop]) / len(places)


def read_series(
    db: Database, axis: TimeAxis, chamber: str, start_s: float, end_s: float
) -> dict[str, Series]:
    """Read every probe of a chamber over a span; a probe without any row of it is left out."""
    names = dict(
        db.execute("SELECT probe_key, probe FROM probes WHERE chamber = ?", [chamber]).fetchall()
    )
    if not names:
        return {}
    step_s = _step_s(db, axis, names, start_s, end_s)
    found = {key: Series(step_s) for key in sorted(names)}
    for key, series in found.items():
        _read(db, axis, series, key, start_s, end_s)
    return {names[key]: series for key, series in found.items() if len(series) or series.bad}


def _read(
    db: Database, axis: TimeAxis, series: Series, key: int, start_s: float, end_s: float
) -> None:
    """Read one probe, column by column: a batch has tens of thousands of buckets."""
    (counted,) = db.execute("SELECT rolled_up_to_seq FROM rollup_progress").fetchone()
    step_s = series.step_s
    table = "rollup_minute" if step_s == MINUTE_S else "rollup_quarter_hour"
    for boot, offset_s in axis.offset_s_by_boot.items():
        middle_s = offset_s + step_s / 2
        where = "boot = ? AND start_mono_s >= ? AND start_mono_s < ? AND probe_key = ?"
        span = [boot, start_s - offset_s, end_s - offset_s, key]
        rows = db.execute(
            "SELECT start_mono_s + ?, minimum_c, mean_c, maximum_c, good_readings "  # noqa: S608 - constants
            f"FROM {table} WHERE {where} AND mean_c IS NOT NULL ORDER BY start_mono_s",
            [middle_s, *span],
        ).fetchall()
        _extend(series, rows)
        for at_s, bad in db.execute(
            f"SELECT start_mono_s + ?, faulty_readings FROM {table} "  # noqa: S608 - constants
            f"WHERE {where} AND faulty_readings > 0",
            [middle_s, *span],
        ).fetchall():
            series.bad[at_s] = series.bad.get(at_s, 0) + bad
        for reading_table in READING_TABLES:
            fresh = db.execute(
                f"SELECT CAST(mono_s AS INTEGER) / {step_s} * {step_s} + ? AS at_s, "  # noqa: S608 - constants
                "min(temp_c), avg(temp_c), max(temp_c), count(temp_c), count(*) - count(temp_c) "
                f"FROM {reading_table} WHERE seq > ? AND boot = ? AND mono_s >= ? AND mono_s < ? "
                "AND probe_key = ? GROUP BY at_s ORDER BY at_s",
                [middle_s, counted, *span],
            ).fetchall()
            for at_s, *_, bad in fresh:
                if bad:
                    series.bad[at_s] = series.bad.get(at_s, 0) + bad
            _extend(series, [row[:5] for row in fresh if row[4]])


_Row = tuple[float, float, float, float, int]


def _extend(series: Series, rows: Sequence[_Row]) -> None:
    """Append buckets that come later than all before; the first may go on with the last one."""
    if rows and series.at_s and rows[0][0] == series.at_s[-1]:
        # A bucket that was counted in part: the rest of it comes from the readings.
        (_, low_c, mean_c, high_c, good), before = rows[0], series.good[-1]
        series.low_c[-1] = min(series.low_c[-1], low_c)
        series.high_c[-1] = max(series.high_c[-1], high_c)
        series.mean_c[-1] = (series.mean_c[-1] * before + mean_c * good) / (before + good)
        series.good[-1] = before + good
        rows = rows[1:]
    if series.at_s:
        # A boot that never knew the time may overlap the next by a bucket.
        last_s = series.at_s[-1]
        first = next((place for place, row in enumerate(rows) if row[0] > last_s), len(rows))
        rows = rows[first:]
    if not rows:
        return
    columns = (series.at_s, series.low_c, series.mean_c, series.high_c, series.good)
    for column, values in zip(columns, zip(*rows, strict=True), strict=True):
        column.extend(values)


def _step_s(
    db: Database, axis: TimeAxis, names: Mapping[int, str], start_s: float, end_s: float
) -> int:
    if end_s - start_s > LONGEST_BY_MINUTE_S:
        return QUARTER_HOUR_S
    # Quarter hours are kept for good: has the first of the span its minutes still?
    ours = f"probe_key IN ({', '.join(map(str, names))})"
    for boot, offset_s in axis.offset_s_by_boot.items():
        first = db.execute(
            "SELECT start_mono_s FROM rollup_quarter_hour WHERE boot = ? "  # noqa: S608 - numbers
            f"AND start_mono_s >= ? AND start_mono_s < ? AND {ours} LIMIT 1",
            [boot, start_s - offset_s, end_s - offset_s],
        ).fetchone()
        if first is None:
            continue
        finer = db.execute(
            "SELECT 1 FROM rollup_minute WHERE boot = ? AND start_mono_s >= ? "
            "AND start_mono_s < ? LIMIT 1",
            [boot, first[0], first[0] + QUARTER_HOUR_S],
        ).fetchone()
        return MINUTE_S if finer else QUARTER_HOUR_S
    return MINUTE_S
