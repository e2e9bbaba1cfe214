"""The readings of a span, minute by minute or by quarter hours, a column for each figure.

What has been thinned is read from its minutes (or quarter hours, where these are gone or the span
is long); what has not been counted yet is counted here into the same buckets.
"""

from __future__ import annotations

from array import array
from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import chain, compress
from math import inf

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
    for boot, offset_s in axis.offset_s_by_boot.items():
        for rows in _rows(db, boot, offset_s, tuple(found), step_s, (start_s, end_s)):
            # No object is kept for a row: that alone would take as long as all else.
            table = array("d", chain.from_iterable(rows))
            keys, *columns = (table[place::_COLUMNS] for place in range(_COLUMNS))
            for key, series in found.items():
                _extend(series, _of_probe(key, keys, columns, len(found)))
    return {names[key]: series for key, series in found.items() if len(series) or series.bad}


_COLUMNS = 7
"""Key of the probe, middle, minimum, mean, maximum, good readings, failed ones."""


def _rows(
    db: Database,
    boot: int,
    offset_s: float,
    keys: Sequence[int],
    step_s: int,
    span: tuple[float, float],
) -> Iterator[Iterable[Sequence[float]]]:
    """The buckets of some probes in one boot: those that were counted, then the fresh ones.

    All probes in one pass: in the table they lie side by side, with those of every other chamber.
    """
    (counted,) = db.execute("SELECT rolled_up_to_seq FROM rollup_progress").fetchone()
    ours = f"probe_key IN ({', '.join(map(str, keys))})"
    given = [offset_s + step_s / 2, boot, span[0] - offset_s, span[1] - offset_s]
    table = "rollup_minute" if step_s == MINUTE_S else "rollup_quarter_hour"
    yield db.execute(
        f"SELECT probe_key, start_mono_s + ?, {_TEMPERATURES}, good_readings, faulty_readings "  # noqa: S608 - constants
        f"FROM {table} WHERE boot = ? AND start_mono_s >= ? AND start_mono_s < ? AND {ours} "
        "ORDER BY start_mono_s",
        given,
    )
    for reading_table in READING_TABLES:
        yield db.execute(
            f"SELECT probe_key, at_s, {_TEMPERATURES}, good_readings, faulty_readings FROM ("  # noqa: S608 - constants
            f"SELECT probe_key, CAST(mono_s AS INTEGER) / {step_s} * {step_s} + ? AS at_s, "
            "min(temp_c) AS minimum_c, avg(temp_c) AS mean_c, max(temp_c) AS maximum_c, "
            "count(temp_c) AS good_readings, count(*) - count(temp_c) AS faulty_readings "
            f"FROM {reading_table} WHERE boot = ? AND mono_s >= ? AND mono_s < ? AND {ours} "
            "AND seq > ? GROUP BY probe_key, at_s) ORDER BY at_s",
            [*given, counted],
        )


def _of_probe(
    key: int, keys: array[float], columns: Sequence[array[float]], probes: int
) -> list[array[float]]:
    """One probe's part of columns that all probes share."""
    count = keys.count(key)
    if count:
        # As long as none is missing in any bucket, each comes in its turn.
        first = keys.index(key)
        if keys[first::probes].count(key) == len(keys[first::probes]) == count:
            return [column[first::probes] for column in columns]
    ours = [one == key for one in keys]
    return [array("d", compress(column, ours)) for column in columns]


_TEMPERATURES = ", ".join(f"ifnull({name}, 9e999)" for name in ("minimum_c", "mean_c", "maximum_c"))
"""Infinite where every reading failed, since a column of numbers has no place for NULL."""


def _extend(series: Series, columns: Sequence[array[float]]) -> None:
    """Append buckets that come later than all before; the first may go on with the last one."""
    at_s, *figures, bad = columns
    if any(bad):
        for one_s, count in zip(at_s, bad, strict=True):
            if count:
                series.bad[one_s] = series.bad.get(one_s, 0) + int(count)
    kept = [at_s, *figures]
    if inf in (mean_c := kept[2]):
        known = [one_c != inf for one_c in mean_c]
        kept = [array("d", compress(column, known)) for column in kept]
    _append(series, kept)


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
