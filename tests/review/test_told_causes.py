"""What the daemon wrote down of a fault, and how much of it is weighed against what is seen."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from fermd.control.alarms import AlarmKind
from fermd.control.events import AlarmChanged, AlarmPhase, Severity, TrustChanged
from fermd.control.reading import ProbeFault
from fermd.journal.rows import Happening
from fermd.review.causes.cause import Cause, Finding
from fermd.review.causes.disturbances import gathered
from fermd.review.causes.told import told_findings
from fermd.review.course import Course, Happened
from fermd.review.record import Run
from fermd.review.roles import Roles
from fermd.review.series import Series

HOUR_S = 3600.0
BEGUN_S, RUN_S = 10 * HOUR_S, 4 * HOUR_S
"""When the fridge starts, and its longest allowed run."""


def course_of(
    beer_c: Callable[[float], float], runs: tuple[Run, ...], *told: tuple[float, Happening]
) -> Course:
    """A day of a vessel's probe alone: `beer_c` by the hour; and when what was written down, s."""
    series = Series(60)
    for minute in range(24 * 60):
        temp_c = beer_c(minute / 60.0)
        series.at_s.append(60.0 * minute + 30.0)
        for column in (series.low_c, series.mean_c, series.high_c):
            column.append(temp_c)
        series.good.append(1.0)
    happened = tuple(
        Happened(at_s, 1, at_s, seq, "cellar", what) for seq, (at_s, what) in enumerate(told)
    )
    roles, probes = Roles("vessel"), {"vessel": series}
    return Course("cellar", 0.0, 24 * HOUR_S, roles, probes, runs, (), happened)


@pytest.mark.parametrize(
    ("rises_c", "cause"),
    [
        # In an hour, before the fridge starts and while it runs.
        pytest.param((0.5, 0.1), Cause.COOLING_WEAK, id="holds the beer"),
        pytest.param((0.5, 0.5), Cause.COOLING_FAILED, id="does nothing to it"),
        pytest.param((0.1, 0.1), Cause.COOLING_FAILED, id="does nothing to calm beer"),
        pytest.param((0.5, -0.5), Cause.COOLING_WEAK, id="cools it, and not enough"),
    ],
)
def test_without_a_probe_in_the_air_a_weak_fridge_is_told_by_how_the_beer_leaves_its_way(
    rises_c: tuple[float, float], cause: Cause
) -> None:
    begun_h = BEGUN_S / HOUR_S

    def beer_c(hour: float) -> float:
        before, within = rises_c
        return 12.0 + before * min(hour, begun_h) + within * max(0.0, hour - begun_h)

    run = Run("fridge", "cool", BEGUN_S, BEGUN_S + RUN_S, "above-band", True)
    ran_too_long = AlarmChanged(
        AlarmKind.LONGEST_RUN, "fridge", AlarmPhase.RAISED, Severity.WARNING
    )
    (found,) = told_findings(course_of(beer_c, (run,), (BEGUN_S + RUN_S, ran_too_long)))
    assert found.cause is cause


@pytest.mark.parametrize(
    ("fault", "cause"),
    [
        # A wire that breaks reads anything while it does: so it was not moved.
        *((fault, Cause.PROBE_FAULT) for fault in ("no answer", "checksum", "disconnected")),
        # It was distrusted for what it read: it was moved.
        *((fault, Cause.PROBE_MOVED) for fault in ("jump", "out of range")),
    ],
)
def test_a_probe_that_jumps_before_its_wire_fails_was_not_moved(fault: str, cause: Cause) -> None:
    lost = TrustChanged("vessel", False, ProbeFault(fault), 18.0)
    back = TrustChanged("vessel", True, None, 18.0)
    course = course_of(lambda _hour: 18.0, (), (36_600.0, lost), (40_000.0, back))
    # As jumps.py tells it.
    seen = Finding(Cause.PROBE_MOVED, 36_000.0, 40_000.0, "moved by +5.0 °C", weight=2.0)
    (named,) = gathered([*told_findings(course), seen])
    assert named.cause is cause
