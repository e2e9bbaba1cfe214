"""The buckets of a review are those of the table, whichever probes lie beside each other in it."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing
from random import Random

import pytest
from sqlite_utils import Database

from fermd.journal.schema import migrate
from fermd.review.series import read_series
from fermd.review.time_axis import TimeAxis

BEGINS_S = 1.75e9
PROBES = {1: ("lager", "vessel"), 2: ("ale", "vessel"), 3: ("lager", "air"), 4: ("lager", "room")}


@pytest.fixture
def connection() -> Iterator[sqlite3.Connection]:
    with closing(sqlite3.connect(":memory:", isolation_level=None)) as made:
        migrate(made)
        made.execute("INSERT INTO boots VALUES (1, 'boot')")
        made.executemany(
            "INSERT INTO probes VALUES (?, ?, ?)", [(key, *name) for key, name in PROBES.items()]
        )
        yield made


@pytest.mark.parametrize("missing", [0.0, 0.3])
@pytest.mark.parametrize("failed", [0.0, 0.2])
def test_each_probe_has_its_own_buckets(
    connection: sqlite3.Connection, missing: float, failed: float
) -> None:
    random = Random(f"{missing} {failed}")
    means: dict[str, dict[float, float]] = {}
    bad: dict[str, dict[float, int]] = {}
    for minute in range(200):
        for key, (chamber, probe) in PROBES.items():
            if random.random() < missing:
                continue
            # Now and then a bucket has failed readings beside good ones, or nothing else.
            good, faulty = random.choice([(6, 0), (6, 0), (4, 2), (0, 6)]) if failed else (6, 0)
            mean_c = random.uniform(0.0, 20.0) if good else None
            of = (mean_c, mean_c, mean_c)
            row = (minute + 1, minute + 1, 1, 60 * minute, key, BEGINS_S + 60 * minute, 1)
            values = (*row, good, faulty, *of)
            marks = ", ".join("?" * len(values))
            connection.execute(f"INSERT INTO rollup_minute VALUES ({marks})", values)  # noqa: S608 - marks
            if chamber == "lager":
                at_s = BEGINS_S + 60.0 * minute + 30.0
                if mean_c is not None:
                    means.setdefault(probe, {})[at_s] = mean_c
                if faulty:
                    bad.setdefault(probe, {})[at_s] = faulty
    connection.execute("UPDATE rollup_progress SET rolled_up_to_seq = 1000")
    axis = TimeAxis({1: BEGINS_S})
    found = read_series(Database(connection), axis, "lager", BEGINS_S, BEGINS_S + 86400.0)
    assert sorted(found) == ["air", "room", "vessel"]
    for probe, series in found.items():
        assert dict(zip(series.at_s, series.mean_c, strict=True)) == means[probe]
        assert list(series.at_s) == sorted(series.at_s)
        assert series.bad == bad.get(probe, {})


def test_one_probe_is_read_alone_when_only_it_is_asked_for(connection: sqlite3.Connection) -> None:
    connection.executemany(
        "INSERT INTO rollup_minute VALUES (1, 2, 1, 0, ?, ?, 1, 2, 0, 9.0, 10.0, 11.0)",
        [(1, BEGINS_S), (3, BEGINS_S)],
    )
    db, axis, end_s = Database(connection), TimeAxis({1: BEGINS_S}), BEGINS_S + 60.0
    both = read_series(db, axis, "lager", BEGINS_S, end_s)
    assert sorted(both) == ["air", "vessel"]
    assert read_series(db, axis, "lager", BEGINS_S, end_s, "air") == {"air": both["air"]}


def test_a_minute_that_was_counted_in_part_goes_on_with_its_readings(
    connection: sqlite3.Connection,
) -> None:
    connection.execute(
        "INSERT INTO rollup_minute VALUES (1, 2, 1, 0, 1, ?, 1, 2, 0, 9.0, 10.0, 11.0)", (BEGINS_S,)
    )
    connection.execute("UPDATE rollup_progress SET rolled_up_to_seq = 2")
    for seq, mono_s, temp_c in ((3, 30.0, 13.0), (4, 40.0, 13.0), (5, 70.0, 14.0)):
        connection.execute(
            "INSERT INTO readings_a VALUES (?, 1, ?, ?, 1, 1, ?, NULL)",
            (seq, mono_s, BEGINS_S + mono_s, temp_c),
        )
    axis = TimeAxis({1: BEGINS_S})
    [vessel] = read_series(
        Database(connection), axis, "lager", BEGINS_S, BEGINS_S + 86400.0
    ).values()
    assert list(vessel.at_s) == [BEGINS_S + 30.0, BEGINS_S + 90.0]
    assert list(vessel.mean_c) == [11.5, 14.0]
    assert list(vessel.low_c) == [9.0, 14.0]
    assert list(vessel.high_c) == [13.0, 14.0]
    assert list(vessel.good) == [4.0, 1.0]
