"""The simulated probe against the DS18B20's data sheet and the kernel's transcripts."""

from __future__ import annotations

import pytest

from fermd.physics.probe import (
    crc8,
    millidegrees,
    power_on_scratchpad,
    quantise,
    scratchpad,
    temperature_text,
    w1_slave_text,
)


@pytest.mark.parametrize(
    ("temp_c", "register", "kernel"),
    [
        (125.0, "07d0", 125000),
        (85.0, "0550", 85000),
        (25.0625, "0191", 25062),
        (10.125, "00a2", 10125),
        (0.5, "0008", 500),
        (0.0, "0000", 0),
        (-0.5, "fff8", -500),
        (-10.125, "ff5e", -10125),
        (-25.0625, "fe6f", -25062),
        (-55.0, "fc90", -55000),
    ],
)
def test_table_1_temperature_and_data(temp_c: float, register: str, kernel: int) -> None:
    # DS18B20 data sheet (Maxim Integrated), Table 1; the kernel's value is (int)t * 1000 / 16 in C,
    # which cuts towards zero (drivers/w1/slaves/w1_therm.c).
    raw = quantise(temp_c)
    assert raw.to_bytes(2, "big", signed=True).hex() == register
    assert millidegrees(raw) == kernel
    assert temperature_text(scratchpad(raw)) == f"{kernel}\n"


@pytest.mark.parametrize(
    ("bits", "config", "step_c"),
    [(9, 0x1F, 0.5), (10, 0x3F, 0.25), (11, 0x5F, 0.125), (12, 0x7F, 0.0625)],
)
def test_resolutions_and_their_configuration_bytes(bits: int, config: int, step_c: float) -> None:
    # DS18B20 data sheet, table of resolutions (R1 R0 = 00, 01, 10, 11); bytes from memory.
    assert scratchpad(quantise(20.0, bits), bits)[4] == config
    assert quantise(20.0 + step_c, bits) - quantise(20.0, bits) == step_c * 16
    assert quantise(20.0 + 0.4 * step_c, bits) == quantise(20.0, bits)


@pytest.mark.parametrize(
    ("data", "crc"),
    [
        (b"123456789", 0xA1),  # check value of CRC-8/MAXIM-DOW in the RevEng catalogue, from memory
        (bytes.fromhex("021cb801000000"), 0xA2),  # Maxim Application Note 27, from memory
        (bytes.fromhex("28000000000000"), 0x1E),
        (bytes.fromhex("28010000000000"), 0x29),
        (bytes.fromhex("28ff641eb21603"), 0x3C),
        (bytes.fromhex("50054b467fff0c10"), 0x1C),  # transcript, raspberrypi.stackexchange 65828
        (bytes.fromhex("61014b467fff0f10"), 0x02),  # transcripts, friendlyelec.com forum, t=393
        (bytes.fromhex("62014b467fff0e10"), 0x03),
        (bytes(8), 0x00),  # a shorted bus passes its CRC
        (b"\xff" * 8, 0xC9),  # nobody there: the ninth byte FF is not C9
    ],
)
def test_crc_of_published_codes(data: bytes, crc: int) -> None:
    assert crc8(data) == crc
    assert crc8(data + bytes((crc,))) == 0


@pytest.mark.parametrize(
    "frame",
    [
        "d0 07 4b 46 7f ff 0c 10 f4",
        "91 01 4b 46 7f ff 0c 10 70",
        "20 01 4b 46 7f ff 0c 10 5d",
        "c0 00 4b 46 7f ff 0c 10 13",
        "a2 00 4b 46 7f ff 0c 10 74",
        "10 00 4b 46 7f ff 0c 10 9c",
        "08 00 4b 46 7f ff 0c 10 e2",
        "00 00 4b 46 7f ff 0c 10 c8",
        "f8 ff 4b 46 7f ff 0c 10 c3",
        "5e ff 4b 46 7f ff 0c 10 6a",
        "6f fe 4b 46 7f ff 0c 10 e8",
        "90 fc 4b 46 7f ff 0c 10 4f",
        "ff 07 4b 46 7f ff 0c 10 a6",
    ],
)
def test_crc_of_whole_scratchpads(frame: str) -> None:
    # Computed with an independent implementation of Application Note 27's polynomial.
    assert crc8(bytes.fromhex(frame)) == 0


@pytest.mark.parametrize(
    ("temp_c", "frame", "kernel"),
    [
        (22.0625, "61 01 4b 46 7f ff 0f 10 02", 22062),
        (22.125, "62 01 4b 46 7f ff 0e 10 03", 22125),
    ],
)
def test_a_genuine_parts_frames_as_transcribed(temp_c: float, frame: str, kernel: int) -> None:
    # Transcripts of a working probe, friendlyelec.com forum, t=393: byte 6 counts down from 10h
    # with the register's low bits.
    assert scratchpad(quantise(temp_c)).hex(" ") == frame
    assert w1_slave_text(scratchpad(quantise(temp_c))) == (
        f"{frame} : crc={frame[-2:]} YES\n{frame} t={kernel}\n"
    )


def test_the_frame_after_power_up_as_transcribed() -> None:
    # raspberrypi.stackexchange.com question 65828: stuck at the power-on value.
    assert w1_slave_text(power_on_scratchpad()) == (
        "50 05 4b 46 7f ff 0c 10 1c : crc=1c YES\n50 05 4b 46 7f ff 0c 10 1c t=85000\n"
    )
    assert scratchpad(quantise(85.0)).hex(" ") == "50 05 4b 46 7f ff 10 10 bd"


def test_an_unplugged_probe_as_an_older_kernel_tells_it() -> None:
    # friendlyelec.com forum, t=393: the second line shows the last good frame, but t is computed
    # from the broken one.
    last_good = bytes.fromhex("63014b467fff0d1015")
    assert w1_slave_text(b"\xff" * 9, last_good) == (
        "ff ff ff ff ff ff ff ff ff : crc=c9 NO\n63 01 4b 46 7f ff 0d 10 15 t=-62\n"
    )


def test_a_shorted_bus_reads_zero_with_a_good_crc() -> None:
    assert w1_slave_text(bytes(9)) == (
        "00 00 00 00 00 00 00 00 00 : crc=00 YES\n00 00 00 00 00 00 00 00 00 t=0\n"
    )
