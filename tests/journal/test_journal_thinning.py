"""Old readings become minutes and quarter hours, and a spike never disappears."""

from __future__ import annotations

import math
import sqlite3
import statistics
from contextlib import closing

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from journal_bench import WALL_S, at, rows
from sqlite_utils import Database

from fermd.config.keeping import ThinningSettings
from fermd.control.moment import Moment
from fermd.control.settings import DAY_S
from fermd.journal.curves import Span, _source
from fermd.journal.opening import open_or_begin
from fermd.journal.ports import ReadingRow
from fermd.journal.reader import JournalReader, Resolution
from fermd.journal.settings import JournalSettings
from fermd.journal.soundness import Soundness
from fermd.journal.thinning import roll_up, thin

QUICK = JournalSettings(
    linger_s=0.0, batch_s=1e3, thinning=ThinningSettings(raw_days=1, minute_days=2)
)


def run_days(journal, first_day: float, last_day: float, every_s: float = 600.0) -> None:
    """A beer that breathes once a day, with one spike of a minute at noon of each day."""
    second = first_day * DAY_S
    while second < last_day * DAY_S:
        day_s = second % DAY_S
        temp_c = 12.0 + math.sin(day_s / DAY_S * 2 * math.pi)
        if abs(day_s - DAY_S / 2) < every_s / 2:
            temp_c = 19.0
        journal.readings([ReadingRow(at(second), "lager", "vessel", temp_c, None)])
        second += every_s
    assert journal.flush()


def test_minimum_mean_and_maximum_of_every_bucket_are_those_of_its_readings(begin, path):
    journal = begin()
    temps = [12.0 + 0.0625 * (n * 7 % 11) for n in range(600)]
    for n, temp_c in enumerate(temps):
        journal.readings([ReadingRow(at(n * 10.0), "lager", "vessel", temp_c, None)])
    journal.thin(at(6000))
    assert journal.settle()
    for table, bucket in (("rollup_minute", 6), ("rollup_quarter_hour", 90)):
        found = rows(
            path,
            f"SELECT start_mono_s, minimum_c, mean_c, maximum_c, good_readings FROM {table}",  # noqa: S608 - constants
        )
        parts = [temps[n : n + bucket] for n in range(0, len(temps), bucket)]
        assert len(found) == len(parts)
        for (start, low, mean, high, count), part in zip(found, parts, strict=True):
            assert start % (bucket * 10) == 0
            assert (low, high, count) == (min(part), max(part), len(part))
            assert mean == pytest.approx(statistics.mean(part))


def test_a_fault_has_no_part_in_the_temperatures_but_is_counted(begin, path):
    journal = begin()
    journal.readings([ReadingRow(at(1), "lager", "vessel", 12.0, None)])
    journal.readings([ReadingRow(at(2), "lager", "vessel", 85.0, "power-on value")])
    journal.readings([ReadingRow(at(3), "lager", "vessel", None, "no answer")])
    journal.readings([ReadingRow(at(70), "lager", "vessel", None, "no answer")])
    journal.thin(at(100))
    assert journal.settle()
    query = "SELECT minimum_c, mean_c, maximum_c, good_readings, faulty_readings FROM rollup_minute"
    assert rows(path, query) == [(12.0, 12.0, 12.0, 1, 2), (None, None, None, 0, 1)]
    [point] = (
        JournalReader(path)
        .temperatures(WALL_S, WALL_S + 900, resolution=Resolution.QUARTER_HOUR)
        .points
    )
    assert (point.mean_c, point.good_readings, point.faulty_readings) == (12.0, 1, 3)


def test_raw_readings_go_once_they_are_old_minutes_later_and_the_spike_stays(begin, path):
    journal = begin(settings=QUICK)
    for day in range(8):
        run_days(journal, day, day + 1)
        journal.thin(at((day + 1) * DAY_S))
        assert journal.settle()
    [(oldest_raw, raw)] = rows(path, "SELECT min(mono_s), count(*) FROM readings")
    assert DAY_S <= 8 * DAY_S - oldest_raw <= 2 * DAY_S + 600
    assert raw < 8 * 144 / 2
    [(oldest_minute,)] = rows(path, "SELECT min(start_mono_s) FROM rollup_minute")
    assert oldest_minute == 6 * DAY_S - 60 or oldest_minute == 6 * DAY_S
    spikes = rows(path, "SELECT count(*) FROM rollup_quarter_hour WHERE maximum_c = 19.0")
    assert spikes == [(8,)]
    by_day = rows(path, "SELECT maximum_c, good_readings FROM temperature_range_by_day")
    assert max(high for high, _ in by_day) == 19.0
    assert sum(count for _, count in by_day) == 8 * 144


def test_thinning_again_changes_nothing(begin, path):
    journal = begin(settings=QUICK)
    run_days(journal, 0, 4)
    for _ in range(2):
        journal.thin(at(4 * DAY_S))
        assert journal.settle()
    before = [rows(path, f"SELECT * FROM {t}") for t in ("readings", "rollup_minute")]  # noqa: S608 - constants
    journal.thin(at(4 * DAY_S))
    assert journal.settle()
    assert before == [rows(path, f"SELECT * FROM {t}") for t in ("readings", "rollup_minute")]  # noqa: S608 - constants


@settings(max_examples=25, deadline=None)
@given(stops=st.lists(st.integers(0, 6), max_size=6), temps=st.lists(st.integers(-40, 400)))
def test_a_thinning_that_is_killed_anywhere_counts_every_reading_exactly_once(
    tmp_path_factory, stops, temps
):
    path = tmp_path_factory.mktemp("thinning") / "journal.sqlite"
    connection = open_or_begin(path, WALL_S, 1.0, Soundness(path)).connection
    with closing(connection):
        connection.execute("INSERT INTO boots VALUES (1, 'b')")
        connection.execute("INSERT INTO probes VALUES (1, 'lager', 'vessel')")
        connection.executemany(
            "INSERT INTO readings_a VALUES (?, 1, ?, ?, 1, 1, ?, NULL)",
            [(n, n * 10.0, WALL_S + n * 10.0, temp / 16) for n, temp in enumerate(temps, 1)],
        )
        # In the midst of each transaction, as a kill would.
        for stop in stops:
            countdown = [stop]

            def interrupt(left=countdown):
                left[0] -= 1
                return left[0] < 0

            connection.set_progress_handler(interrupt, 200)
            try:
                for _ in roll_up(connection):
                    pass
            except sqlite3.OperationalError:
                assert not connection.in_transaction
        connection.set_progress_handler(None, 0)
        for _ in roll_up(connection):
            pass
        counted = connection.execute(
            "SELECT coalesce(sum(good_readings), 0), min(minimum_c), max(maximum_c), "
            "sum(mean_c * good_readings) FROM rollup_minute"
        ).fetchone()
    assert counted[0] == len(temps)
    if temps:
        assert counted[1:3] == (min(temps) / 16, max(temps) / 16)
        assert counted[3] == pytest.approx(sum(temps) / 16)


def test_age_is_counted_over_the_boots_and_without_any_wall_clock(begin, path):
    """A board that is never told the time, and is restarted every day."""
    for day in range(5):
        journal = begin(boot_id=f"boot {day}", moment=Moment(0.0, 0.0), settings=QUICK)
        for second in range(0, int(DAY_S), 3600):
            moment = Moment(float(second), float(second))
            journal.readings([ReadingRow(moment, "lager", "vessel", 12.0, None)])
        journal.thin(Moment(DAY_S, DAY_S))
        assert journal.settle()
        journal.close(Moment(DAY_S, DAY_S), cleanly=True)
    kept = {boot for (boot,) in rows(path, "SELECT DISTINCT boot FROM readings")}
    assert kept >= {4, 5}
    assert not kept & {1, 2}
    minutes = {boot for (boot,) in rows(path, "SELECT DISTINCT boot FROM rollup_minute")}
    assert minutes >= {4, 5}
    assert not minutes & {1, 2}
    [(all_of_them,)] = rows(path, "SELECT sum(good_readings) FROM rollup_quarter_hour")
    assert all_of_them == 5 * 24


def test_a_wall_clock_that_jumps_ten_years_ahead_thins_nothing(begin, path):
    journal = begin(settings=QUICK)
    run_days(journal, 0, 0.5)
    journal.thin(at(0.5 * DAY_S, wall_utc_s=WALL_S + 10 * 365 * DAY_S))
    assert journal.settle()
    assert rows(path, "SELECT count(*) FROM readings") == [(72,)]


def test_the_chart_gets_the_resolution_that_fits_and_the_spike_at_each(begin, path):
    journal = begin(settings=QUICK)
    run_days(journal, 0, 3, every_s=60.0)
    journal.thin(at(3 * DAY_S))
    assert journal.settle()
    run_days(journal, 3, 4, every_s=60.0)  # not counted yet
    reader = JournalReader(path)
    last_day = (WALL_S + 3 * DAY_S, WALL_S + 4 * DAY_S)
    raw = reader.temperatures(*last_day)
    assert raw.resolution is Resolution.RAW
    assert len(raw.points) == 1440
    assert max(point.maximum_c for point in raw.points) == 19.0
    coarse = reader.temperatures(*last_day, most_points=100)
    assert coarse.resolution is Resolution.QUARTER_HOUR
    assert len(coarse.points) == 96
    assert max(point.maximum_c for point in coarse.points) == 19.0
    everything = reader.temperatures(WALL_S, WALL_S + 4 * DAY_S, resolution=Resolution.QUARTER_HOUR)
    assert sum(point.good_readings for point in everything.points) == 4 * 1440
    walls = [point.wall_utc_s for point in everything.points]
    assert walls == sorted(walls)


def test_what_has_been_thinned_away_is_told_at_the_next_resolution(begin, path):
    journal = begin(settings=QUICK)
    for day in range(8):
        run_days(journal, day, day + 1)
        journal.thin(at((day + 1) * DAY_S))
        assert journal.settle()
    reader = JournalReader(path)
    first_day = reader.temperatures(WALL_S, WALL_S + DAY_S)
    assert first_day.resolution is Resolution.QUARTER_HOUR
    assert sum(point.good_readings for point in first_day.points) == 144
    sixth = reader.temperatures(WALL_S + 6 * DAY_S + 900, WALL_S + 6.1 * DAY_S)
    assert sixth.resolution in (Resolution.MINUTE, Resolution.RAW)
    assert reader.span() == (WALL_S, pytest.approx(WALL_S + 8 * DAY_S, abs=901))


def test_readings_of_one_probe_or_chamber_can_be_asked_for(begin, path):
    journal = begin()
    for second in range(0, 100, 10):
        for chamber in ("lager", "ale"):
            for probe in ("vessel", "air"):
                journal.readings([ReadingRow(at(second), chamber, probe, 12.0, None)])
    assert journal.flush()
    reader = JournalReader(path)
    one = reader.temperatures(WALL_S, WALL_S + 100, chamber="ale", probe="air")
    assert {(point.chamber, point.probe) for point in one.points} == {("ale", "air")}
    assert len(one.points) == 10
    assert len(reader.temperatures(WALL_S, WALL_S + 100, chamber="ale").points) == 20
    assert len(reader.temperatures(WALL_S + 50, WALL_S + 60).points) == 4


@pytest.mark.parametrize("resolution", Resolution)
def test_a_chart_reads_the_span_and_not_the_whole_record(begin, path, resolution):
    """Or a page about today would read a fortnight from the card."""
    begin().close(at(1), cleanly=True)
    span = Span(WALL_S, WALL_S + 100)
    with closing(sqlite3.connect(path)) as connection:
        parameters = span.parameters(Database(connection, execute_plugins=False))
        plan = connection.execute(f"EXPLAIN QUERY PLAN {_source(resolution)}", parameters)
        steps = [step for *_, step in plan]
    tables = [step for step in steps if "readings_" in step or "rollup_" in step]
    assert len(tables) >= 2
    assert all(step.startswith("SEARCH") for step in tables), steps


def test_readings_that_come_while_it_thins_are_neither_lost_nor_counted_twice(begin, path):
    journal = begin(settings=QUICK)
    run_days(journal, 0, 2)
    journal.thin(at(2 * DAY_S))
    for second in range(100):
        moment = at(2 * DAY_S + second)
        journal.readings([ReadingRow(moment, "lager", "vessel", 12.0, None)])
        journal.note(moment, "lager", "Ann", "still here")
    assert journal.flush()
    assert journal.settle()
    journal.thin(at(2 * DAY_S + 200))
    assert journal.settle()
    [(counted,)] = rows(path, "SELECT sum(good_readings) FROM rollup_quarter_hour")
    assert counted == 2 * 144 + 100
    assert rows(path, "SELECT count(*) FROM notes") == [(100,)]


def test_an_empty_journal_can_be_thinned(begin, path):
    journal = begin()
    journal.thin(at(10))
    assert journal.settle()
    assert journal.trouble() is None
    assert rows(path, "SELECT count(*) FROM rollup_minute") == [(0,)]
    with closing(open_or_begin(path, WALL_S, 1.0, Soundness(path)).connection) as connection:
        assert list(thin(connection, 1, at(10), ThinningSettings())) == []
