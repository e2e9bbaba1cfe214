"""The journal's tables and views, and how an older journal becomes one of today.

Rules that hold in every table:

- Strict: SQLite refuses a text where a number belongs.
- A row carries both clocks: `boot` with `mono_s` (seconds since that boot, cannot be set) and
  `wall_utc_s` (POSIX time, may be wrong). `wall_trusted` says what the latter is worth: 0 it was
  not known to be set, 1 it was, 2 it was not, and has been mended since from `mono_s` of the
  same boot.
- `seq` counts up over all tables together and never starts again: ordered by it (or by `boot`
  and `seq`, which is the same order) rows stand as they happened, whatever the wall clock did.
- Names carry their units; temperatures are °C.

A migration that has been published is never edited; a change is a new one at the end. Views hold
no data: the last migration drops and makes them all again.
"""

from __future__ import annotations

import sqlite3

from sqlite_utils import Database
from sqlite_utils.migrations import Migrations

from fermd.journal.views import VIEWS

APPLICATION_ID = 0x6665726D
"""Marks the file as a journal of fermd in its header (PRAGMA application_id; "ferm" in ASCII)."""

PAGE_BYTES = 1024
"""Of the database. A commit writes whole pages, and most commits here change a few rows at the
end of a few tables: a day writes half of what it does with SQLite's usual 4096 (see
tests/benchmarks/bytes_written.py)."""

OLDEST_SQLITE = (3, 37, 0)
"""The first with strict tables (release notes of SQLite 3.37.0)."""

_MOMENT = """
    seq INTEGER PRIMARY KEY,
    boot INTEGER NOT NULL REFERENCES boots (boot),
    mono_s REAL NOT NULL,
    wall_utc_s REAL NOT NULL,
    wall_trusted INTEGER NOT NULL CHECK (wall_trusted IN (0, 1, 2))"""

# Readings are kept in two tables that are filled by turns: when one holds all that is to be kept,
# the other is emptied whole. Rows that are deleted one by one cost as much writing as rows that
# are added; emptying a table costs next to nothing. The view `readings` shows both as one.
_READINGS = f"""({_MOMENT},
    probe_key INTEGER NOT NULL REFERENCES probes (probe_key),
    temp_c REAL,
    fault TEXT,
    CHECK (temp_c IS NOT NULL OR fault IS NOT NULL)
) STRICT"""

_ROLLUP = """
    first_seq INTEGER NOT NULL,
    last_seq INTEGER NOT NULL,
    boot INTEGER NOT NULL REFERENCES boots (boot),
    start_mono_s INTEGER NOT NULL,
    probe_key INTEGER NOT NULL REFERENCES probes (probe_key),
    start_wall_utc_s REAL NOT NULL,
    wall_trusted INTEGER NOT NULL CHECK (wall_trusted IN (0, 1, 2)),
    good_readings INTEGER NOT NULL,
    faulty_readings INTEGER NOT NULL,
    minimum_c REAL,
    mean_c REAL,
    maximum_c REAL,
    PRIMARY KEY (boot, start_mono_s, probe_key)"""

_ROLLUP_BY_PROBE = _ROLLUP.replace(
    "(boot, start_mono_s, probe_key)", "(boot, probe_key, start_mono_s)"
)

_TABLES = (
    """CREATE TABLE boots (
    boot INTEGER PRIMARY KEY,
    boot_id TEXT NOT NULL UNIQUE
) STRICT""",
    f"""CREATE TABLE daemon_runs ({_MOMENT},
    change TEXT NOT NULL CHECK (change IN ('started', 'continued', 'stopped')),
    cleanly INTEGER CHECK (cleanly IN (0, 1)),
    version TEXT NOT NULL
) STRICT""",
    """CREATE TABLE probes (
    probe_key INTEGER PRIMARY KEY,
    chamber TEXT NOT NULL,
    probe TEXT NOT NULL,
    UNIQUE (chamber, probe)
) STRICT""",
    f"CREATE TABLE readings_a {_READINGS}",
    f"CREATE TABLE readings_b {_READINGS}",
    f"CREATE TABLE rollup_minute ({_ROLLUP}\n) STRICT, WITHOUT ROWID",
    f"CREATE TABLE rollup_quarter_hour ({_ROLLUP}\n) STRICT, WITHOUT ROWID",
    """CREATE TABLE rollup_progress (
    only_row INTEGER PRIMARY KEY CHECK (only_row = 1),
    rolled_up_to_seq INTEGER NOT NULL,
    readings_go_to TEXT NOT NULL CHECK (readings_go_to IN ('readings_a', 'readings_b'))
) STRICT""",
    "INSERT INTO rollup_progress VALUES (1, 0, 'readings_a')",
    f"""CREATE TABLE output_changes ({_MOMENT},
    chamber TEXT NOT NULL,
    duty TEXT NOT NULL,
    output TEXT NOT NULL,
    line TEXT NOT NULL,
    is_on INTEGER NOT NULL CHECK (is_on IN (0, 1)),
    certainty TEXT NOT NULL CHECK (certainty IN ('observed', 'presumed')),
    reason_rule TEXT,
    reason_value_c REAL,
    reason_limit_c REAL,
    reason_until_mono_s REAL,
    reason_number REAL,
    reasons_json TEXT NOT NULL
) STRICT""",
    f"""CREATE TABLE target_changes ({_MOMENT},
    chamber TEXT NOT NULL,
    heat_c REAL,
    cool_c REAL,
    source TEXT NOT NULL,
    who TEXT NOT NULL
) STRICT""",
    f"""CREATE TABLE step_changes ({_MOMENT},
    chamber TEXT NOT NULL,
    profile TEXT NOT NULL,
    step_index INTEGER NOT NULL,
    step_kind TEXT NOT NULL,
    step_name TEXT NOT NULL,
    change TEXT NOT NULL,
    elapsed_s REAL NOT NULL,
    who TEXT NOT NULL
) STRICT""",
    f"""CREATE TABLE profile_changes ({_MOMENT},
    chamber TEXT NOT NULL,
    profile TEXT NOT NULL,
    change TEXT NOT NULL,
    who TEXT NOT NULL
) STRICT""",
    f"""CREATE TABLE alarm_changes ({_MOMENT},
    chamber TEXT NOT NULL,
    alarm TEXT NOT NULL,
    subject TEXT NOT NULL,
    phase TEXT NOT NULL,
    severity TEXT NOT NULL,
    value REAL,
    value_limit REAL,
    who TEXT NOT NULL
) STRICT""",
    f"""CREATE TABLE trust_changes ({_MOMENT},
    chamber TEXT NOT NULL,
    probe TEXT NOT NULL,
    trusted INTEGER NOT NULL CHECK (trusted IN (0, 1)),
    fault TEXT,
    temp_c REAL
) STRICT""",
    f"""CREATE TABLE command_answers ({_MOMENT},
    chamber TEXT NOT NULL,
    command TEXT NOT NULL,
    who TEXT NOT NULL,
    taken INTEGER NOT NULL CHECK (taken IN (0, 1)),
    why TEXT NOT NULL
) STRICT""",
    f"""CREATE TABLE gaps ({_MOMENT},
    chamber TEXT NOT NULL,
    lasted_s REAL NOT NULL
) STRICT""",
    f"""CREATE TABLE outages ({_MOMENT},
    chamber TEXT NOT NULL,
    lasted_s REAL,
    cleanly INTEGER NOT NULL CHECK (cleanly IN (0, 1)),
    beer_before_c REAL,
    beer_after_c REAL,
    counted_s REAL NOT NULL
) STRICT""",
    f"""CREATE TABLE notes ({_MOMENT},
    chamber TEXT NOT NULL,
    who TEXT NOT NULL,
    note TEXT NOT NULL
) STRICT""",
    f"""CREATE TABLE clock_steps ({_MOMENT},
    stepped_by_s REAL NOT NULL
) STRICT""",
    f"""CREATE TABLE journal_incidents ({_MOMENT},
    incident TEXT NOT NULL,
    detail TEXT NOT NULL,
    lost_readings INTEGER NOT NULL,
    lost_events INTEGER NOT NULL
) STRICT""",
    # What a restart goes on from. A row whose checksum does not match is as good as none: an
    # unknown history counts as "stopped just now", a wrong one would not.
    f"""CREATE TABLE line_history ({_MOMENT.replace(" PRIMARY KEY", " NOT NULL")},
    line TEXT PRIMARY KEY,
    is_on INTEGER NOT NULL CHECK (is_on IN (0, 1)),
    stopped_mono_s REAL,
    started_mono_s REAL,
    starts_mono_s_json TEXT NOT NULL,
    rest_until_mono_s REAL,
    row_crc32 INTEGER NOT NULL
) STRICT""",
    f"""CREATE TABLE chamber_records ({_MOMENT.replace(" PRIMARY KEY", " NOT NULL")},
    chamber TEXT PRIMARY KEY,
    state_json TEXT NOT NULL,
    row_crc32 INTEGER NOT NULL
) STRICT""",
    # Spans of time are asked for by the wall clock. The readings have no such index: it would be
    # 30 % of all that is written in a day; their quarter hours say where in `seq` they stand.
    "CREATE INDEX rollup_minute_by_wall ON rollup_minute (start_wall_utc_s)",
    "CREATE INDEX rollup_quarter_hour_by_wall ON rollup_quarter_hour (start_wall_utc_s)",
)

_PROFILE_FILE_CHANGES = f"""CREATE TABLE profile_file_changes ({_MOMENT},
    profile TEXT NOT NULL,
    change TEXT NOT NULL CHECK (change IN ('saved', 'replaced', 'deleted')),
    who TEXT NOT NULL
) STRICT"""

EVENT_TABLES = (
    "daemon_runs",
    "output_changes",
    "target_changes",
    "step_changes",
    "profile_changes",
    "profile_file_changes",
    "alarm_changes",
    "trust_changes",
    "command_answers",
    "gaps",
    "outages",
    "notes",
    "clock_steps",
    "journal_incidents",
    "message_outcomes",
)
"""One row for each thing that happened; rows are only ever added, and only their wall time is
ever mended."""

READING_TABLES = ("readings_a", "readings_b")

MOMENT_TABLES = (*READING_TABLES, *EVENT_TABLES, "line_history", "chamber_records")
"""All tables with `seq`, `boot`, `mono_s`, `wall_utc_s` and `wall_trusted`."""

ROLLUP_TABLES = ("rollup_minute", "rollup_quarter_hour")

ALL_TABLES = ("boots", "probes", "rollup_progress", *MOMENT_TABLES, *ROLLUP_TABLES)

migrations = Migrations("fermd journal")


@migrations(name="tables")
def _tables(db: Database) -> None:
    for statement in _TABLES:
        db.execute(statement)
    db.execute(f"PRAGMA application_id = {APPLICATION_ID}")
    db.execute("PRAGMA user_version = 1")


@migrations(name="views")
def _views(db: Database) -> None:
    for name in db.view_names():
        db.view(name).drop()
    for name, select in VIEWS.items():
        db.create_view(name, select)
    db.execute("PRAGMA user_version = 2")


@migrations(name="notes of a kind")
def _notes(db: Database) -> None:
    for name in db.view_names():
        db.view(name).drop()
    for column in (
        "kind TEXT NOT NULL DEFAULT 'other'",
        "value REAL",
        "about_wall_utc_s REAL",
        "takes_back_seq INTEGER",
    ):
        db.execute(f"ALTER TABLE notes ADD COLUMN {column}")
    for name, select in VIEWS.items():
        db.create_view(name, select)
    db.execute("PRAGMA user_version = 3")


@migrations(name="outages with what was counted")
def _outages(db: Database) -> None:
    # The very first journals had no `counted_s`, and no version of its own says so. The table is
    # made anew, since the text of its schema is held against what it should be.
    if "counted_s" in db.table("outages").columns_dict:
        return
    for name in db.view_names():
        db.view(name).drop()
    columns = ", ".join(db.table("outages").columns_dict)
    db.execute("ALTER TABLE outages RENAME TO outages_before")
    (statement,) = [one for one in _TABLES if one.startswith("CREATE TABLE outages ")]
    db.execute(statement)
    db.execute(
        f"INSERT INTO outages ({columns}, counted_s) SELECT {columns}, 0.0 FROM outages_before"  # noqa: S608 - names of its own
    )
    db.execute("DROP TABLE outages_before")
    for name, select in VIEWS.items():
        db.create_view(name, select)


@migrations(name="output changes by wall time")
def _output_changes_by_wall(db: Database) -> None:
    # A batch is a span of the wall clock, and nothing else that happens is as frequent: 35,000 rows
    # a year. It costs 20 bytes a row, and a page more in each commit with a change.
    db.execute("CREATE INDEX output_changes_by_wall ON output_changes (wall_utc_s)")
    db.execute("PRAGMA user_version = 4")


@migrations(name="profiles saved and deleted")
def _profile_files(db: Database) -> None:
    for name in db.view_names():
        db.view(name).drop()
    db.execute(_PROFILE_FILE_CHANGES)
    for name, select in VIEWS.items():
        db.create_view(name, select)
    db.execute("PRAGMA user_version = 5")


@migrations(name="outcomes of messages")
def _message_outcomes(db: Database) -> None:
    for name in db.view_names():
        db.view(name).drop()
    db.execute(
        f"""CREATE TABLE message_outcomes ({_MOMENT},
    recipient TEXT NOT NULL,
    message_number INTEGER NOT NULL,
    title TEXT NOT NULL,
    failed TEXT NOT NULL
) STRICT"""
    )
    for name, select in VIEWS.items():
        db.create_view(name, select)
    db.execute("PRAGMA user_version = 6")


@migrations(name="output changes by wall time and chamber")
def _output_changes_by_wall_and_chamber(db: Database) -> None:
    # With the chamber in it, a batch of one chamber out of ten is found without a look at the rows
    # of the other nine. The wall time stands first, for whoever asks for all chambers.
    db.execute("DROP INDEX output_changes_by_wall")
    db.execute("CREATE INDEX output_changes_by_wall ON output_changes (wall_utc_s, chamber)")
    db.execute("PRAGMA user_version = 7")


@migrations(name="buckets of a probe side by side")
def _buckets_by_probe(db: Database) -> None:
    # Nearly all that is asked of minutes and quarter hours is asked of one chamber. While all
    # probes of a minute lay together, a batch of one chamber out of ten was read through the pages
    # of all ten. The boot stays in front, since buckets are mended and deleted by it.
    for name in db.view_names():
        db.view(name).drop()
    for table in ROLLUP_TABLES:
        db.execute(f"DROP INDEX {table}_by_wall")
        db.execute(f"ALTER TABLE {table} RENAME TO {table}_before")
        db.execute(f"CREATE TABLE {table} ({_ROLLUP_BY_PROBE}\n) STRICT, WITHOUT ROWID")
        db.execute(
            f"INSERT INTO {table} SELECT * FROM {table}_before "  # noqa: S608 - names of its own
            "ORDER BY boot, probe_key, start_mono_s"
        )
        db.execute(f"DROP TABLE {table}_before")
        db.execute(f"CREATE INDEX {table}_by_wall ON {table} (probe_key, start_wall_utc_s)")
    for name, select in VIEWS.items():
        db.create_view(name, select)
    db.execute("PRAGMA user_version = 8")


KNOWN_VERSION = 8
"""The schema version (PRAGMA user_version) that all migrations together lead to."""


def version_of(connection: sqlite3.Connection) -> int:
    """The schema version that the file says it has; 0 for an empty one."""
    return int(connection.execute("PRAGMA user_version").fetchone()[0])


def migrate(connection: sqlite3.Connection) -> None:
    """Bring an empty or older journal to `KNOWN_VERSION`, in one transaction.

    Raises sqlite3.Error; the journal is then as it was. So it is after a kill or a power cut.
    """
    if version_of(connection) == KNOWN_VERSION:
        return
    db = Database(connection, strict=True, execute_plugins=False)
    with db.atomic():
        migrations.apply(db)


def version_fault(version: int) -> str:
    """What to tell whoever wants to read a journal of another version, and what to do about it."""
    if version > KNOWN_VERSION:
        return (
            f"has schema version {version}, and this fermd knows none above {KNOWN_VERSION}; "
            "read it with the newer fermd that made it"
        )
    return (
        f"has schema version {version}, and {KNOWN_VERSION} is needed; let this version of the "
        "daemon open it once, or put it back with `fermd restore`"
    )
