"""The kernel's texts, as they were published or as its driver prints them, and what they mean."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fermd.control.reading import ProbeFault
from fermd.hardware.w1_frame import Frame, crc8, read_frame
from fermd.physics import probe as independent

DS18B20 = "28-000006b67845"


def printed(frame: str, *, verdict: str = "YES", second: str | None = None, t: int = 0) -> str:
    """The two lines with this frame; the stated CRC is the frame's last byte when it is good."""
    crc = frame.split()[8] if verdict == "YES" else f"{crc8(bytes.fromhex(frame)[:8]):02x}"
    return f"{frame} : crc={crc} {verdict}\n{second or frame} t={t}\n"


# DS18B20 data sheet, Table 1 "Temperature/Data Relationship"; the other bytes as they leave the
# works (TH 4b, TL 46, 12 bits), CRC computed.
TABLE_1 = [
    (125.0, "d0 07 4b 46 7f ff 0c 10 f4"),
    (25.0625, "91 01 4b 46 7f ff 0c 10 70"),
    (10.125, "a2 00 4b 46 7f ff 0c 10 74"),
    (0.5, "08 00 4b 46 7f ff 0c 10 e2"),
    (0.0, "00 00 4b 46 7f ff 0c 10 c8"),
    (-0.5, "f8 ff 4b 46 7f ff 0c 10 c3"),
    (-10.125, "5e ff 4b 46 7f ff 0c 10 6a"),
    (-25.0625, "6f fe 4b 46 7f ff 0c 10 e8"),
    (-55.0, "90 fc 4b 46 7f ff 0c 10 4f"),
]


@pytest.mark.parametrize(("temp_c", "frame"), TABLE_1)
def test_every_row_of_the_data_sheets_table_is_read(temp_c: float, frame: str) -> None:
    assert read_frame(printed(frame), DS18B20) == Frame(temp_c, 12)


def test_frames_published_by_a_user_are_read() -> None:
    # www.friendlyelec.com/Forum/viewtopic.php?f=47&t=393
    text = "61 01 4b 46 7f ff 0f 10 02 : crc=02 YES\n61 01 4b 46 7f ff 0f 10 02 t=22062\n"
    assert read_frame(text, DS18B20) == Frame(22.0625, 12)
    text = "62 01 4b 46 7f ff 0e 10 03 : crc=03 YES\n62 01 4b 46 7f ff 0e 10 03 t=22125\n"
    assert read_frame(text, DS18B20) == Frame(22.125, 12)


def test_an_open_line_is_a_disconnected_probe_and_its_minus_62_millidegrees_are_not_believed() -> (
    None
):
    # The same page: nobody answered, and the second line still shows a good frame.
    text = "ff ff ff ff ff ff ff ff ff : crc=c9 NO\n63 01 4b 46 7f ff 0d 10 15 t=-62\n"
    assert read_frame(text, DS18B20) is ProbeFault.DISCONNECTED


def test_a_shorted_line_is_a_disconnected_probe_though_its_checksum_is_right() -> None:
    # drivers/w1/slaves/w1_therm.c prints YES whenever the CRC matches; 0 of eight zeros is 0.
    frame = "00 00 00 00 00 00 00 00 00"
    assert read_frame(printed(frame), DS18B20) is ProbeFault.DISCONNECTED


def test_zeros_with_a_sound_checksum_but_no_configuration_are_a_disconnected_probe() -> None:
    # community.openenergymonitor.org, topic 14339: byte 4 of zero tells zeros from 0 °C.
    body = bytes((0x10, 0x01, 0, 0, 0, 0, 0, 0))
    frame = bytes((*body, crc8(body))).hex(" ")
    assert read_frame(printed(frame), DS18B20) is ProbeFault.DISCONNECTED


def test_a_restarted_probe_is_told_from_a_hot_one() -> None:
    # raspberrypi.stackexchange.com/questions/65828: stuck at the power-on value.
    text = "50 05 4b 46 7f ff 0c 10 1c : crc=1c YES\n50 05 4b 46 7f ff 0c 10 1c t=85000\n"
    assert read_frame(text, DS18B20) is ProbeFault.POWER_ON_VALUE
    # Byte 6 after a conversion: from memory, in agreement with the published frames above.
    assert read_frame(printed("50 05 4b 46 7f ff 10 10 bd"), DS18B20) == Frame(85.0, 12)


def test_a_supply_that_broke_down_in_the_conversion_is_no_answer() -> None:
    # Documentation/w1/slaves/w1_therm.rst, `features`: 127.94 means insufficient power.
    assert read_frame(printed("ff 07 4b 46 7f ff 0c 10 a6"), DS18B20) is ProbeFault.NO_ANSWER


def test_a_broken_frame_is_a_checksum_fault_whatever_the_second_line_shows() -> None:
    text = printed(
        "63 05 4b 46 7f ff 0d 10 15", verdict="NO", second="63 01 4b 46 7f ff 0d 10 15", t=86187
    )
    assert read_frame(text, DS18B20) is ProbeFault.CHECKSUM


def test_yes_beside_bytes_that_do_not_fit_their_checksum_is_not_believed() -> None:
    text = "63 01 4b 46 7f ff 0d 10 16 : crc=16 YES\n63 01 4b 46 7f ff 0d 10 16 t=22187\n"
    assert read_frame(text, DS18B20) is ProbeFault.CHECKSUM


GOOD = "61 01 4b 46 7f ff 0f 10 02 : crc=02 YES\n61 01 4b 46 7f ff 0f 10 02 t=22062\n"


@pytest.mark.parametrize(
    "text",
    [
        "",  # kernels since the rework of 2020, on any failure
        "\n",
        GOOD[:20],
        GOOD[:40],
        GOOD[:60],
        GOOD.replace(" :", ":"),
        "YES\nt=85000\n",
        "banana YES\n",
        "\ufffd\ufffd\ufffd",
        GOOD + "more\n",
    ],
)
def test_what_is_no_frame_is_no_answer(text: str) -> None:
    assert read_frame(text, DS18B20) is ProbeFault.NO_ANSWER


def test_a_sound_frame_beyond_what_the_part_measures_is_out_of_range() -> None:
    body = (-110 * 16).to_bytes(2, "little", signed=True) + bytes.fromhex("4b467fff0c10")
    frame = bytes((*body, crc8(body))).hex(" ")
    assert read_frame(printed(frame), DS18B20) is ProbeFault.OUT_OF_RANGE


@pytest.mark.parametrize(
    ("bits", "config", "temp_c"), [(9, 0x1F, 20.5), (10, 0x3F, 20.75), (11, 0x5F, 20.875)]
)
def test_bits_that_a_coarse_conversion_leaves_undefined_are_ignored(
    bits: int, config: int, temp_c: float
) -> None:
    # DS18B20 data sheet, scratchpad: bits 2-0, 1-0 or 0 are undefined at 9, 10, 11 bits.
    body = bytes((0x4F, 0x01, 0x4B, 0x46, config, 0xFF, 0x01, 0x10))
    frame = bytes((*body, crc8(body))).hex(" ")
    assert read_frame(printed(frame), DS18B20) == Frame(temp_c, bits)


def test_a_clone_of_14_bits_keeps_its_two_more_bits_in_the_configuration_byte() -> None:
    # w1_therm.c since 5.10: (register << 2 | config & 3) / 64 when bit 7 is set.
    body = bytes((0x61, 0x01, 0x4B, 0x46, 0xFE, 0xFF, 0x0F, 0x10))
    frame = bytes((*body, crc8(body))).hex(" ")
    assert read_frame(printed(frame), DS18B20) == Frame(22.0625 + 2 / 64)
    body = bytes((0xFF, 0xFF, 0x4B, 0x46, 0xFD, 0xFF, 0x0F, 0x10))
    frame = bytes((*body, crc8(body))).hex(" ")
    assert read_frame(printed(frame), DS18B20) == Frame(-3 / 64)


@pytest.mark.parametrize(
    ("frame", "temp_c"),
    [
        # DS18S20 data sheet: T = half degrees - 0.25 + (count per °C - remain) / count per °C.
        ("aa 00 4b 46 ff ff 04 10", 85.5),
        ("32 00 4b 46 ff ff 0c 10", 25.0),
        ("01 00 4b 46 ff ff 08 10", 0.25),
        ("ff ff 4b 46 ff ff 0c 10", -1.0),
        ("ce ff 4b 46 ff ff 0c 10", -25.0),
    ],
)
def test_a_ds18s20_is_read_by_its_own_rule(frame: str, temp_c: float) -> None:
    whole = f"{frame} {crc8(bytes.fromhex(frame)):02x}"
    assert read_frame(printed(whole), "10-000802b4ba0e") == Frame(temp_c)


def test_a_ds18s20_that_restarted_or_cannot_count_is_a_fault() -> None:
    for frame, fault in (
        ("aa 00 4b 46 ff ff 0c 10", ProbeFault.POWER_ON_VALUE),
        ("32 00 4b 46 ff ff 0c 00", ProbeFault.NO_ANSWER),
    ):
        whole = f"{frame} {crc8(bytes.fromhex(frame)):02x}"
        assert read_frame(printed(whole), "10-000802b4ba0e") is fault


def test_a_thermocouple_reader_says_when_its_thermocouple_is_open() -> None:
    # MAX31850 data sheet, from memory: bit 0 of the register is the fault bit.
    for low, expected in ((0x60, Frame(22.0)), (0x61, ProbeFault.DISCONNECTED)):
        body = bytes((low, 0x01, 0x00, 0x17, 0xF0, 0xFF, 0xFF, 0xFF))
        frame = bytes((*body, crc8(body))).hex(" ")
        assert read_frame(printed(frame), "3b-0000001921e8") == expected


def test_the_crc_agrees_with_its_published_check_values() -> None:
    assert crc8(b"123456789") == 0xA1  # CRC catalogue, from memory
    assert crc8(bytes.fromhex("021CB801000000")) == 0xA2  # Application Note 27's ROM, from memory
    assert crc8(bytes.fromhex("50054b467fff0c10")) == 0x1C  # the published frame above


@given(st.binary(min_size=1, max_size=16))
def test_two_independent_crcs_agree(data: bytes) -> None:
    assert crc8(data) == independent.crc8(data)


@given(st.integers(-880, 2000), st.sampled_from([9, 10, 11, 12]))
def test_what_the_independent_model_of_a_probe_prints_is_read_back(
    register: int, bits: int
) -> None:
    temp_c = register / 16
    frame = independent.scratchpad(independent.quantise(temp_c, bits), bits)
    found = read_frame(independent.w1_slave_text(frame), DS18B20)
    assert isinstance(found, Frame)
    assert found.resolution_bits == bits
    assert abs(found.temp_c - temp_c) <= 2 ** (12 - bits) / 32 + 1e-9


@given(st.integers(-880, 2000), st.integers(0, 8), st.integers(0, 7))
def test_no_flipped_bit_is_ever_read_as_a_temperature(register: int, at: int, bit: int) -> None:
    frame = bytearray(independent.scratchpad(register))
    frame[at] ^= 1 << bit
    text = independent.w1_slave_text(bytes(frame))
    assert read_frame(text, DS18B20) is ProbeFault.CHECKSUM
    assert read_frame(text.replace(" NO\n", " YES\n"), DS18B20) is ProbeFault.CHECKSUM


@given(st.text(max_size=200))
def test_no_text_at_all_raises(text: str) -> None:
    assert isinstance(read_frame(text, DS18B20), ProbeFault)
