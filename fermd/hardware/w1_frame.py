"""What the kernel's `w1_slave` text says: a temperature, or which fault.

Pure: text in, `Frame` or `ProbeFault` out. The rules:

- The temperature comes from the frame's own bytes. `t=` on the second line is never used: after a
  failed checksum the kernel still computes it from the broken frame, and prints the bytes of an
  older one beside it.
- `YES` is not believed alone: the CRC is computed again here, and a frame of zeros, whose CRC is
  right (0 of nothing is 0), is the frame of a line shorted to ground.
- Two generations of kernels are read. Before the driver's rework of 2020 a broken frame is printed
  with `NO`; since then the file is simply empty (drivers/w1/slaves/w1_therm.c: every error path of
  `w1_slave_show` returns 0 bytes).

Which fault is which:

- *power-on value*: the register holds 85.0 °C and byte 6 is 0Ch, which is how the kernel's driver,
  too, tells it from a converted 85.0 °C (byte 6 is 10h then; the register's low bits subtracted
  from 10h). Clones differ both ways. One whose byte 6 never moves from 0Ch is refused at a true
  85.0 °C, which no beer has. One that shows another byte 6 after power-up, or that repeats its last
  conversion or 25 °C instead of 85 °C (seen in some lots: community.openenergymonitor.org, topic
  14339), cannot be found out by its frame; the limits on range and jump have to do it.
- *no answer*: nothing, a text cut short, or something else than a frame; and 127.94 °C (register
  07FFh), which a probe gives when its supply broke down during the conversion: the conversion
  failed, so there is no answer, and nothing has been powered up.
- *disconnected*: the frame of an open line (all ones: nobody pulled the bus down) or of a shorted
  one (all zeros, or a configuration byte of zero, which no part has).
- *out of range*: a sound frame with a temperature that the part cannot measure.

Sources: DS18B20 data sheet, Table 1 and the scratchpad map; DS18S20 data sheet (resolution beyond
9 bits); Maxim Application Note 27; Documentation/w1/slaves/w1_therm.rst and w1_therm.c.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Final

from fermd.control.reading import ProbeFault

FAMILIES: Final = ("28", "10", "22", "3b", "42")
"""Thermometers by the first byte of their id: DS18B20, DS18S20, DS1822, DS1825, DS28EA00."""

LOWEST_C: Final = -55.0
HIGHEST_C: Final = 125.0

_POWER_ON_REGISTER: Final = 0x0550
_POWER_ON_REGISTER_DS18S20: Final = 0x00AA
_POWER_ON_BYTE_6: Final = 0x0C
_SUPPLY_BROKE_DOWN_REGISTER: Final = 0x07FF

# Nine bytes, each followed by a space, then a colon: as the driver's format strings have it.
_FIRST_LINE: Final = re.compile(r"((?:[0-9a-f]{2} ){9}): crc=([0-9a-f]{2}) (YES|NO)")
_SECOND_LINE: Final = re.compile(r"(?:[0-9a-f]{2} ){9}t=-?\d+")


@dataclass(frozen=True, slots=True)
class Frame:
    """A sound frame: its temperature (°C, uncalibrated) and how finely the probe counts."""

    temp_c: float
    resolution_bits: int | None = None
    """9 to 12; None for parts whose resolution is not set in bits."""


def read_frame(text: str, probe_id: str) -> Frame | ProbeFault:
    """Judge the text of one `w1_slave`, or what there is of it.

    `probe_id` is the folder's name; its first two digits, the family, say how to read the bytes.
    """
    lines = text.splitlines()
    first = _FIRST_LINE.fullmatch(lines[0]) if lines else None
    if first is None:
        return ProbeFault.NO_ANSWER
    scratchpad = bytes.fromhex(first[1])
    if scratchpad in (b"\xff" * 9, b"\x00" * 9):
        return ProbeFault.DISCONNECTED
    computed = crc8(scratchpad[:8])
    if first[3] == "NO" or computed != scratchpad[8] or computed != int(first[2], 16):
        return ProbeFault.CHECKSUM
    if len(lines) != 2 or _SECOND_LINE.fullmatch(lines[1]) is None:
        return ProbeFault.NO_ANSWER
    found = _read_ds18s20(scratchpad) if probe_id.startswith("10") else _read(scratchpad, probe_id)
    if isinstance(found, Frame) and not LOWEST_C <= found.temp_c <= HIGHEST_C:
        return ProbeFault.OUT_OF_RANGE
    return found


def crc8(data: bytes) -> int:
    """Return the CRC of 1-Wire parts (Maxim Application Note 27): X^8 + X^5 + X^4 + 1."""
    crc = 0
    for byte in data:
        crc = _CRC_OF_BYTE[crc ^ byte]
    return crc


def _read(scratchpad: bytes, probe_id: str) -> Frame | ProbeFault:
    """Read the parts that count in sixteenths of a degree."""
    register = int.from_bytes(scratchpad[:2], "little", signed=True)
    config = scratchpad[4]
    if config == 0:
        return ProbeFault.DISCONNECTED
    if register == _POWER_ON_REGISTER and scratchpad[6] == _POWER_ON_BYTE_6:
        return ProbeFault.POWER_ON_VALUE
    if register == _SUPPLY_BROKE_DOWN_REGISTER:
        return ProbeFault.NO_ANSWER
    if config & 0x80:
        return _read_with_high_config_bit(scratchpad, probe_id)
    bits = 9 + (config >> 5 & 0b11)
    undefined = (1 << (12 - bits)) - 1
    return Frame((register & ~undefined) / 16, bits)


def _read_with_high_config_bit(scratchpad: bytes, probe_id: str) -> Frame | ProbeFault:
    """Read two parts that set bit 7 of the configuration byte; a DS18B20 never does."""
    register = int.from_bytes(scratchpad[:2], "little", signed=True)
    if probe_id.startswith("3b"):
        # MAX31850, a thermocouple's reader (data sheet, from memory): quarter degrees, and bit 0
        # says that the thermocouple is open or shorted.
        return ProbeFault.DISCONNECTED if register & 1 else Frame((register & ~0b11) / 16)
    # GX20MH01, a clone of 14 bits: two more bits below the register stand in the configuration
    # byte, and the sum is cut to 16 bits, as the kernel does since 5.10.
    fine = (register << 2 | scratchpad[4] & 0b11) & 0xFFFF
    return Frame((fine - 0x10000 if fine & 0x8000 else fine) / 64)


def _read_ds18s20(scratchpad: bytes) -> Frame | ProbeFault:
    """Read a DS18S20: half degrees, and the rest from its two counters.

    Its true 85.0 °C cannot be told from its power-on value, and is refused with it.
    """
    register = int.from_bytes(scratchpad[:2], "little", signed=True)
    count_remain, count_per_c = scratchpad[6], scratchpad[7]
    if register == _POWER_ON_REGISTER_DS18S20 and count_remain == _POWER_ON_BYTE_6:
        return ProbeFault.POWER_ON_VALUE
    if count_per_c == 0:
        return ProbeFault.NO_ANSWER
    return Frame((register >> 1) - 0.25 + (count_per_c - count_remain) / count_per_c)


def _crc_of_byte(byte: int) -> int:
    crc = byte
    for _ in range(8):
        low_bit = crc & 1
        crc >>= 1
        if low_bit:
            crc ^= 0x8C  # the polynomial, its bits in the order of the wire
    return crc


_CRC_OF_BYTE: Final = tuple(_crc_of_byte(byte) for byte in range(256))
