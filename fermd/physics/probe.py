"""The DS18B20 seen from outside: what it puts on the wire and what the kernel writes of it.

Pure: the noise comes from the caller's random source. Only the making of readings is here; reading
them back is the hardware's business and shares no code with this, so that each can be held against
the published tables alone.

Sources: DS18B20 data sheet (Maxim Integrated), Table 1 "Temperature/Data Relationship", the
scratchpad map and the table of resolutions; CRC of Maxim Application Note 27; the kernel's
Documentation/w1/slaves/w1_therm.rst and drivers/w1/slaves/w1_therm.c.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import floor
from random import Random
from typing import Final

from fermd.physics.errors import PhysicsError, require

LOWEST_C: Final = -55.0
HIGHEST_C: Final = 125.0
STEPS_PER_K: Final = 16
"""The register counts in 2^-4 °C whatever the resolution."""

_STEPS_TOGETHER: Final = {9: 8, 10: 4, 11: 2, 12: 1}
"""How many steps of the register one step of a resolution (bits) is."""

POWER_ON_RAW: Final = 0x0550
"""The register after power-up, +85 °C, until the first conversion is done."""

_CRC_POLYNOMIAL_REFLECTED: Final = 0x8C
_POWER_ON_BYTE_6: Final = 0x0C
# Alarm thresholds and the constant bytes as they leave the works (+75 and +70 °C; FFh; 10h).
_ALARM_HIGH: Final = 0x4B
_ALARM_LOW: Final = 0x46
_BYTE_5: Final = 0xFF
_BYTE_7: Final = 0x10


@dataclass(frozen=True, slots=True)
class ProbeModel:
    """One probe: how far it is off, how much it scatters, how finely it counts.

    The data sheet allows ±0.5 °C from -10 to +85 °C. The scatter's default, half a step of
    12 bits, is common practice, no source.
    """

    offset_k: float = 0.0
    noise_sd_k: float = 0.03
    resolution_bits: int = 12

    def __post_init__(self) -> None:
        """Check the ranges.

        Raises:
            PhysicsError: scatter below 0, or a resolution other than 9 to 12 bits.

        """
        require("probe offset", self.offset_k, -50.0, 50.0)
        require("probe noise", self.noise_sd_k, 0.0, 50.0)
        _require_resolution(self.resolution_bits)

    def raw(self, temp_c: float, random: Random) -> int:
        """Return the register after a conversion at a true `temp_c` of the probe's body."""
        scatter_k = random.gauss(0.0, self.noise_sd_k) if self.noise_sd_k else 0.0
        return quantise(temp_c + self.offset_k + scatter_k, self.resolution_bits)

    def read_c(self, temp_c: float, random: Random) -> float:
        """Return the temperature that the probe would show for a true `temp_c`."""
        return self.raw(temp_c, random) / STEPS_PER_K


def quantise(temp_c: float, resolution_bits: int = 12) -> int:
    """Return the register for a temperature: the nearest step, held within -55 to +125 °C.

    With fewer than 12 bits the low bits are undefined by the data sheet; here they are 0.
    """
    coarse = _STEPS_TOGETHER[_require_resolution(resolution_bits)]
    if not LOWEST_C < temp_c < HIGHEST_C:
        temp_c = min(max(temp_c, LOWEST_C), HIGHEST_C)
    return floor(temp_c * STEPS_PER_K / coarse + 0.5) * coarse


def millidegrees(raw: int) -> int:
    """Return the kernel's value for a register: thousandths of °C, cut towards zero as C does."""
    magnitude = abs(raw) * 1000 // STEPS_PER_K
    return magnitude if raw >= 0 else -magnitude


def scratchpad(raw: int, resolution_bits: int = 12) -> bytes:
    """Return the nine bytes that a genuine part sends after a conversion.

    Byte 6 is 10h less the register's low four bits (from memory; it agrees with published
    transcripts); at power-up it is 0Ch, which tells a true +85 °C from an unconverted one.

    Raises:
        PhysicsError: a register that does not fit 16 signed bits.

    """
    return _frame(raw, 0x10 - (raw & 0x0F), resolution_bits)


def power_on_scratchpad(resolution_bits: int = 12) -> bytes:
    """Return the nine bytes of a part that lost its power and has not converted since."""
    return _frame(POWER_ON_RAW, _POWER_ON_BYTE_6, resolution_bits)


def crc8(data: bytes) -> int:
    """Return the CRC of 1-Wire parts: X^8 + X^5 + X^4 + 1, bits reflected, from 0."""
    crc = 0
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = (crc >> 1) ^ (_CRC_POLYNOMIAL_REFLECTED if crc & 1 else 0)
    return crc


def w1_slave_text(frame: bytes, last_good: bytes | None = None) -> str:
    """Return the two lines of the kernel's `w1_slave` for a frame as it came over the wire.

    Line 1 shows the frame and whether its CRC holds; line 2 shows the last frame that was good,
    and t of the frame just read even when that is broken. Newer kernels give an empty file for a
    broken frame instead; to play one, write nothing.
    """
    if len(frame) != 9 or (last_good is not None and len(last_good) != 9):
        raise PhysicsError("w1_slave: a frame has nine bytes")
    computed = crc8(frame[:8])
    good = computed == frame[8]
    shown = frame if good or last_good is None else last_good
    raw = int.from_bytes(frame[:2], "little", signed=True)
    return (
        f"{frame.hex(' ')} : crc={computed:02x} {'YES' if good else 'NO'}\n"
        f"{shown.hex(' ')} t={millidegrees(raw)}\n"
    )


def temperature_text(frame: bytes) -> str:
    """Return the kernel's `temperature` file: millidegrees, or nothing if the CRC fails."""
    if len(frame) != 9:
        raise PhysicsError("temperature: a frame has nine bytes")
    if crc8(frame[:8]) != frame[8]:
        return ""
    return f"{millidegrees(int.from_bytes(frame[:2], 'little', signed=True))}\n"


def _frame(raw: int, byte_6: int, resolution_bits: int) -> bytes:
    if not -0x8000 <= raw <= 0x7FFF:
        raise PhysicsError(f"register = {raw}: must fit 16 signed bits")
    config = (_require_resolution(resolution_bits) - 9) << 5 | 0x1F
    head = raw.to_bytes(2, "little", signed=True)
    body = head + bytes((_ALARM_HIGH, _ALARM_LOW, config, _BYTE_5, byte_6, _BYTE_7))
    return body + bytes((crc8(body),))


def _require_resolution(bits: int) -> int:
    if bits not in _STEPS_TOGETHER:
        raise PhysicsError(f"resolution = {bits!r} bits: must be 9, 10, 11 or 12")
    return bits
