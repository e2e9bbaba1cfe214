"""A span of the record as rows for other programs, one after the other.

Rows are never held all at once: a year of minutes is a million. They are read over one connection
that can only read, so that what is written meanwhile is not in them.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime, tzinfo
from pathlib import Path
from typing import Any, Final

from fermd.journal.described import RELATIONS, Column, Relation
from fermd.journal.reader import JournalUnreadable
from fermd.journal.readonly import connect_to_read
from fermd.journal.schema import KNOWN_VERSION, version_fault, version_of

SHORT_NAMES: Final = {
    "events": "what_happened",
    "readings": "temperatures",
    "minutes": "temperatures_by_minute",
    "quarter-hours": "temperatures_by_quarter_hour",
    "outputs": "output_runs",
    "alarms": "alarm_changes",
}
"""What a brewer asks for, and the table or view that has it."""

LOCAL_TIME: Final = Column(
    "local_time", "text", "", "The row's wall time in the site's zone, ISO 8601 with its offset."
)
"""Comes first in every row that has a time."""

_INSTANTS: Final = ("wall_utc_s", "start_wall_utc_s", "utc", "start_utc")
_TIME_COLUMNS: Final = (*_INSTANTS, "hour_utc", "day_utc")
"""By which of them a span is cut: the first that is there."""

_TEXT_FORMATS: Final = {
    "utc": "%Y-%m-%d %H:%M:%S",
    "start_utc": "%Y-%m-%d %H:%M:%S",
    "hour_utc": "%Y-%m-%d %H:00",
    "day_utc": "%Y-%m-%d",
}

ROWS_AT_ONCE: Final = 2000

Row = tuple[Any, ...]


@dataclass(frozen=True, slots=True)
class Extract:
    """Which rows are meant."""

    relation: Relation
    from_utc_s: float | None = None
    to_utc_s: float | None = None
    """Not itself in the span; both by the wall clock."""
    chamber: str | None = None
    """With it, only rows of this chamber; of events also those of the whole site."""
    zone: tzinfo = UTC
    """Of `local_time`."""

    @property
    def columns(self) -> tuple[Column, ...]:
        """The columns of each row."""
        local = (LOCAL_TIME,) if _timed_by(self.relation) in _INSTANTS else ()
        return (*local, *self.relation.columns)


def relation_named(name: str) -> Relation:
    """The table or view that is meant by its own or a short name.

    Raises KeyError.
    """
    return RELATIONS[SHORT_NAMES.get(name, name)]


@contextmanager
def extracted(journal: Path, wanted: Extract) -> Iterator[Iterator[Row]]:
    """The rows, in the order in which they happened; to be read while this is entered.

    Raises JournalUnreadable, also while they are read.
    """
    try:
        connection = connect_to_read(journal)
    except (sqlite3.Error, OSError) as error:
        what = "it does not exist" if not journal.exists() else str(error)
        remedy = "check the path and the permissions"
        raise JournalUnreadable(f"{journal}: cannot be read: {what}; {remedy}") from error
    try:
        # All that is read from here on is as it stands now.
        connection.execute("BEGIN")
        if (version := version_of(connection)) != KNOWN_VERSION:
            raise JournalUnreadable(f"{journal}: {version_fault(version)}")
        yield _rows(connection, journal, wanted)
    except sqlite3.Error as error:
        raise JournalUnreadable(_damaged(journal, error)) from error
    finally:
        connection.close()


def _damaged(journal: Path, error: sqlite3.Error) -> str:
    said = (str(error).splitlines() or ["?"])[0]
    return f"{journal}: {said}; `fermd repair` says what can be done"


def _rows(connection: sqlite3.Connection, journal: Path, wanted: Extract) -> Iterator[Row]:
    relation = wanted.relation
    names = ", ".join(relation.names)
    where, parameters = _conditions(wanted)
    statement = f"SELECT {names} FROM {relation.name}{where}"  # noqa: S608 - names are ours
    if relation.kind == "table" and "seq" in relation.names:
        statement += " ORDER BY seq"
    try:
        cursor = connection.execute(statement, parameters)
        local = _local_times(wanted)
        while rows := cursor.fetchmany(ROWS_AT_ONCE):
            if local is None:
                yield from rows
            else:
                for row in rows:
                    yield (local(row), *row)
    except sqlite3.Error as error:
        raise JournalUnreadable(_damaged(journal, error)) from error


def _conditions(wanted: Extract) -> tuple[str, dict[str, Any]]:
    conditions, parameters = [], dict[str, Any]()
    timed_by = _timed_by(wanted.relation)
    bounds = (("first", ">=", wanted.from_utc_s), ("end", "<", wanted.to_utc_s))
    for name, compared, bound in bounds:
        if bound is not None and timed_by is not None:
            conditions.append(f"{timed_by} {compared} :{name}")
            parameters[name] = _bound(timed_by, bound)
    if wanted.chamber is not None and "chamber" in wanted.relation.names:
        conditions.append("chamber IN (:chamber, '')")
        parameters["chamber"] = wanted.chamber
    return (" WHERE " + " AND ".join(conditions) if conditions else ""), parameters


def _bound(column: str, utc_s: float) -> object:
    text = _TEXT_FORMATS.get(column)
    return utc_s if text is None else datetime.fromtimestamp(utc_s, UTC).strftime(text)


def _timed_by(relation: Relation) -> str | None:
    return next((name for name in _TIME_COLUMNS if name in relation.names), None)


def _local_times(wanted: Extract) -> Any:
    timed_by = _timed_by(wanted.relation)
    if LOCAL_TIME not in wanted.columns or timed_by is None:
        return None
    at, zone = wanted.relation.names.index(timed_by), wanted.zone

    def of_seconds(row: Row) -> str | None:
        try:
            moment = datetime.fromtimestamp(row[at], UTC).astimezone(zone)
            return moment.isoformat(timespec="milliseconds")
        except (TypeError, ValueError, OverflowError, OSError):
            # A clock that was never set may have said anything.
            return None

    def of_text(row: Row) -> str | None:
        try:
            moment = datetime.fromisoformat(row[at]).replace(tzinfo=UTC)
            return moment.astimezone(zone).isoformat(timespec="seconds")
        except (TypeError, ValueError, OverflowError):
            return None

    return of_seconds if timed_by.endswith("_s") else of_text
