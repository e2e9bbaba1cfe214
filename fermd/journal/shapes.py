"""What shape each table has had, and which table a record is of, told by its values alone.

The latter for pages that nothing points to any more. Tables here differ in the number of their
columns or in the kinds of their values; where two do not, the words that a column may hold tell
them apart.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

from fermd.control.events import AlarmPhase, ProfileChange, Severity, StepChange
from fermd.journal.described import RELATIONS, Column
from fermd.journal.pages import Cell, Value
from fermd.journal.rows import may_be_nothing
from fermd.journal.schema import EVENT_TABLES, ROLLUP_TABLES

Row = dict[str, Value]

_WORDS: Final[Mapping[tuple[str, str], frozenset[str]]] = {
    ("profile_changes", "change"): frozenset(one.value for one in ProfileChange),
    ("step_changes", "change"): frozenset(one.value for one in StepChange),
    ("alarm_changes", "phase"): frozenset(one.value for one in AlarmPhase),
    ("alarm_changes", "severity"): frozenset(one.value for one in Severity),
    ("daemon_runs", "change"): frozenset(("started", "continued", "stopped")),
    ("output_changes", "certainty"): frozenset(("observed", "presumed")),
}

ROWID_TABLES: Final = ("boots", "probes", "readings_a", *EVENT_TABLES)
"""Tables whose first column is the rowid, which a record leaves out."""

_KEY: Final = ("boot", "probe_key", "start_mono_s")
"""A record of a table without rowid begins with its key."""

_OLDER_KEY: Final = ("boot", "start_mono_s", "probe_key")
"""The key before schema version 8."""

_OLDER_COLUMNS: Final = {"notes": 4, "outages": 1}
"""So many columns at the end were added later: a record of before does not have them."""

_KEYS: Final = {"line_history": "line", "chamber_records": "chamber"}
"""The key of a table where it is not its first column."""


def is_known(table: str, columns: Sequence[str], key: Sequence[str]) -> bool:
    """Whether a version of the schema has this table with these columns, in this order and key."""
    names = RELATIONS[table].names
    if table in ROLLUP_TABLES:
        return tuple(columns) == names and tuple(key) in (_KEY, _OLDER_KEY)
    left_out = len(names) - len(columns)
    return (
        tuple(columns) == names[: len(columns)]
        and 0 <= left_out <= _OLDER_COLUMNS.get(table, 0)
        and tuple(key) == (_KEYS.get(table, names[0]),)
    )


def row_of(table: str, cell: Cell) -> Row | None:
    """The row of this table that a record is, or None if it cannot be one."""
    columns = RELATIONS[table].columns
    if table in ROLLUP_TABLES:
        by_name = {column.name: column for column in columns}
        others = [column for column in columns if column.name not in _KEY]
        columns = (*(by_name[name] for name in _key_of(cell)), *others)
        values: Sequence[Value] = cell.values
        if cell.rowid is not None:
            return None
    else:
        if cell.rowid is None or not cell.values or cell.values[0] is not None:
            return None
        values = (cell.rowid, *cell.values[1:])
    left_out = len(columns) - len(values)
    if not 0 <= left_out <= _OLDER_COLUMNS.get(table, 0):
        return None
    row: Row = {}
    for column, value in zip(columns, values, strict=False):
        fitting = _fitting(table, column, value)
        if fitting is _NONE_FITS:
            return None
        row[column.name] = fitting
    return row if _makes_sense(table, row) else None


def _key_of(cell: Cell) -> tuple[str, ...]:
    """A bucket begins with a whole minute of its boot's clock; probes are counted from 1."""
    match cell.values:
        case (_, int(second), int(third), *_) if third % 60 and second % 60 == 0:
            return _OLDER_KEY
        case (_, 0, *_):
            return _OLDER_KEY
        case _:
            return _KEY


def tables_of(cell: Cell) -> list[str]:
    """The tables that a record may be a row of."""
    tables = ROLLUP_TABLES if cell.rowid is None else ROWID_TABLES
    return [table for table in tables if row_of(table, cell) is not None]


_NONE_FITS: Final = b"none fits"


def _fitting(table: str, column: Column, value: Value) -> Value:
    match column.value_kind, value:
        case _, None:
            return None if may_be_nothing(table, column.name) else _NONE_FITS
        # A whole number in a column of REAL is stored as an integer (section 2.1).
        case "real", int() | float():
            return float(value)
        case "integer", int():
            return value
        case "text", str():
            words = _WORDS.get((table, column.name))
            return value if words is None or value in words else _NONE_FITS
        case _:
            return _NONE_FITS


def _makes_sense(table: str, row: Row) -> bool:
    """What the tables check, and what every row has."""
    trusted, boot = row.get("wall_trusted", 0), row.get("boot", 1)
    if trusted not in (0, 1, 2) or not isinstance(boot, int) or boot < 1:
        return False
    for name in ("seq", "first_seq", "probe_key", "start_mono_s", "good_readings"):
        value = row.get(name, 0)
        if not isinstance(value, int) or not 0 <= value < 1 << 53:
            return False
    if table == "readings_a" and row["temp_c"] is None and row["fault"] is None:
        return False
    return all(row[name] in (0, 1) for name in ("is_on", "taken", "trusted") if name in row)
