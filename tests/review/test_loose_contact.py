"""A probe that fails among good readings is named for that, and not for what it reads between."""

from __future__ import annotations

from collections.abc import Callable
from random import Random

import pytest

from fermd.control.events import TrustChanged
from fermd.control.reading import ProbeFault
from fermd.review.causes.cause import Cause
from fermd.review.causes.disturbances import disturbances
from fermd.review.causes.failing import failing_findings
from fermd.review.course import Course, Happened
from fermd.review.roles import Roles
from fermd.review.series import Series

DAY_MIN = 24 * 60
LOOSE_MIN = range(600, 700)


def course_of(fails: Callable[[int], bool], *happened: Happened, wild: bool = False) -> Course:
    """A day of a vessel's probe, read once a minute; `wild`: it reads 55 °C among its failures."""
    series = Series(60)
    random = Random(3)
    for minute in range(DAY_MIN):
        at_s = 60.0 * minute + 30.0
        if fails(minute):
            series.bad[at_s] = 1
            continue
        temp_c = 18.0 + 0.0625 * random.randrange(3)
        if wild and minute in LOOSE_MIN and minute % 9 == 0:
            temp_c = 55.0
        series.at_s.append(at_s)
        for column in (series.low_c, series.mean_c, series.high_c):
            column.append(temp_c)
        series.good.append(1.0)
    roles = Roles("vessel", None)
    return Course("cellar", 0.0, 60.0 * DAY_MIN, roles, {"vessel": series}, (), (), happened)


def loose(minute: int) -> bool:
    """Two of five fail."""
    return minute in LOOSE_MIN and minute % 5 < 2


def test_a_loose_contact_is_named_from_its_first_failure_to_its_last() -> None:
    (found,) = failing_findings(course_of(loose))
    assert found.cause is Cause.PROBE_FAULT
    assert found.start_s == pytest.approx(LOOSE_MIN.start * 60.0, abs=60.0)
    assert found.end_s == pytest.approx(LOOSE_MIN.stop * 60.0, abs=300.0)
    assert "40 readings failed" in found.detail


def test_three_failures_in_a_row_are_named_and_two_are_not() -> None:
    (found,) = failing_findings(course_of(lambda minute: minute in range(600, 603)))
    assert "3 readings failed" in found.detail
    assert list(failing_findings(course_of(lambda minute: minute in range(600, 602)))) == []


def test_what_a_loose_contact_reads_between_its_failures_is_no_move_of_the_probe() -> None:
    (found,) = disturbances(course_of(loose, wild=True))
    assert found.cause is Cause.PROBE_FAULT
    assert Cause.PROBE_MOVED in found.beside


@pytest.mark.parametrize(
    "fails",
    [
        pytest.param(lambda minute: minute in (600, 605, 610), id="thrice in a day"),
        pytest.param(lambda minute: minute % 4 == 0, id="a bus that always fails so often"),
        pytest.param(lambda minute: minute in LOOSE_MIN and minute % 8 == 0, id="one of eight"),
    ],
)
def test_readings_that_fail_now_and_then_are_no_trouble(fails: Callable[[int], bool]) -> None:
    assert list(failing_findings(course_of(fails))) == []


def test_a_fault_that_the_daemon_has_told_is_not_told_again() -> None:
    lost, back = (
        Happened(60.0 * minute, 1, 60.0 * minute, seq, "cellar", what)
        for seq, (minute, what) in enumerate(
            (
                (602, TrustChanged("vessel", False, ProbeFault.NO_ANSWER, 18.0)),
                (720, TrustChanged("vessel", True, None, 18.0)),
            )
        )
    )
    told = course_of(loose, lost, back, wild=True)
    assert list(failing_findings(told)) == []
    first, *_ = disturbances(told)
    # It was silent, so that what it read between is no move either.
    assert (first.cause, first.beside) == (Cause.PROBE_FAULT, (Cause.PROBE_MOVED,))
