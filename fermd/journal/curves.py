"""Readings of a span of time, as closely as the record still has them and the asker wants them.

A spike is in the minimum or the maximum of every resolution. What the thinning has not counted
yet is counted when it is asked for, into the same buckets.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum
from typing import Any, NamedTuple

from sqlite_utils import Database

from fermd.journal.thinning import buckets_of


class Resolution(IntEnum):
    """How closely readings are told; the value is the bucket's length in seconds, 0 for raw."""

    RAW = 0
    MINUTE = 60
    QUARTER_HOUR = 900


class TemperaturePoint(NamedTuple):
    """One raw reading, or all readings of one probe in one bucket."""

    chamber: str
    probe: str
    boot: int
    mono_s: float
    """Of the reading, or of the bucket's start."""
    wall_utc_s: float
    wall_trusted: bool
    minimum_c: float | None
    """°C; None where there are only faults. All three are the same for a raw reading."""
    mean_c: float | None
    maximum_c: float | None
    good_readings: int
    faulty_readings: int
    fault: str | None = None
    """Of a raw reading."""


@dataclass(frozen=True, slots=True)
class Temperatures:
    """Readings of a span of time, all at one resolution, in the order in which they came."""

    resolution: Resolution
    points: tuple[TemperaturePoint, ...]


@dataclass(frozen=True, slots=True)
class Span:
    """Which readings are meant: those of a span of the wall clock, of all probes or some."""

    from_wall_utc_s: float
    to_wall_utc_s: float
    """Not itself in the span."""
    chamber: str | None = None
    probe: str | None = None

    def parameters(self, db: Database) -> dict[str, Any]:
        """As the statements below name them; `counted` is how far the thinning has come.

        That is a parameter because SQLite would read all readings if it stood in the statement.
        """
        (counted,) = db.execute("SELECT rolled_up_to_seq FROM rollup_progress").fetchone()
        return {
            "counted": counted,
            "first": self.from_wall_utc_s,
            "end": self.to_wall_utc_s,
            "chamber": self.chamber,
            "probe": self.probe,
        }


def read_temperatures(
    db: Database, span: Span, resolution: Resolution | None, most_points: int
) -> Temperatures:
    """The readings of a span; without a resolution, at the finest that fits. See JournalReader."""
    if resolution is None:
        resolution = _fitting(db, span, most_points)
    # Tuples with the probe's key, not dictionaries with its name: a batch has thousands of rows.
    names = {key: (chamber, probe) for key, chamber, probe in db.execute(_NAMES)}
    parameters = span.parameters(db)
    source = _source(resolution)
    if resolution is not Resolution.RAW and not _has_fresh(db, resolution, parameters):
        # All of it has been counted: nothing is to be joined, which is half of the work.
        source = f"SELECT *, NULL AS fault FROM {_counted(resolution)}"  # noqa: S608 - constants
    rows = db.execute(
        f"SELECT {_POINT_COLUMNS} FROM ({source}) WHERE {_CHOSEN} "  # noqa: S608 - constants
        "ORDER BY boot, start_mono_s, first_seq",
        parameters,
    )
    return Temperatures(resolution, tuple(_point(names, *row) for row in rows))


_NAMES = "SELECT probe_key, chamber, probe FROM probes"
_CHOSEN = (
    "probe_key IN (SELECT probe_key FROM probes WHERE "
    "(:chamber IS NULL OR chamber = :chamber) AND (:probe IS NULL OR probe = :probe))"
)
_POINT_COLUMNS = (
    "probe_key, boot, start_mono_s, start_wall_utc_s, wall_trusted, minimum_c, mean_c, maximum_c, "
    "good_readings, faulty_readings, fault"
)
_NOT_COUNTED_YET = "seq > :counted"
_RAW_COLUMNS = (
    "seq AS first_seq, boot, mono_s AS start_mono_s, probe_key, "
    "wall_utc_s AS start_wall_utc_s, wall_trusted, "
    "fault IS NULL AS good_readings, fault IS NOT NULL AS faulty_readings, "
    "temp_c AS minimum_c, temp_c AS mean_c, temp_c AS maximum_c, fault"
)
_QUARTER_HOURS = (
    "rollup_quarter_hour WHERE start_wall_utc_s > :first - 900 AND start_wall_utc_s < :end "
    f"AND {_CHOSEN}"
)

# Readings that have been counted are found through their quarter hours. Where the clock was
# stepped within a quarter hour, up to that much of it may be missed.
_RAW = f"""
    SELECT {_RAW_COLUMNS} FROM readings
        WHERE seq BETWEEN (SELECT min(first_seq) FROM {_QUARTER_HOURS})
            AND (SELECT max(last_seq) FROM {_QUARTER_HOURS})
        AND wall_utc_s >= :first AND wall_utc_s < :end
    UNION ALL SELECT {_RAW_COLUMNS} FROM readings
        WHERE {_NOT_COUNTED_YET} AND wall_utc_s >= :first AND wall_utc_s < :end"""  # noqa: S608 - constants


def _parts(resolution: Resolution) -> str:
    """The SELECT of everything in the span; a bucket that was counted in part is there twice."""
    if resolution is Resolution.RAW:
        return _RAW
    fresh = buckets_of(int(resolution), _fresh(resolution))
    return f"""SELECT * FROM {_counted(resolution)}
        UNION ALL SELECT * FROM ({fresh}) WHERE {_IN_SPAN}"""  # noqa: S608 - constants


_IN_SPAN = "start_wall_utc_s >= :first AND start_wall_utc_s < :end"


def _counted(resolution: Resolution) -> str:
    """The buckets of the span and the probes that the thinning has made."""
    table = "rollup_minute" if resolution is Resolution.MINUTE else "rollup_quarter_hour"
    return f"(SELECT * FROM {table} WHERE {_IN_SPAN} AND {_CHOSEN})"  # noqa: S608 - constants


def _fresh(resolution: Resolution) -> str:
    """Which readings of the span have not been counted yet."""
    bucket_s = int(resolution)
    return (
        f"{_NOT_COUNTED_YET} AND wall_utc_s >= :first - {bucket_s} "
        f"AND wall_utc_s < :end + {bucket_s}"
    )


def _has_fresh(db: Database, resolution: Resolution, parameters: dict[str, Any]) -> bool:
    query = f"SELECT 1 FROM readings WHERE {_fresh(resolution)} LIMIT 1"  # noqa: S608 - constants
    return db.execute(query, parameters).fetchone() is not None


def _source(resolution: Resolution) -> str:
    """The SELECT of everything in the span, each bucket once."""
    if resolution is Resolution.RAW:
        return _RAW
    return f"""
        SELECT min(first_seq) AS first_seq, boot, start_mono_s, probe_key,
            min(start_wall_utc_s) AS start_wall_utc_s, min(wall_trusted) AS wall_trusted,
            sum(good_readings) AS good_readings, sum(faulty_readings) AS faulty_readings,
            min(minimum_c) AS minimum_c,
            sum(mean_c * good_readings) / sum(good_readings) FILTER (WHERE mean_c IS NOT NULL)
                AS mean_c,
            max(maximum_c) AS maximum_c, NULL AS fault
        FROM ({_parts(resolution)})
        GROUP BY boot, start_mono_s, probe_key"""  # noqa: S608 - constants


def _point(
    names: dict[int, tuple[str, str]],
    probe_key: int,
    boot: int,
    mono_s: float,
    wall_utc_s: float,
    wall_trusted: int,
    *rest: Any,
) -> TemperaturePoint:
    chamber, probe = names[probe_key]
    return TemperaturePoint(chamber, probe, boot, mono_s, wall_utc_s, wall_trusted > 0, *rest)


def _fitting(db: Database, span: Span, most_points: int) -> Resolution:
    (quarter_hours,) = db.execute(
        "SELECT count(*) FROM (SELECT 1 FROM rollup_quarter_hour "  # noqa: S608 - constants
        f"WHERE {_IN_SPAN} AND {_CHOSEN} LIMIT :limit)",
        {**span.parameters(db), "limit": most_points + 1},
    ).fetchone()
    if quarter_hours > most_points:
        # Of anything finer there are no fewer, and counting them takes long.
        return Resolution.QUARTER_HOUR
    for resolution in (Resolution.RAW, Resolution.MINUTE):
        if not _covers(db, resolution, span):
            continue
        (count,) = db.execute(
            f"SELECT count(*) FROM (SELECT 1 FROM ({_parts(resolution)}) "  # noqa: S608 - constants
            f"WHERE {_CHOSEN} LIMIT :limit)",
            {**span.parameters(db), "limit": most_points + 1},
        ).fetchone()
        if count <= most_points:
            return resolution
    return Resolution.QUARTER_HOUR


def _covers(db: Database, resolution: Resolution, span: Span) -> bool:
    """Whether nothing of the span has been thinned away at this resolution."""
    # Quarter hours are kept for good: is the first of the span's still there more finely?
    first = db.execute(
        "SELECT first_seq, boot, start_mono_s, probe_key FROM rollup_quarter_hour "  # noqa: S608 - constants
        f"WHERE {_IN_SPAN} AND {_CHOSEN} ORDER BY first_seq LIMIT 1",
        span.parameters(db),
    ).fetchone()
    if first is None:
        return True
    if resolution is Resolution.RAW:
        finer = db.execute("SELECT 1 FROM readings WHERE seq = ?", first[:1])
    else:
        finer = db.execute(
            "SELECT 1 FROM rollup_minute WHERE boot = ? AND probe_key = ? AND start_mono_s >= ? "
            "AND start_mono_s < ? LIMIT 1",
            (first[1], first[3], first[2], first[2] + 900),
        )
    return finer.fetchone() is not None
