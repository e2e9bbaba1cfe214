"""Where the boots of a long record lie, found from the ends of each boot alone."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing
from random import Random

import pytest
from sqlite_utils import Database

from fermd.journal.schema import migrate
from fermd.review.time_axis import read_time_axis

BEGINS_S = 1.75e9


@pytest.fixture
def connection() -> Iterator[sqlite3.Connection]:
    with closing(sqlite3.connect(":memory:", isolation_level=None)) as made:
        migrate(made)
        made.execute("INSERT INTO probes VALUES (1, 'lager', 'vessel')")
        yield made


def reading(
    connection: sqlite3.Connection, seq: int, boot: int, mono_s: float, begun_s: float, trusted: int
) -> None:
    connection.execute(
        "INSERT INTO readings_a VALUES (?, ?, ?, ?, ?, 1, 10.0, NULL)",
        (seq, boot, mono_s, begun_s + mono_s, trusted),
    )


@pytest.mark.parametrize("seed", range(30))
def test_every_boot_lies_where_its_last_row_with_a_set_clock_says(
    connection: sqlite3.Connection, seed: int
) -> None:
    random = Random(seed)
    seq, begun_s, expected = 0, BEGINS_S, {}
    for boot in range(1, random.randint(2, 9)):
        connection.execute("INSERT INTO boots VALUES (?, ?)", (boot, f"boot-{boot}"))
        mono_s = 0.0
        for _ in range(random.choice([1, 2, 3, 50])):
            # Rows of other tables lie between them, and the clock is set anew now and then.
            seq += random.choice([1, 1, 7])
            mono_s += random.uniform(1.0, 20.0)
            by_s = random.uniform(0.0, 0.5)
            reading(connection, seq, boot, mono_s, begun_s + by_s, 1)
            expected[boot] = begun_s + by_s
        begun_s += mono_s + random.uniform(10.0, 1000.0)
    found = read_time_axis(Database(connection)).offset_s_by_boot
    assert found == pytest.approx(expected, abs=1e-6)


def test_a_boot_that_never_knew_the_time_begins_where_the_one_before_it_ended(
    connection: sqlite3.Connection,
) -> None:
    for boot in (1, 2):
        connection.execute("INSERT INTO boots VALUES (?, ?)", (boot, f"boot-{boot}"))
    for number in range(1, 2001):
        reading(connection, number, 1, 10.0 * number, BEGINS_S, 1)
    for number in range(1, 2001):
        # In 1970, as far as it knew.
        reading(connection, 2000 + number, 2, 10.0 * number, 0.0, 0)
    found = read_time_axis(Database(connection)).offset_s_by_boot
    assert found == pytest.approx({1: BEGINS_S, 2: BEGINS_S + 20_000.0 - 10.0})
