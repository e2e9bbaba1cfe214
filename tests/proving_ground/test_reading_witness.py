"""When the witness calls an alarm about a lost probe overdue, and cooling a harm to the beer."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import pytest
from reading_witness import ALARM_AFTER_S, Probe, ReadingWitness

from fermd.control.reading import STARTING_PATIENCE_S, ProbeFault, Sample
from fermd.control.settings import ChamberSettings, Duty, FailSafeSettings, ProbeSettings

PERIOD_S = 10.0
DUE_S = ALARM_AFTER_S + 2 * PERIOD_S
"""Longer than this after a tick that had to see it, s, and the alarm is overdue."""

CHAMBER = ChamberSettings("cellar", ProbeSettings("vessel"))


def overdue(
    witness: ReadingWitness, at_s: float, given: Sequence[Sample] = (), *, told: bool = False
) -> bool:
    """Whether the witness finds an alarm missing at this tick."""
    alarms = [("vessel-probe-lost", "vessel")] if told else []
    found = witness.sees(at_s, at_s, CHAMBER, {"vessel": given}, {}, alarms)
    return "alarm raised" in [one.promise for one in found]


def test_a_probe_that_never_came_is_told_of_after_the_patience_of_a_start() -> None:
    witness = ReadingWitness(0.0, PERIOD_S)
    assert not overdue(witness, STARTING_PATIENCE_S)
    assert not overdue(witness, STARTING_PATIENCE_S + DUE_S)
    assert overdue(witness, STARTING_PATIENCE_S + DUE_S + 1.0)
    assert not overdue(witness, STARTING_PATIENCE_S + DUE_S + 1.0, told=True)


def test_a_loop_that_was_held_up_has_its_minute_from_the_tick_that_learns_of_it() -> None:
    witness = ReadingWitness(0.0, PERIOD_S)
    assert not overdue(witness, STARTING_PATIENCE_S - 20.0)
    assert not overdue(witness, 3143.0)
    assert not overdue(witness, 3143.0 + DUE_S)
    assert overdue(witness, 3143.0 + DUE_S + 1.0)


def test_a_probe_that_was_believed_is_owed_no_patience() -> None:
    witness = ReadingWitness(0.0, PERIOD_S)
    for number in range(1, 200):
        at_s = PERIOD_S * number
        assert not overdue(witness, at_s, [Sample(at_s, 12.0 + number % 2 / 16)])
    lost_s = at_s + PERIOD_S
    gone = [Sample(lost_s, fault=ProbeFault.DISCONNECTED)] * CHAMBER.vessel_probe.bad_run
    assert not overdue(witness, lost_s, gone)
    assert not overdue(witness, lost_s + DUE_S)
    assert overdue(witness, lost_s + DUE_S + 1.0)


@pytest.mark.parametrize(
    ("blind", "found_after"),
    [
        # Beyond the limit are as many samples as a median and a run of bad ones can hold, and one.
        (None, 6),
        # The same cooling is what the brewer chose for a probe that is not believed: that it was
        # must be over for certain, by a run of bad samples and a run of good ones.
        (Duty.COOL, 8),
    ],
)
def test_a_probe_that_jumps_below_freezing_convicts_whoever_cools(
    blind: Duty | None, found_after: int
) -> None:
    chamber = replace(CHAMBER, fail_safe=FailSafeSettings(blind))
    witness = ReadingWitness(0.0, PERIOD_S)
    temps_c = [20.0] * 10 + [-3.0] * 20
    found = []
    for number, temp_c in enumerate(temps_c):
        at_s = PERIOD_S * number
        given = {"vessel": [Sample(at_s, temp_c)]}
        broken = witness.sees(at_s, at_s, chamber, given, {Duty.COOL: number >= 10}, [])
        found.append("freezing margin" in [one.promise for one in broken])
    assert found.index(True) + 1 - 10 == found_after
    assert all(found[found.index(True) :])


def test_a_probe_that_jumps_to_a_frozen_value_is_frozen_once_it_was_believed_for_that_long() -> (
    None
):
    probe = ProbeSettings("vessel", frozen_s=1000.0)
    seen = Probe(0.0)
    for number in range(200):
        at_s = PERIOD_S * number
        seen.takes(Sample(at_s, 12.0 + number % 2 / 16 if number < 20 else 0.0), probe)
        if not seen.bad:
            good_s = at_s
    # From the sample that ends the run of bad ones it counts, not from the first of them.
    frozen_s = PERIOD_S * (20 + probe.bad_run) + probe.frozen_s
    assert good_s == frozen_s - PERIOD_S
    assert not seen.believed
