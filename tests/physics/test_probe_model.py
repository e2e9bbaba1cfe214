"""A simulated probe: how it rounds, scatters and speaks."""

from __future__ import annotations

from random import Random
from statistics import fmean, stdev

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fermd.physics.errors import PhysicsError
from fermd.physics.probe import (
    ProbeModel,
    crc8,
    power_on_scratchpad,
    quantise,
    scratchpad,
    temperature_text,
    w1_slave_text,
)


@given(st.floats(-55.0, 125.0), st.sampled_from([9, 10, 11, 12]))
def test_a_reading_is_the_nearest_step_and_never_half_a_step_off(temp_c: float, bits: int) -> None:
    step_c = 2.0 ** -(bits - 8)
    read_c = quantise(temp_c, bits) / 16
    assert abs(read_c - temp_c) <= step_c / 2
    assert read_c / step_c == int(read_c / step_c)


def test_a_probe_cannot_show_more_than_its_range() -> None:
    assert quantise(400.0) == 125 * 16
    assert quantise(-273.0) == -55 * 16


def test_the_scatter_is_the_callers_random_source_and_nothing_else() -> None:
    probe = ProbeModel(offset_k=0.25, noise_sd_k=0.1)
    first = [probe.raw(12.0, Random(5)) for _ in range(10)]
    assert first == [probe.raw(12.0, Random(5)) for _ in range(10)]
    random = Random(1)
    readings = [probe.read_c(12.0, random) for _ in range(5000)]
    assert fmean(readings) == pytest.approx(12.25, abs=0.01)
    # The scatter itself and the rounding of 1/16 degC, which adds step^2 / 12.
    assert stdev(readings) == pytest.approx((0.1**2 + 0.0625**2 / 12) ** 0.5, rel=0.05)


def test_a_probe_without_scatter_shows_the_same_every_time() -> None:
    probe = ProbeModel(noise_sd_k=0.0)
    random = Random(0)
    assert {probe.read_c(10.03, random) for _ in range(20)} == {10.0}


@given(st.integers(-880, 2000), st.sampled_from([9, 10, 11, 12]))
def test_every_frame_carries_a_crc_that_comes_out_as_zero(raw: int, bits: int) -> None:
    frame = scratchpad(raw, bits)
    assert len(frame) == 9
    assert crc8(frame) == 0
    assert int.from_bytes(frame[:2], "little", signed=True) == raw


@given(st.integers(-880, 2000), st.integers(0, 71))
def test_one_flipped_bit_never_passes(raw: int, bit: int) -> None:
    frame = bytearray(scratchpad(raw))
    frame[bit // 8] ^= 1 << bit % 8
    assert " NO\n" in w1_slave_text(bytes(frame))
    assert temperature_text(bytes(frame)) == ""


def test_a_true_eighty_five_degrees_differs_from_a_power_up() -> None:
    assert scratchpad(quantise(85.0)) != power_on_scratchpad()
    assert temperature_text(scratchpad(quantise(85.0))) == temperature_text(power_on_scratchpad())


@pytest.mark.parametrize("bits", [8, 13, 0])
def test_a_resolution_that_does_not_exist_is_refused(bits: int) -> None:
    with pytest.raises(PhysicsError, match="9, 10, 11 or 12"):
        ProbeModel(resolution_bits=bits)


def test_nonsense_on_the_wire_is_refused() -> None:
    with pytest.raises(PhysicsError, match="nine bytes"):
        w1_slave_text(b"\x00")
    with pytest.raises(PhysicsError, match="nine bytes"):
        temperature_text(b"")
    with pytest.raises(PhysicsError, match="16 signed bits"):
        scratchpad(70_000)
    with pytest.raises(PhysicsError, match="probe noise"):
        ProbeModel(noise_sd_k=-1.0)
