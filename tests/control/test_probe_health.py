"""When a probe is believed: one bad reading is nothing, a run of them is a fault."""

from __future__ import annotations

from dataclasses import replace
from statistics import median
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fermd.control.health import SHARE_SAMPLES, Health, absorb, reading
from fermd.control.reading import ProbeFault, Reading, Sample, Trusted, Untrusted
from fermd.control.settings import ProbeSettings

PERIOD_S = 10.0
BUS_FAULTS = [
    ProbeFault.CHECKSUM,
    ProbeFault.POWER_ON_VALUE,
    ProbeFault.DISCONNECTED,
    ProbeFault.NO_ANSWER,
]


def beer_probe(**given: Any) -> ProbeSettings:
    """A probe by its defaults, but never frozen unless a test is about that."""
    return ProbeSettings(**{"name": "beer", "frozen_s": 0.0} | given)


class Probe:
    """A probe that is read every ten seconds."""

    def __init__(self, settings: ProbeSettings | None = None) -> None:
        self.settings = settings or beer_probe()
        self.mono_s = 0.0
        self.health = Health(since_mono_s=0.0)

    def shows(self, *values: float | ProbeFault | None, every_s: float = PERIOD_S) -> Reading:
        """Temperatures or faults, one a sample; None for no sample at all."""
        for value in values:
            self.mono_s += every_s
            samples = []
            if isinstance(value, ProbeFault):
                samples.append(Sample(self.mono_s, fault=value))
            elif value is not None:
                samples.append(Sample(self.mono_s, value))
            self.health = absorb(self.health, self.settings, samples, self.mono_s)
        return reading(self.health, self.settings)


def trusted_probe(settings: ProbeSettings | None = None, at_c: float = 18.0) -> Probe:
    probe = Probe(settings)
    assert isinstance(probe.shows(*[at_c] * 3), Trusted)
    return probe


def test_a_probe_is_not_believed_before_several_good_readings() -> None:
    probe = Probe()
    seen = probe.shows(18.0, 18.0)
    assert seen == Untrusted(ProbeFault.STARTING, 0.0, 18.0, 20.0)
    assert isinstance(probe.shows(18.0), Trusted)


@pytest.mark.parametrize("fault", BUS_FAULTS)
def test_one_bad_reading_is_passed_over_and_counted_by_its_name(fault: ProbeFault) -> None:
    probe = trusted_probe()
    assert probe.shows(fault) == Trusted(18.0, 30.0)
    assert probe.health.counts == {fault: 1}


@pytest.mark.parametrize("fault", BUS_FAULTS)
def test_a_run_of_bad_readings_is_a_fault_of_that_name(fault: ProbeFault) -> None:
    probe = trusted_probe()
    assert isinstance(probe.shows(*[fault] * 4), Trusted)
    assert probe.shows(fault) == Untrusted(fault, 80.0, 18.0, 30.0)
    assert probe.health.counts == {fault: 5}


def test_a_probe_that_has_never_been_good_tells_its_newest_fault() -> None:
    probe = Probe()
    assert probe.shows(ProbeFault.CHECKSUM) == Untrusted(ProbeFault.CHECKSUM, 0.0)
    assert probe.shows(18.0, ProbeFault.NO_ANSWER) == Untrusted(
        ProbeFault.NO_ANSWER, 0.0, 18.0, 20.0
    )


def test_every_fault_has_its_own_counter() -> None:
    probe = trusted_probe(beer_probe(bad_run=100, stale_s=1800.0))
    probe.shows(*BUS_FAULTS, ProbeFault.CHECKSUM, 85.0, -127.0, 30.0)
    assert probe.health.counts == {
        ProbeFault.CHECKSUM: 2,
        ProbeFault.POWER_ON_VALUE: 1,
        ProbeFault.DISCONNECTED: 1,
        ProbeFault.NO_ANSWER: 1,
        ProbeFault.OUT_OF_RANGE: 2,
        ProbeFault.JUMP: 1,
    }
    assert probe.health.samples == 11


def test_bad_readings_between_good_ones_never_add_up_to_a_fault() -> None:
    probe = trusted_probe()
    for _ in range(50):
        assert isinstance(probe.shows(ProbeFault.CHECKSUM, 18.0), Trusted)


def test_trust_comes_back_with_several_good_readings_in_a_row() -> None:
    probe = trusted_probe()
    probe.shows(*[ProbeFault.NO_ANSWER] * 5)
    assert isinstance(probe.shows(18.0, 18.0), Untrusted)
    assert isinstance(probe.shows(ProbeFault.NO_ANSWER), Untrusted)
    assert isinstance(probe.shows(18.0, 18.0), Untrusted)
    assert isinstance(probe.shows(18.0), Trusted)


def test_a_true_85_is_believed_where_the_probe_may_see_it_and_the_power_on_value_is_not() -> None:
    hot = beer_probe(highest_c=125.0)
    assert trusted_probe(hot, 85.0).shows(85.0) == Trusted(85.0, 40.0)
    probe = trusted_probe(hot, 84.0)
    assert probe.shows(ProbeFault.POWER_ON_VALUE) == Trusted(84.0, 30.0)


@pytest.mark.parametrize("temp_c", [85.0, -55.0, 127.9375, float("nan"), float("inf")])
def test_a_value_that_the_place_cannot_have_is_out_of_range(temp_c: float) -> None:
    probe = trusted_probe()
    probe.shows(*[temp_c] * 5)
    assert probe.health.fault is ProbeFault.OUT_OF_RANGE
    assert not probe.health.trusted


def test_range_is_judged_on_what_the_probe_says_not_on_what_is_made_of_it() -> None:
    probe = trusted_probe(beer_probe(highest_c=18.0, offset_c=2.0))
    assert probe.shows(18.0) == Trusted(20.0, 40.0)


def test_the_ends_of_its_range_are_within_it() -> None:
    settings = beer_probe(lowest_c=17.0, highest_c=19.0)
    assert trusted_probe(settings, 17.0).shows(17.0) == Trusted(17.0, 40.0)
    assert trusted_probe(settings, 19.0).shows(19.0) == Trusted(19.0, 40.0)


@pytest.mark.parametrize(
    ("temp_c", "fault"),
    [(85.0, ProbeFault.OUT_OF_RANGE), (30.0, ProbeFault.JUMP), (18.0, ProbeFault.FROZEN)],
)
def test_a_probe_that_is_lost_tells_since_when_and_by_what(
    temp_c: float, fault: ProbeFault
) -> None:
    probe = trusted_probe(beer_probe(frozen_s=30.0, bad_run=2))
    probe.shows(temp_c, temp_c)
    assert reading(probe.health, probe.settings) == Untrusted(fault, 50.0, 18.0, 30.0)


def test_a_good_reading_forgets_neither_the_faults_nor_since_when_the_probe_is_trusted() -> None:
    probe = trusted_probe()
    probe.shows(ProbeFault.CHECKSUM, 18.0, 18.0)
    assert probe.health.counts == {ProbeFault.CHECKSUM: 1}
    assert (probe.health.fault, probe.health.since_mono_s) == (ProbeFault.CHECKSUM, 30.0)
    assert (probe.health.good, probe.health.bad) == (2, 0)


def test_after_a_jump_the_next_reading_is_held_against_the_one_that_jumped() -> None:
    settings = beer_probe(jump_c=3.0, jump_c_per_min=6.0, bad_run=1)
    probe = trusted_probe(settings)
    probe.shows(5.0)
    # 3 °C, and 6 °C a minute for 10 s: from 5 °C to 9 °C, and no further.
    assert isinstance(probe.shows(9.1, 9.1, 9.1), Untrusted)
    assert isinstance(probe.shows(9.1), Trusted)
    probe = trusted_probe(settings)
    probe.shows(5.0)
    assert isinstance(probe.shows(8.9, 8.9, 8.9), Trusted)


def test_two_readings_of_one_moment_may_differ_by_a_jump_and_no_more() -> None:
    settings = beer_probe(jump_c=3.0, jump_c_per_min=6.0, median_of=1)
    assert trusted_probe(settings).shows(21.0, every_s=0.0) == Trusted(21.0, 30.0)
    assert trusted_probe(settings).shows(21.05, every_s=0.0) == Trusted(18.0, 30.0)


def test_beer_cannot_jump_but_it_may_warm_at_its_own_pace() -> None:
    probe = trusted_probe(beer_probe(jump_c=3.0, jump_c_per_min=6.0, median_of=1))
    assert probe.shows(22.0) == Trusted(22.0, 40.0)  # 3 °C, and 6 °C a minute for 10 s
    assert probe.shows(26.1) == Trusted(22.0, 40.0)
    assert probe.health.counts == {ProbeFault.JUMP: 1}


def test_a_probe_that_was_moved_is_believed_at_its_new_place_in_time() -> None:
    probe = trusted_probe()
    assert isinstance(probe.shows(*[5.0] * 5), Untrusted)
    assert isinstance(probe.shows(5.0, 5.0), Untrusted)
    assert probe.shows(5.0) == Trusted(5.0, 110.0)


def test_a_wire_that_rattles_between_values_is_never_believed() -> None:
    probe = trusted_probe()
    for _ in range(20):
        assert isinstance(probe.shows(*[-20.0, 40.0] * 3), Untrusted)


def test_a_value_frozen_for_a_day_is_a_fault_until_it_moves() -> None:
    probe = trusted_probe(beer_probe(frozen_s=3600.0))
    assert isinstance(probe.shows(*[18.0] * 357), Trusted)
    assert probe.health.counts == {}
    seen = probe.shows(*[18.0] * 5)
    assert isinstance(seen, Untrusted)
    assert seen.fault is ProbeFault.FROZEN
    assert isinstance(probe.shows(*[18.0] * 10), Untrusted)
    assert isinstance(probe.shows(18.0625, 18.0625, 18.0625), Trusted)


def test_a_live_probe_that_comes_back_to_a_value_is_not_frozen() -> None:
    probe = trusted_probe(beer_probe(frozen_s=60.0))
    assert isinstance(probe.shows(*[18.0, 18.0, 18.0625] * 50), Trusted)
    assert probe.health.counts == {}


def test_a_probe_that_was_away_for_a_day_and_comes_back_to_its_value_is_not_frozen() -> None:
    probe = trusted_probe(beer_probe(frozen_s=3600.0))
    probe.shows(*[ProbeFault.DISCONNECTED] * 500)
    assert probe.shows(18.0, 18.0, 18.0) == Trusted(18.0, 5060.0)


def test_a_probe_without_the_frozen_check_may_stand_still_for_ever() -> None:
    probe = trusted_probe(beer_probe(frozen_s=0.0))
    assert isinstance(probe.shows(*[18.0] * 20, every_s=100.0), Trusted)
    probe.mono_s += 1e7
    assert isinstance(probe.shows(18.0, 18.0, 18.0), Trusted)


def test_without_any_reading_trust_ends_at_the_stale_limit() -> None:
    probe = trusted_probe(beer_probe(stale_s=120.0))
    assert isinstance(probe.shows(*[None] * 12), Trusted)
    assert probe.shows(None) == Untrusted(ProbeFault.STALE, 160.0, 18.0, 30.0)
    assert probe.shows(None, None).fault is ProbeFault.STALE  # type: ignore[union-attr]
    assert probe.health.counts == {ProbeFault.STALE: 1}


def test_a_probe_that_was_silent_earns_its_trust_anew() -> None:
    probe = trusted_probe(beer_probe(stale_s=120.0))
    probe.shows(*[None] * 13)
    assert isinstance(probe.shows(18.0, 18.0), Untrusted)
    assert probe.shows(18.0) == Trusted(18.0, 190.0)


def test_a_probe_that_was_moved_while_nobody_saw_it_is_no_jump() -> None:
    probe = trusted_probe()
    probe.shows(*[ProbeFault.DISCONNECTED] * 5)
    assert probe.shows(5.0, 5.0, 5.0) == Trusted(5.0, 110.0)
    assert ProbeFault.JUMP not in probe.health.counts


def test_bad_readings_do_not_keep_an_old_one_fresh() -> None:
    probe = trusted_probe(beer_probe(stale_s=30.0, bad_run=100))
    assert isinstance(probe.shows(*[ProbeFault.CHECKSUM] * 3), Trusted)
    assert isinstance(probe.shows(ProbeFault.CHECKSUM), Untrusted)


def test_a_probe_is_calibrated_by_its_own_offset() -> None:
    probe = trusted_probe(beer_probe(offset_c=-0.375), 0.375)
    assert probe.shows(0.375) == Trusted(0.0, 40.0)
    lost = probe.shows(*[ProbeFault.NO_ANSWER] * 5)
    assert lost == Untrusted(ProbeFault.NO_ANSWER, 90.0, 0.0, 40.0)


def test_a_single_spike_never_passes_the_median() -> None:
    probe = trusted_probe()
    assert probe.shows(20.5) == Trusted(18.0, 40.0)
    assert probe.shows(18.0625) == Trusted(18.0625, 50.0)


def test_samples_from_before_a_fault_are_not_mixed_with_those_after_it() -> None:
    probe = trusted_probe(beer_probe(median_of=15))
    probe.shows(*[18.0] * 12)
    probe.shows(*[5.0] * 8)
    assert reading(probe.health, probe.settings) == Trusted(5.0, probe.mono_s)


@pytest.mark.parametrize("count", [1, 3, 5, 15])
def test_a_median_of_n_lags_a_ramp_by_half_of_n_less_one_periods(count: int) -> None:
    probe = Probe(beer_probe(median_of=count))
    rate_c_per_s = 0.001
    seen = probe.shows(*[rate_c_per_s * PERIOD_S * number for number in range(1, 40)])
    assert isinstance(seen, Trusted)
    lag_s = (rate_c_per_s * probe.mono_s - seen.temp_c) / rate_c_per_s
    assert lag_s == pytest.approx((count - 1) / 2 * PERIOD_S)


@given(st.lists(st.floats(10.0, 12.0), min_size=3, max_size=30), st.integers(1, 15))
def test_the_reading_is_the_median_of_the_newest_good_samples(
    values: list[float], count: int
) -> None:
    probe = Probe(beer_probe(median_of=count))
    seen = probe.shows(*values)
    assert isinstance(seen, Trusted)
    assert seen.temp_c == pytest.approx(median(values[-count:]))


def test_the_share_of_bad_readings_follows_what_came_lately() -> None:
    probe = trusted_probe()
    probe.shows(*[ProbeFault.CHECKSUM, 18.0, 18.0, 18.0] * SHARE_SAMPLES)
    assert probe.health.bad_share == pytest.approx(0.25, abs=0.01)
    probe.shows(*[18.0] * 5 * SHARE_SAMPLES)
    assert probe.health.bad_share < 0.01


def test_the_share_of_bad_readings_stands_still_while_the_probe_is_lost() -> None:
    probe = trusted_probe()
    probe.shows(*[ProbeFault.CHECKSUM] * 5)
    share = probe.health.bad_share
    assert share == pytest.approx(1 - (1 - 1 / SHARE_SAMPLES) ** 5)
    probe.shows(*[ProbeFault.CHECKSUM] * 100)
    assert probe.health.bad_share == share


NEITHER = "^a sample is either a temperature or a fault, never both or neither$"


def test_a_sample_is_a_temperature_or_a_fault() -> None:
    with pytest.raises(ValueError, match=NEITHER):
        Sample(0.0)
    with pytest.raises(ValueError, match=NEITHER):
        Sample(0.0, 18.0, ProbeFault.CHECKSUM)


def test_samples_of_one_tick_are_taken_in_their_order() -> None:
    health, settings = Health(), beer_probe()
    samples = [Sample(float(number), 18.0 + number / 16) for number in range(3)]
    health = absorb(health, settings, samples, 3.0)
    assert reading(health, settings) == Trusted(18.0625, 2.0)
    assert health == replace(health, good=3, samples=3, bad=0)


def test_a_probe_that_went_stale_because_it_was_frozen_is_not_believed_again() -> None:
    """With a stale limit shorter than a run of bad samples takes, staleness comes first."""
    probe = ProbeSettings("beer", frozen_s=600.0, stale_s=30.0, bad_run=50)
    health = Health()
    for number in range(400):
        mono_s = number * 10.0
        health = absorb(health, probe, (Sample(mono_s, 18.0),), mono_s)
        if mono_s > 700.0:
            assert not health.trusted
