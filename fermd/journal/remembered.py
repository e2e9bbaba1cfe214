"""What a restart goes on from: the history of the relay lines and the state of the chambers.

Protection rests on these rows, so they are believed less readily than the others: each has a
checksum over what it says, and one that does not match is left out, because an unknown history
counts as "stopped just now" and a wrong one would not.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Sequence
from dataclasses import dataclass
from zlib import crc32

from fermd.control.moment import Moment
from fermd.journal.ports import ChamberRecord, LineHistory, Outage
from fermd.journal.schema import MOMENT_TABLES

NOTHING_KNOWN = Outage(None, ended_cleanly=False, last=None, lines=(), chambers=())
"""The outage before the very first start, and the one that nothing can be read of."""


_STAMP_COLUMNS = ("seq", "boot", "mono_s", "wall_utc_s", "wall_trusted")
_LINE_COLUMNS = (
    "is_on",
    "stopped_mono_s",
    "started_mono_s",
    "starts_mono_s_json",
    "rest_until_mono_s",
    "row_crc32",
)
_CHAMBER_COLUMNS = ("state_json", "row_crc32")


SHOWS_FOR_S = 600.0
"""The moment of a record that stays the same is followed only so closely, s: a flash card wears
out, and an outage is told from the last row that there is."""


@dataclass(frozen=True, slots=True)
class Stamp:
    """Where a row stands: its place in the order, its boot and its moment."""

    seq: int
    boot: int
    moment: Moment

    def columns(self) -> tuple[int, int, float, float, int]:
        """`seq`, `boot`, `mono_s`, `wall_utc_s`, `wall_trusted`, as all tables have them."""
        moment = self.moment
        trusted = int(moment.wall_trusted)
        return self.seq, self.boot, moment.mono_s, moment.wall_utc_s, trusted


def replace_lines(
    connection: sqlite3.Connection, stamp: Stamp, lines: Sequence[LineHistory]
) -> None:
    """Replace the history of all lines; what is not among them is forgotten.

    A row that says what it said before is not touched, so that no page is written for it.
    """
    connection.executemany(
        "INSERT INTO line_history VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?) "  # noqa: S608 - constants
        f"ON CONFLICT (line) DO UPDATE SET {_taken_over(_LINE_COLUMNS)} "
        f"WHERE ({', '.join(_LINE_COLUMNS)}) IS NOT ({_new(_LINE_COLUMNS)}) "
        "OR boot <> excluded.boot",
        [
            (
                *stamp.columns(),
                line.line,
                int(line.on),
                line.stopped_mono_s,
                line.started_mono_s,
                json.dumps(line.starts_mono_s),
                line.rest_until_mono_s,
                _line_crc32(line, stamp.boot),
            )
            for line in lines
        ],
    )
    _forget_but(connection, "line_history", "line", [each.line for each in lines])


def replace_chambers(
    connection: sqlite3.Connection, stamp: Stamp, chambers: Sequence[ChamberRecord]
) -> None:
    """Replace the records of all chambers; what is not among them is forgotten."""
    add_chambers(connection, stamp, chambers)
    _forget_but(connection, "chamber_records", "chamber", [each.chamber for each in chambers])


def add_chambers(
    connection: sqlite3.Connection, stamp: Stamp, chambers: Sequence[ChamberRecord]
) -> None:
    """Replace the records of these chambers; the others stay.

    One that is the same is written again only once its moment no longer shows who was in charge.
    """
    connection.executemany(
        "INSERT INTO chamber_records VALUES (?, ?, ?, ?, ?, ?, ?, ?) "  # noqa: S608 - constants
        f"ON CONFLICT (chamber) DO UPDATE SET {_taken_over(_CHAMBER_COLUMNS)} "
        "WHERE state_json <> excluded.state_json OR boot <> excluded.boot "
        f"OR mono_s <= excluded.mono_s - {SHOWS_FOR_S}",
        [
            (*stamp.columns(), each.chamber, each.state_json, _chamber_crc32(each, stamp.boot))
            for each in chambers
        ],
    )


def read_outage(connection: sqlite3.Connection) -> Outage:
    """All that the journal knows of the time before this start. Raises sqlite3.Error."""
    last = _last_row(connection)
    if last is None:
        return NOTHING_KNOWN
    boot, moment = last
    boot_ids = dict(connection.execute("SELECT boot, boot_id FROM boots"))
    run = connection.execute(
        "SELECT change, cleanly FROM daemon_runs ORDER BY seq DESC LIMIT 1"
    ).fetchone()
    return Outage(
        previous_boot_id=boot_ids.get(boot),
        ended_cleanly=run == ("stopped", 1),
        last=moment,
        lines=tuple(_read_lines(connection, boot)),
        chambers=tuple(_read_chambers(connection, boot_ids)),
    )


def read_chambers_alone(connection: sqlite3.Connection) -> Outage:
    """What a journal that is spoilt elsewhere still knows of its chambers. Raises sqlite3.Error."""
    boot_ids = dict(connection.execute("SELECT boot, boot_id FROM boots"))
    newest = connection.execute(
        "SELECT boot, mono_s, wall_utc_s, wall_trusted FROM chamber_records "
        "ORDER BY seq DESC LIMIT 1"
    ).fetchone()
    if newest is None:
        return NOTHING_KNOWN
    boot, mono_s, wall_utc_s, trusted = newest
    return Outage(
        previous_boot_id=boot_ids.get(boot),
        ended_cleanly=False,
        last=Moment(mono_s, wall_utc_s, wall_trusted=trusted > 0),
        lines=(),
        chambers=tuple(_read_chambers(connection, boot_ids)),
    )


def newest_seq(connection: sqlite3.Connection) -> int:
    """The highest `seq` in any table; 0 for an empty journal."""
    return max(
        int(connection.execute(f"SELECT coalesce(max(seq), 0) FROM {table}").fetchone()[0])  # noqa: S608 - constant
        for table in MOMENT_TABLES
    )


def _new(columns: Sequence[str]) -> str:
    return ", ".join(f"excluded.{name}" for name in columns)


def _taken_over(columns: Sequence[str]) -> str:
    return ", ".join(f"{name} = excluded.{name}" for name in (*_STAMP_COLUMNS, *columns))


def _forget_but(connection: sqlite3.Connection, table: str, key: str, kept: Sequence[str]) -> None:
    marks = ", ".join("?" * len(kept))
    connection.execute(
        f"DELETE FROM {table} WHERE {key} NOT IN ({marks})",  # noqa: S608 - constants and marks
        list(kept),
    )


def _last_row(connection: sqlite3.Connection) -> tuple[int, Moment] | None:
    newest: tuple[int, int, float, float, int] | None = None
    for table in MOMENT_TABLES:
        # A run that was killed before its first tick was in charge of nothing: its start does not
        # hide the outage before it.
        where = "WHERE change = 'stopped'" if table == "daemon_runs" else ""
        row = connection.execute(
            "SELECT seq, boot, mono_s, wall_utc_s, wall_trusted "  # noqa: S608 - constant
            f"FROM {table} {where} ORDER BY seq DESC LIMIT 1"
        ).fetchone()
        if row is not None and (newest is None or row > newest):
            newest = row
    if newest is None:
        return None
    _, boot, mono_s, wall_utc_s, trusted = newest
    return boot, Moment(mono_s, wall_utc_s, wall_trusted=trusted > 0)


def _read_lines(connection: sqlite3.Connection, boot: int) -> list[LineHistory]:
    lines = []
    for name, on, stopped, started, starts, rest, crc in connection.execute(
        "SELECT line, is_on, stopped_mono_s, started_mono_s, starts_mono_s_json, "
        "rest_until_mono_s, row_crc32 FROM line_history WHERE boot = ? ORDER BY line",
        (boot,),
    ):
        try:
            line = LineHistory(name, bool(on), stopped, started, tuple(json.loads(starts)), rest)
        except (TypeError, ValueError):
            continue
        if _line_crc32(line, boot) == crc:
            lines.append(line)
    return lines


def _read_chambers(connection: sqlite3.Connection, boot_ids: dict[int, str]) -> list[ChamberRecord]:
    records = []
    for boot, chamber, state, crc in connection.execute(
        "SELECT boot, chamber, state_json, row_crc32 FROM chamber_records ORDER BY chamber"
    ):
        record = ChamberRecord(chamber, state, boot_ids.get(boot))
        if _chamber_crc32(record, boot) == crc:
            records.append(record)
    return records


def _line_crc32(line: LineHistory, boot: int) -> int:
    numbers = (line.stopped_mono_s, line.started_mono_s, *line.starts_mono_s)
    floats = [None if n is None else float(n) for n in (*numbers, line.rest_until_mono_s)]
    return crc32(json.dumps([line.line, boot, line.on, floats]).encode())


def _chamber_crc32(record: ChamberRecord, boot: int) -> int:
    said = f"{boot}\n{record.chamber}\n{record.state_json}"
    return crc32(said.encode("utf-8", "surrogatepass"))
