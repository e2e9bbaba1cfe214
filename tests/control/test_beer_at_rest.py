"""How the beer drifts when everything has rested, and whether that is about to turn."""

from __future__ import annotations

import pytest

from fermd.control.protection import History
from fermd.control.resting import APART_S, FORESEEN_S, LOST_S, RESTED_S, Rest, goes_c, noted
from fermd.control.settings import HOUR_S, Duty
from fermd.control.view import idle_s

FIRST = Rest(10_000.0, 0.3)
FALLS = Rest(10_000.0, 0.2, -0.05)


def test_a_first_note_knows_the_drift_but_not_how_it_turns() -> None:
    assert noted(None, 10_000.0, 0.3, RESTED_S) == FIRST


def test_a_second_note_some_hours_later_tells_how_the_drift_turns() -> None:
    later_s = FIRST.at_mono_s + APART_S
    assert noted(FIRST, later_s, 0.2, RESTED_S) == Rest(later_s, 0.2, pytest.approx(-0.05))
    last_s = FIRST.at_mono_s + LOST_S - 1.0
    found = noted(FIRST, last_s, 0.7, 1e6)
    assert found == Rest(last_s, 0.7, pytest.approx(0.4 / 8.0, abs=1e-4))


def test_what_had_not_rested_is_not_noted() -> None:
    assert noted(FIRST, FIRST.at_mono_s + APART_S, 0.2, RESTED_S - 1.0) is FIRST
    assert noted(None, 10_000.0, 0.2, RESTED_S - 1.0) is None


def test_notes_that_are_near_to_each_other_tell_nothing() -> None:
    assert noted(FIRST, FIRST.at_mono_s + APART_S - 1.0, 0.2, RESTED_S) is FIRST


def test_after_a_whole_night_it_begins_anew() -> None:
    later_s = FIRST.at_mono_s + LOST_S
    assert noted(FALLS, later_s, 0.1, RESTED_S) == Rest(later_s, 0.1)


def test_it_goes_as_far_as_a_body_that_is_slowed_down() -> None:
    """v²/(2 a): 0.2 °C/h that lose 0.05 °C/h an hour take four hours, and 0.4 °C."""
    assert goes_c(FALLS, FALLS.at_mono_s, 1.0) == pytest.approx(0.4)
    assert goes_c(Rest(10_000.0, -0.2, 0.05), 10_000.0, -1.0) == pytest.approx(0.4)
    # Two hours later half the speed is left, and a quarter of the way.
    assert goes_c(FALLS, FALLS.at_mono_s + 2 * HOUR_S, 1.0) == pytest.approx(0.1)


def test_beer_that_goes_the_other_way_already_goes_no_further() -> None:
    assert goes_c(Rest(10_000.0, -0.1, -0.05), 10_000.0, 1.0) == 0.0


def test_nobody_knows_of_beer_whose_drift_grows_or_was_not_seen_to_change() -> None:
    assert goes_c(FALLS, FALLS.at_mono_s, -1.0) is None
    assert goes_c(Rest(10_000.0, 0.2, 0.0), 10_000.0, 1.0) is None
    assert goes_c(FIRST, FIRST.at_mono_s, 1.0) is None
    assert goes_c(None, 10_000.0, 1.0) is None


def test_a_note_counts_for_some_hours_only() -> None:
    steep = Rest(10_000.0, 2.0, -0.1)
    assert goes_c(steep, steep.at_mono_s + FORESEEN_S - 1.0, 1.0) == pytest.approx(12.8, abs=0.01)
    assert goes_c(steep, steep.at_mono_s + FORESEEN_S, 1.0) is None


def test_idle_is_since_the_last_stop_of_heat_or_cooling() -> None:
    stopped = {
        Duty.COOL: History(stopped_mono_s=1000.0),
        Duty.HEAT: History(stopped_mono_s=4000.0),
        Duty.FAN: History(stopped_mono_s=4900.0),
    }
    assert idle_s(stopped, 5000.0) == 1000.0
    assert idle_s({Duty.COOL: History(), Duty.FAN: stopped[Duty.FAN]}, 5000.0) == float("inf")
