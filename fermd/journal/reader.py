"""Questions to the journal, each answered over a connection that lives as long as the answer.

For the page, the command line and the review. Nothing here writes, and nothing keeps the file
open: see readonly.py for why. The order is always that in which things happened.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from sqlite_utils import Database

from fermd.control.moment import Moment
from fermd.journal.curves import Resolution, Span, Temperatures, read_temperatures
from fermd.journal.figures import Figures, figures_of
from fermd.journal.readonly import connect_to_read
from fermd.journal.rows import (
    OUTPUT_COLUMNS,
    BrewerNote,
    Happening,
    happening_of,
    output_change,
)
from fermd.journal.runs import RUNS, STARTS_BY_HOUR
from fermd.journal.schema import EVENT_TABLES, KNOWN_VERSION, version_fault, version_of


class JournalUnreadable(Exception):  # noqa: N818 - reads as what it says
    """The journal cannot be read; the text names the file, the cause and what to do."""


@dataclass(frozen=True, slots=True)
class EventRow:
    """One thing that happened, and when."""

    seq: int
    """Its place in the order of everything."""
    boot: int
    """Numbers the boots; `moment.mono_s` can only be compared within one."""
    moment: Moment
    wall_mended: bool
    """The wall time was put right afterwards, from the monotonic clock."""
    chamber: str
    """Empty for what befell the whole site."""
    happening: Happening

    def plain(self) -> dict[str, Any]:
        """The row as JSON can have it; `kind` names the type of what happened."""
        return {
            "seq": self.seq,
            "boot": self.boot,
            "mono_s": self.moment.mono_s,
            "wall_utc_s": self.moment.wall_utc_s,
            "wall_trusted": self.moment.wall_trusted,
            "wall_mended": self.wall_mended,
            "chamber": self.chamber,
            "kind": type(self.happening).__name__,
            "what": asdict(self.happening),
        }


@dataclass(frozen=True, slots=True)
class OutputRun:
    """One run of an output, from on to off."""

    chamber: str
    output: str
    duty: str
    line: str
    start_seq: int
    start_wall_utc_s: float
    wall_trusted: bool
    """Of the start."""
    start_rule: str | None
    start_limit_c: float | None
    """What that rule held the beer against, °C: where a call of its band began."""
    end_wall_utc_s: float | None
    """None: it runs still, or rows were lost and nobody knows."""
    end_rule: str | None
    end_presumed: bool
    """Nobody saw the end: the daemon ended without a word, and this is its last known moment."""
    lasted_s: float | None


@dataclass(frozen=True, slots=True)
class StartsInHour:
    """How often an output was started in one hour of the wall clock."""

    chamber: str
    output: str
    hour_utc: str
    """As `2026-07-04 12:00`."""
    starts: int


class JournalReader:
    """Reads the journal at `path`. Every method may raise JournalUnreadable."""

    def __init__(self, path: Path) -> None:
        self.path = path

    def last_events(self, most: int, *, chamber: str | None = None) -> list[EventRow]:
        """The last so many things that happened, oldest first.

        Of one chamber, and of the whole site, if a chamber is named.
        """
        return self._events("1", (), chamber, most)

    def events_between(
        self,
        from_wall_utc_s: float,
        to_wall_utc_s: float,
        *,
        chamber: str | None = None,
        most: int = 10_000,
    ) -> list[EventRow]:
        """What happened in a span of the wall clock, oldest first; the last `most` of it."""
        where = "wall_utc_s >= ? AND wall_utc_s < ?"
        return self._events(where, (from_wall_utc_s, to_wall_utc_s), chamber, most)

    def events_after(
        self, seq: int, *, most: int = 10_000, tables: Sequence[str] = EVENT_TABLES
    ) -> list[EventRow]:
        """What has happened since the row with this `seq`, oldest first; the last `most` of it.

        Only what the named ones of `EVENT_TABLES` tell, if they are not all wanted.
        """
        return self._events("seq > ?", (seq,), None, most, tables)

    def rows_of(
        self,
        table: str,
        from_wall_utc_s: float,
        to_wall_utc_s: float,
        *,
        chamber: str | None = None,
        most: int = 10_000,
    ) -> list[EventRow]:
        """Only what one of `EVENT_TABLES` tells of a span, oldest first; the last `most` of it."""
        where = "wall_utc_s >= ? AND wall_utc_s < ?"
        span = (from_wall_utc_s, to_wall_utc_s)
        return self._events(where, span, chamber, most, (table,))

    def notes(self, chamber: str, most: int) -> list[tuple[EventRow, BrewerNote]]:
        """The last notes of a chamber, oldest first, with those that take others back."""
        rows = self._events("1", (), chamber, most, ("notes",))
        return [(row, row.happening) for row in rows if isinstance(row.happening, BrewerNote)]

    def temperatures(
        self,
        from_wall_utc_s: float,
        to_wall_utc_s: float,
        *,
        chamber: str | None = None,
        probe: str | None = None,
        most_points: int = 5000,
        resolution: Resolution | None = None,
    ) -> Temperatures:
        """Readings of a span of the wall clock.

        Without a `resolution`, the finest that covers the whole span and has no more than
        `most_points` points; where even quarter hours are more, quarter hours. A spike is in the
        minimum or maximum of every resolution.
        """
        span = Span(from_wall_utc_s, to_wall_utc_s, chamber, probe)
        with self._open() as db:
            return read_temperatures(db, span, resolution, most_points)

    def output_runs(
        self, from_wall_utc_s: float, to_wall_utc_s: float, *, chamber: str | None = None
    ) -> list[OutputRun]:
        """The runs that began in a span of the wall clock, in order."""
        with self._open() as db:
            span = {"first": from_wall_utc_s, "end": to_wall_utc_s, "chamber": chamber}
            return [_run(row) for row in db.query(RUNS, span)]

    def starts_by_hour(
        self, from_wall_utc_s: float, to_wall_utc_s: float, *, chamber: str | None = None
    ) -> list[StartsInHour]:
        """How often each output was started, hour by hour; hours without a start are left out."""
        with self._open() as db:
            span = {"first": from_wall_utc_s, "end": to_wall_utc_s, "chamber": chamber}
            return [StartsInHour(**row) for row in db.query(STARTS_BY_HOUR, span)]

    def span(self) -> tuple[float, float] | None:
        """The earliest and the latest trusted wall time of any reading; None without one.

        Exact to a quarter of an hour.
        """
        query = (
            "SELECT min(wall) AS first, max(wall) AS last FROM ("
            "SELECT wall_utc_s AS wall FROM readings WHERE wall_trusted > 0 "
            "AND seq > (SELECT rolled_up_to_seq FROM rollup_progress) UNION ALL "
            "SELECT start_wall_utc_s FROM rollup_quarter_hour WHERE wall_trusted > 0)"
        )
        with self._open() as db:
            row = next(iter(db.query(query)))
        return None if row["first"] is None else (row["first"], row["last"])

    def figures(self) -> Figures:
        """Sizes and counts, as far as the file tells."""
        with self._open():
            return figures_of(self.path)

    def _events(
        self,
        where: str,
        values: Sequence[float],
        chamber: str | None,
        most: int,
        tables: Sequence[str] = EVENT_TABLES,
    ) -> list[EventRow]:
        found: list[EventRow] = []
        with self._open() as db:
            for table in tables:
                condition, parameters = where, list[Any](values)
                if chamber is not None and "chamber" in db.table(table).columns_dict:
                    condition = f"({where}) AND chamber IN (?, '')"
                    parameters.append(chamber)
                columns = _SAYS_ALL.get(table, "*")
                rows = db.execute(
                    f"SELECT {columns} FROM {table} WHERE {condition} "  # noqa: S608 - constants
                    "ORDER BY seq DESC LIMIT ?",
                    [*parameters, most],
                )
                if table == "output_changes":
                    found += [_output_row(*row) for row in rows]
                    continue
                names = [name for name, *_ in rows.description]
                found += [_event_row(table, dict(zip(names, row, strict=True))) for row in rows]
        found.sort(key=lambda row: row.seq)
        return found[-most:] if most > 0 else []

    @contextmanager
    def _open(self) -> Iterator[Database]:
        try:
            connection = connect_to_read(self.path)
        except (sqlite3.Error, OSError) as error:
            missing = not self.path.exists()
            what = "it does not exist (yet)" if missing else _first_line(error)
            remedy = "check the path and the permissions"
            raise JournalUnreadable(f"{self.path}: cannot be read: {what}; {remedy}") from error
        try:
            if (version := version_of(connection)) != KNOWN_VERSION:
                raise JournalUnreadable(f"{self.path}: {version_fault(version)}")
            yield Database(connection, execute_plugins=False)
        except (sqlite3.Error, ValueError, KeyError, TypeError, AttributeError) as error:
            # The last ones: a flipped byte makes a number of a text, or nothing of either.
            remedy = "try again; if it stays so, restart the daemon, which checks the file"
            raise JournalUnreadable(f"{self.path}: {_first_line(error)}; {remedy}") from error
        finally:
            connection.close()


def _first_line(error: Exception) -> str:
    # A schema that SQLite cannot read is told with its whole text.
    return (str(error).splitlines() or [repr(error)])[0]


_SAYS_ALL = {
    "output_changes": "seq, boot, mono_s, wall_utc_s, wall_trusted, chamber, "
    + ", ".join(OUTPUT_COLUMNS)
}
"""The columns that a happening is made from, where these are not all of a table."""


def _output_row(
    seq: int, boot: int, mono_s: float, wall_utc_s: float, trusted: int, chamber: str, *said: Any
) -> EventRow:
    moment = Moment(mono_s, wall_utc_s, trusted > 0)
    return EventRow(seq, boot, moment, trusted == 2, chamber, output_change(*said))


def _event_row(table: str, row: dict[str, Any]) -> EventRow:
    trusted = row["wall_trusted"]
    return EventRow(
        row["seq"],
        row["boot"],
        Moment(row["mono_s"], row["wall_utc_s"], trusted > 0),
        trusted == 2,
        row.get("chamber", ""),
        happening_of(table, row),
    )


def _run(row: dict[str, Any]) -> OutputRun:
    known = {name: value for name, value in row.items() if name != "end_certainty"}
    return OutputRun(
        **known
        | {
            "wall_trusted": row["wall_trusted"] > 0,
            "end_presumed": row["end_certainty"] == "presumed",
        }
    )
