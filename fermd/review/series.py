"""The readings of a span, minute by minute or by quarter hours, a column for each figure.

What has been thinned is read from its minutes (or quarter hours, where these are gone or the span
is long); what has not been counted yet is counted here into the same buckets.
"""

from __future__ import annotations

from array import array
from bisect import bisect_left, bisect_right
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import chain

from sqlite_utils import Database

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
    db: Database,
    axis: TimeAxis,
    chamber: str,
    start_s: float,
    end_s: float,
    probe: str | None = None,
) -> dict[str, Series]:
    """Read every probe of a chamber, or only one, over a span.

    A probe without any row of it is left out.
    """
    names = dict(
        db.execute(
            "SELECT probe_key, probe FROM probes "
            "WHERE chamber = :chamber AND (:probe IS NULL OR probe = :probe)",
            {"chamber": chamber, "probe": probe},
        ).fetchall()
    )
    if not names:
        return {}
    step_s = _step_s(db, axis, names, start_s, end_s)
    found = {key: Series(step_s) for key in sorted(names)}
    for boot, offset_s in axis.offset_s_by_boot.items():
        for key, series in found.items():
            of_probe = (boot, key, start_s - offset_s, end_s - offset_s)
            _read_counted(db, series, offset_s + step_s / 2, of_probe)
    _read_fresh(db, axis, found, start_s, end_s)
    return {names[key]: series for key, series in found.items() if len(series) or series.bad}


_COLUMNS = 5
"""Middle, minimum, mean, maximum, good readings."""

_ROWS_AT_ONCE = 2000


def _read_counted(
    db: Database, series: Series, to_middle_s: float, of_probe: tuple[int, int, float, float]
) -> None:
    """Append one probe's buckets of one boot that the thinning has made.

    They lie side by side, as every probe's do, and the failed readings are asked for by themselves:
    each value that goes from SQLite to Python takes longer than SQLite takes to find it.
    """
    table = "rollup_minute" if series.step_s == MINUTE_S else "rollup_quarter_hour"
    of_these = (
        f"FROM {table} WHERE boot = ? AND probe_key = ? AND start_mono_s >= ? AND start_mono_s < ?"
    )
    rows = db.execute(
        "SELECT start_mono_s + ?, minimum_c, mean_c, maximum_c, good_readings "
        f"{of_these} AND mean_c IS NOT NULL ORDER BY start_mono_s",
        [to_middle_s, *of_probe],
    )
    while some := rows.fetchmany(_ROWS_AT_ONCE):
        # No object is kept for a row: that alone would take as long as all else.
        values = array("d", list(chain.from_iterable(some)))
        _append(series, [values[place::_COLUMNS] for place in range(_COLUMNS)])
    for at_s, count in db.execute(
        f"SELECT start_mono_s + ?, faulty_readings {of_these} AND faulty_readings > 0",
        [to_middle_s, *of_probe],
    ):
        series.bad[at_s] = series.bad.get(at_s, 0) + count


def _read_fresh(
    db: Database, axis: TimeAxis, found: Mapping[int, Series], start_s: float, end_s: float
) -> None:
    """Append the buckets of the readings that have not been counted yet: the newest of all."""
    (counted,) = db.execute("SELECT rolled_up_to_seq FROM rollup_progress").fetchone()
    oldest = db.execute(
        "SELECT boot FROM readings WHERE seq > ? ORDER BY seq LIMIT 1", [counted]
    ).fetchone()
    step_s = next(iter(found.values())).step_s
    for boot, offset_s in axis.offset_s_by_boot.items():
        if oldest is None or boot < oldest[0]:
            continue
        for key, at_s, *figures, bad in db.execute(
            f"SELECT probe_key, CAST(mono_s AS INTEGER) / {step_s} * {step_s} + ? AS at_s, "  # noqa: S608 - numbers
            "min(temp_c), avg(temp_c), max(temp_c), count(temp_c), count(*) - count(temp_c) "
            "FROM readings WHERE boot = ? AND mono_s >= ? AND mono_s < ? AND seq > ? "
            f"AND probe_key IN ({', '.join(map(str, found))}) GROUP BY at_s, probe_key",
            [offset_s + step_s / 2, boot, start_s - offset_s, end_s - offset_s, counted],
        ):
            if bad:
                found[key].bad[at_s] = found[key].bad.get(at_s, 0) + bad
            if figures[-1]:
                _append(found[key], [array("d", [one]) for one in (at_s, *figures)])


def _append(series: Series, columns: Sequence[array[float]]) -> None:
    at_s, low_c, mean_c, high_c, good = columns
    first = 0
    if series.at_s and at_s:
        if at_s[0] == series.at_s[-1]:
            # A bucket that was counted in part: the rest of it comes from the readings.
            before = series.good[-1]
            series.low_c[-1] = min(series.low_c[-1], low_c[0])
            series.high_c[-1] = max(series.high_c[-1], high_c[0])
            series.mean_c[-1] = (series.mean_c[-1] * before + mean_c[0] * good[0]) / (
                before + good[0]
            )
            series.good[-1] = before + good[0]
        # A boot that never knew the time may overlap the next by a bucket.
        first = bisect_right(at_s, series.at_s[-1])
    kept = (series.at_s, series.low_c, series.mean_c, series.high_c, series.good)
    for column, values in zip(kept, columns, strict=True):
        column.extend(values[first:])


def _step_s(
    db: Database, axis: TimeAxis, names: Mapping[int, str], start_s: float, end_s: float
) -> int:
    if end_s - start_s > LONGEST_BY_MINUTE_S:
        return QUARTER_HOUR_S
    # Quarter hours are kept for good: has the first of the span its minutes still?
    for boot, offset_s in axis.offset_s_by_boot.items():
        for key in names:
            first = db.execute(
                "SELECT start_mono_s FROM rollup_quarter_hour WHERE boot = ? AND probe_key = ? "
                "AND start_mono_s >= ? AND start_mono_s < ? LIMIT 1",
                [boot, key, start_s - offset_s, end_s - offset_s],
            ).fetchone()
            if first is None:
                continue
            finer = db.execute(
                "SELECT 1 FROM rollup_minute WHERE boot = ? AND probe_key = ? "
                "AND start_mono_s >= ? AND start_mono_s < ? LIMIT 1",
                [boot, key, first[0], first[0] + QUARTER_HOUR_S],
            ).fetchone()
            return MINUTE_S if finer else QUARTER_HOUR_S
    return MINUTE_S
