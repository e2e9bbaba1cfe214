"""A probe in ice water, calibrated from the command line."""

from __future__ import annotations

import os
from collections.abc import Iterator

import pytest
from cli_rig import RealDaemon, on_terminal, run

from fermd.config.calibration import FEWEST_READINGS
from fermd.config.site_file import load_site
from fermd.control.decision import Mode

READS_C = 0.4375
"""A probe that is within its data sheet (DS18B20: ±0.5 °C from -10 to 85 °C), in melting ice."""


@pytest.fixture
def iced() -> Iterator[RealDaemon]:
    with RealDaemon(probe_c=READS_C) as daemon:
        daemon.until(lambda seen: seen.tick > 2 * FEWEST_READINGS)
        yield daemon
    daemon.remove()


def offset_c(daemon: RealDaemon) -> float:
    return load_site(daemon.site_path).settings.chambers[0].vessel_probe.offset_c


def mode(daemon: RealDaemon) -> Mode:
    return daemon.until(lambda seen: seen is not None).chambers["lager"].decision.mode


def test_the_offset_is_found_kept_in_the_site_file_and_put_back(iced: RealDaemon) -> None:
    ended = run("calibrate", "vessel", "--yes", "--json", env=iced.environment)
    assert ended.code == 0, ended.err
    assert ended.json["offset_c"] == pytest.approx(-READS_C, abs=0.006)
    assert ended.json["read_c"] == pytest.approx(READS_C, abs=0.001)
    assert ended.json["readings"] >= FEWEST_READINGS
    assert (ended.json["chamber"], ended.json["switched_off"]) == ("lager", False)
    assert offset_c(iced) == ended.json["offset_c"]
    iced.journal.flush()
    told = run("log", env=iced.environment).out
    assert f"probe vessel: offset 0 °C is now {ended.json['offset_c']:g} °C" in told
    back = run("calibrate", "vessel", "--offset=0", "--yes", "--json", env=iced.environment)
    assert (back.code, back.json["offset_c"], back.json["read_c"]) == (0, 0.0, None)
    assert offset_c(iced) == 0.0


def test_a_chamber_that_goes_by_the_probe_is_switched_off_first_and_that_is_told(
    iced: RealDaemon,
) -> None:
    run("target", "10", env=iced.environment)
    iced.until(lambda seen: seen.chambers["lager"].decision.mode is Mode.HAND)
    asked = run("calibrate", "vessel", env=iced.environment)
    assert asked.code == os.EX_USAGE
    for part in ("goes by vessel and would heat", "Switch it off first?", "--yes"):
        assert part in asked.err
    assert mode(iced) is Mode.HAND
    shown = on_terminal("calibrate", "vessel", "--yes", env=iced.environment | {"NO_COLOR": "1"})
    assert "read 0.44 °C in ice water" in shown.out
    assert "fermd calibrate vessel --offset=0" in shown.out
    assert "lager is switched off: `fermd target` or `fermd resume` goes on." in shown.out
    assert mode(iced) is Mode.OFF
    assert offset_c(iced) == pytest.approx(-READS_C, abs=0.006)


def test_nothing_is_set_where_nobody_can_say_that_it_is_ice_water(iced: RealDaemon) -> None:
    asked = run("calibrate", "vessel", env=iced.environment)
    assert asked.code == os.EX_USAGE
    for part in ("vessel reads", "0.44 °C", "stirred ice and water", "--yes"):
        assert part in asked.err
    assert offset_c(iced) == 0.0


def test_a_probe_in_beer_is_refused_with_why(lager: RealDaemon) -> None:
    lager.until(lambda seen: seen.tick > 2 * FEWEST_READINGS)
    ended = run("calibrate", "vessel", "--yes", env=lager.environment)
    assert ended.code == os.EX_TEMPFAIL
    assert "refused: " in ended.err
    assert "ice" in ended.err
    plain = run("calibrate", "vessel", "--yes", "--json", env=lager.environment)
    assert plain.code == os.EX_TEMPFAIL
    assert plain.json["taken"] is False
    assert offset_c(lager) == 0.0


def test_a_probe_that_there_is_not_is_told_from_those_that_there_are(lager: RealDaemon) -> None:
    ended = run("calibrate", "vesel", "--yes", env=lager.environment)
    assert ended.code == os.EX_USAGE
    for part in ("PROBE = 'vesel'", "vessel, air"):
        assert part in ended.err


def test_an_offset_that_no_probe_has_is_refused(lager: RealDaemon) -> None:
    ended = run("calibrate", "vessel", "--offset=9", "--yes", env=lager.environment)
    assert ended.code == os.EX_DATAERR
    assert "offset_c" in ended.err
    assert offset_c(lager) == 0.0
