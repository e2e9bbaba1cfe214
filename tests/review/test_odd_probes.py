"""A probe that stands still or jumps to and fro is named, one that is steady or noisy is not."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from math import pi, sin
from random import Random

import pytest

from fermd.control.events import GapSeen, OutputChanged
from fermd.control.reasons import Reason, Rule
from fermd.control.settings import Duty
from fermd.review.causes.cause import Cause
from fermd.review.causes.spikes import spike_findings
from fermd.review.causes.standing import standing_findings
from fermd.review.course import Course, Happened
from fermd.review.roles import Roles, read_roles
from fermd.review.series import Series

STEP_C = 0.0625
"""Of a 12-bit probe (DS18B20 data sheet)."""

DAY_MIN = 24 * 60


def course_of(reads_c: Callable[[int], float]) -> Course:
    series = Series(60)
    for minute in range(DAY_MIN):
        temp_c = reads_c(minute)
        series.at_s.append(60.0 * minute + 30.0)
        for column in (series.low_c, series.mean_c, series.high_c):
            column.append(temp_c)
        series.good.append(1.0)
    return Course(
        "cellar", 0.0, 60.0 * DAY_MIN, Roles("vessel", None), {"vessel": series}, (), (), ()
    )


def noisy(minute: int) -> float:
    """A live probe: the last digits are never still for long."""
    true_c = 18.0 + 0.5 * minute / DAY_MIN + Random(minute).gauss(0.0, 0.05)
    return round(true_c / STEP_C) * STEP_C


def test_a_frozen_probe_is_named_from_when_it_froze() -> None:
    (found,) = standing_findings(
        course_of(lambda minute: 18.0625 if 600 <= minute < 900 else noisy(minute))
    )
    assert found.cause is Cause.PROBE_FAULT
    assert found.start_s == pytest.approx(600 * 60.0, abs=180.0)
    assert found.end_s == pytest.approx(900 * 60.0, abs=180.0)
    assert "18.06 °C" in found.detail


def test_a_live_probe_is_not_taken_to_be_frozen() -> None:
    assert list(standing_findings(course_of(noisy))) == []


def test_a_calm_vessel_whose_probe_has_no_noise_is_not_taken_to_be_frozen() -> None:
    """0.5 °C a day are eight steps of a 12-bit probe, three hours each."""
    calm = course_of(lambda minute: round((18.0 + 0.5 * minute / DAY_MIN) / STEP_C) * STEP_C)
    assert list(standing_findings(calm)) == []


def test_a_probe_that_jumps_away_and_back_is_named() -> None:
    away = {700, 712, 731}
    (found,) = spike_findings(
        course_of(lambda minute: noisy(minute) + (5.0 if minute in away else 0.0))
    )
    assert found.cause is Cause.PROBE_FAULT
    assert (found.start_s, found.end_s) == (700 * 60.0 + 30.0, 731 * 60.0 + 30.0)
    assert "3 times" in found.detail


def test_a_probe_that_is_moved_to_another_place_has_no_spikes() -> None:
    moved = course_of(lambda minute: noisy(minute) + (5.0 if 700 <= minute < 720 else 0.0))
    assert list(spike_findings(moved)) == []


def test_a_vessel_probe_that_was_once_taken_out_is_not_taken_for_the_air_s() -> None:
    vessel = course_of(lambda minute: noisy(minute) + (25.0 if 700 <= minute < 720 else 0.0))
    air = course_of(lambda minute: 17.0 + 1.5 * sin(2.0 * pi * minute / 40.0))
    probes = {"a": vessel.probes["vessel"], "b": air.probes["vessel"]}
    assert read_roles(probes, []) == Roles("a", "b")


def test_a_vessel_probe_that_was_out_for_two_minutes_is_named() -> None:
    out = course_of(lambda minute: noisy(minute) + (8.0 if 700 <= minute < 702 else 0.0))
    (found,) = spike_findings(out)
    assert found.cause is Cause.PROBE_MOVED
    assert (found.start_s, found.end_s) == (700 * 60.0 + 30.0, 702 * 60.0 + 30.0)


def test_a_single_odd_reading_is_no_trouble() -> None:
    once = course_of(lambda minute: noisy(minute) + (8.0 if minute == 700 else 0.0))
    assert list(spike_findings(once)) == []


def test_what_a_hanging_loop_has_written_down_of_a_probe_is_not_its_fault() -> None:
    hung = range(600, 900)
    course = course_of(lambda minute: 18.0625 if minute in hung else noisy(minute))
    gap = Happened(900 * 60.0, 1, 900 * 60.0, 1, "", GapSeen(300 * 60.0))
    assert list(standing_findings(replace(course, happened=(gap,)))) == []


def test_probes_that_were_swapped_for_some_hours_are_still_known_by_their_places() -> None:
    """For five hours of a day the vessel's moves as the air does: in fewer spans than the air's."""

    def cycling(minute: int) -> float:
        return 17.0 + 6.0 * sin(2.0 * pi * minute / 40.0)

    swapped = range(900, 1200)
    vessel = course_of(lambda minute: cycling(minute) if minute in swapped else noisy(minute))
    air = course_of(
        lambda minute: (
            noisy(minute)
            if minute in swapped
            else cycling(minute)
            if minute < 1200
            # At rest since.
            else 17.0
        )
    )
    # What was decided on says which of them is in the vessel.
    decided = [
        Happened(
            60.0 * minute + 30.0,
            1,
            60.0 * minute,
            minute,
            "cellar",
            OutputChanged(
                Duty.COOL,
                "fridge",
                "gpio:4",
                True,
                (Reason(Rule.ABOVE_BAND, vessel.probes["vessel"].at(60.0 * minute + 30.0)),),
            ),
        )
        for minute in range(10, DAY_MIN, 40)
    ]
    probes = {"a": vessel.probes["vessel"], "b": air.probes["vessel"]}
    assert read_roles(probes, decided) == Roles("a", "b")


def test_a_second_probe_in_the_vessel_is_not_taken_for_the_air_s() -> None:
    vessel, other = course_of(noisy), course_of(lambda minute: noisy(minute + 7))
    probes = {"a": vessel.probes["vessel"], "b": other.probes["vessel"]}
    assert read_roles(probes, []).air is None
