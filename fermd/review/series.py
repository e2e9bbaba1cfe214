"""The readings of a span, minute by minute or by quarter hours, a column for each figure.

What has been thinned is read from its minutes (or quarter hours, where these are gone or the span
is long); what has not been counted yet is counted here into the same buckets.
"""

from __future__ import annotations

from array import array
from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Mapping
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
    columns: dict[int, Series] = {}
    for bucket in _buckets(db, axis, names, start_s, end_s, step_s):
        _add(columns.setdefault(bucket[0], Series(step_s)), bucket)
    return {names[key]: series for key, series in sorted(columns.items())}


_Bucket = tuple[int, float, float | None, float | None, float | None, int, int]


def _add(
    series: Series,
    bucket: _Bucket,
) -> None:
    _, at_s, low_c, mean_c, high_c, good, bad = bucket
    if bad:
        series.bad[at_s] = series.bad.get(at_s, 0) + bad
    if mean_c is None or low_c is None or high_c is None or not good:
        return
    if series.at_s and at_s <= series.at_s[-1]:
        if at_s < series.at_s[-1]:
            # A boot that never knew the time may overlap the next by a bucket.
            return
        # A bucket that was counted in part: the rest of it comes from the readings.
        before = series.good[-1]
        series.low_c[-1] = min(series.low_c[-1], low_c)
        series.high_c[-1] = max(series.high_c[-1], high_c)
        series.mean_c[-1] = (series.mean_c[-1] * before + mean_c * good) / (before + good)
        series.good[-1] = before + good
        return
    series.at_s.append(at_s)
    series.low_c.append(low_c)
    series.mean_c.append(mean_c)
    series.high_c.append(high_c)
    series.good.append(good)


def _buckets(
    db: Database,
    axis: TimeAxis,
    names: Mapping[int, str],
    start_s: float,
    end_s: float,
    step_s: int,
) -> Iterator[_Bucket]:
    (counted,) = db.execute("SELECT rolled_up_to_seq FROM rollup_progress").fetchone()
    ours = f"probe_key IN ({', '.join(map(str, names))})"
    table = "rollup_minute" if step_s == MINUTE_S else "rollup_quarter_hour"
    for boot, offset_s in axis.offset_s_by_boot.items():
        span = [boot, start_s - offset_s, end_s - offset_s]
        middle_s = offset_s + step_s / 2
        for key, at_s, *rest in db.execute(
            f"SELECT probe_key, start_mono_s, minimum_c, mean_c, maximum_c, good_readings, "  # noqa: S608 - constants
            f"faulty_readings FROM {table} WHERE boot = ? AND start_mono_s >= ? "
            f"AND start_mono_s < ? AND {ours} ORDER BY start_mono_s",
            span,
        ):
            yield key, at_s + middle_s, *rest
        for reading_table in READING_TABLES:
            for key, at_s, *rest in db.execute(
                f"SELECT probe_key, CAST(mono_s AS INTEGER) / {step_s} * {step_s} AS start, "  # noqa: S608 - constants
                "min(temp_c), avg(temp_c), max(temp_c), count(temp_c), "
                f"count(*) - count(temp_c) FROM {reading_table} WHERE seq > ? AND boot = ? "
                f"AND mono_s >= ? AND mono_s < ? AND {ours} GROUP BY start, probe_key "
                "ORDER BY start",
                [counted, *span],
            ):
                yield key, at_s + middle_s, *rest


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
