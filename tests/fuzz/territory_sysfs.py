"""Texts of the kernel's `w1_slave` and `temperature` files, as it and damaged wires give them.

They are read by the real bus with its threads, from a tree of files. A judge of its own, written
from the data sheet and sharing nothing with fermd's, says which texts hold a temperature.
"""

from __future__ import annotations

import shutil
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any, Final, Self

from hypothesis import strategies as st
from territory import Territory, Verdict

from fermd.control.reading import ProbeFault, Sample
from fermd.hardware.fake_w1 import FakeW1Tree
from fermd.hardware.w1_bus import W1ProbeBus
from fermd.physics.probe import crc8, quantise, scratchpad, w1_slave_text

PROBES: Final = (
    *(f"28-{n:012x}" for n in range(1, 7)),
    "10-000802b4ba0e",
    "22-0000000000aa",
)
BOUND_S: Final = 30.0

frames = st.one_of(
    st.builds(
        lambda temp_c, bits: scratchpad(quantise(temp_c, bits), bits),
        st.floats(-60, 130),
        st.integers(9, 12),
    ),
    st.binary(min_size=8, max_size=8).map(lambda head: head + bytes([crc8(head)])),
    st.builds(
        lambda register, config, byte_6, byte_7: _sealed(
            bytes([register & 255, register >> 8, 0x4B, 0x46, config, 0xFF, byte_6, byte_7])
        ),
        st.one_of(st.integers(0, 0xFFFF), st.sampled_from([0x0550, 0x00AA, 0x07FF, 0x8000])),
        st.sampled_from([0x1F, 0x3F, 0x5F, 0x7F, 0x00, 0xFF, 0x80]),
        st.one_of(st.sampled_from([0x0C, 0x10, 0x00]), st.integers(0, 255)),
        st.one_of(st.sampled_from([0x10, 0x00]), st.integers(0, 255)),
    ),
    st.binary(min_size=9, max_size=9),
    st.sampled_from([b"\xff" * 9, b"\x00" * 9]),
)


def _sealed(head: bytes) -> bytes:
    return head + bytes([crc8(head)])


@st.composite
def texts(draw: st.DrawFn) -> bytes:
    """One `w1_slave`: whole, or with what wires, kernels and cards do to it."""
    frame = bytearray(draw(frames))
    for _ in range(draw(st.sampled_from([0] * 12 + [1, 2, 9]))):
        # A bit on a long wire; a clone that pulls low too long reads as zeros.
        frame[draw(st.integers(0, 8))] ^= 1 << draw(st.integers(0, 7))
    data = bytearray(w1_slave_text(bytes(frame), draw(st.none() | frames)).encode("ascii"))
    for _ in range(draw(st.sampled_from([0] * 5 + [1, 1, 2]))):
        at = draw(st.integers(0, len(data)))
        match draw(st.sampled_from(["cut", "flip", "hole", "twice", "put in", "word", "case"])):
            case "cut":
                del data[at:]
            case "flip" if at < len(data):
                data[at] ^= 1 << draw(st.integers(0, 7))
            case "hole":
                del data[at : at + draw(st.integers(1, 12))]
            case "twice":
                data *= 2
            case "put in":
                data[at:at] = draw(st.binary(min_size=1, max_size=8))
            case "word":
                data = data.replace(
                    draw(st.sampled_from([b"YES", b"NO", b"t=", b"\n", b" : ", b"crc="])),
                    draw(
                        st.sampled_from([b"YES", b"NO", b"", b"\r\n", b"t=85000", b"t=", b"\n\n"])
                    ),
                )
            case "case":
                data = bytearray(bytes(data).upper())
            case _:
                pass
    return bytes(data)


whole_texts = st.one_of(
    texts(),
    texts(),
    texts(),
    st.binary(max_size=120),
    st.sampled_from([b"", b"YES", b"YES\nt=20000\n", b"\n" * 50, b"t=85000", b"\xff" * 80]),
    st.sampled_from([5000, 70_000]).map(lambda size: b"50 " * size),
)


class SysfsTexts(Territory):
    """Eight probes on two buses; each input is what all of them show at one time."""

    name = "sysfs"
    inputs = st.lists(
        st.tuples(whole_texts, st.binary(max_size=12)), min_size=4, max_size=len(PROBES)
    )

    def __enter__(self) -> Self:
        self._folder = Path(tempfile.mkdtemp(prefix="fermd-w1-"))
        self._tree = FakeW1Tree(self._folder, masters=2)
        for number, probe in enumerate(PROBES):
            self._tree.add_probe(probe, 20.0, master=1 + number % 2)
        self._bus = W1ProbeBus(self._tree.root, PROBES, 0.002, time.monotonic)
        self._bus.__enter__()
        self._next(PROBES)
        return self

    def __exit__(self, *_: object) -> None:
        self._bus.__exit__(None, None, None)
        shutil.rmtree(self._folder)

    def judge(self, given: Any) -> Sequence[Verdict]:
        shown = dict(zip(PROBES, given, strict=False))
        for probe, (text, temperature) in shown.items():
            self._show(probe, "w1_slave", text)
            self._show(probe, "temperature", temperature)
        samples = self._next(shown)
        verdicts = []
        for probe, (text, _) in shown.items():
            sample = samples[probe]
            wanted_c = temperature_of(text, probe)
            assert sample.temp_c == wanted_c, f"{probe}: {text!r}: {sample}, not {wanted_c}"
            assert (sample.temp_c is None) is isinstance(sample.fault, ProbeFault)
            words = "" if sample.fault is None else sample.fault.value
            verdicts.append(Verdict(sample.fault is None, words))
        return verdicts

    def _show(self, probe: str, name: str, text: bytes) -> None:
        file = self._tree.root / probe / name
        spare = file.with_name(f"{name}.new")
        spare.write_bytes(text)
        spare.replace(file)

    def _next(self, probes: Any) -> dict[str, Sample]:
        """The first sample of each probe whose reading began after now."""
        began_s = time.monotonic()
        taken: dict[str, list[Sample]] = {probe: [] for probe in probes}
        while not all(len(found) >= 2 for found in taken.values()):
            assert time.monotonic() - began_s < BOUND_S, "the bus gives no more samples"
            for probe, samples in self._bus.take().items():
                if probe in taken:
                    taken[probe] += [s for s in samples if s.taken_mono_s >= began_s]
            time.sleep(0.0005)
        # The reading of the first may have begun before the text was changed.
        return {probe: found[1] for probe, found in taken.items()}


def temperature_of(text: bytes, probe: str) -> float | None:
    """What a `w1_slave` says, by the data sheets; None where it says nothing to be believed.

    DS18B20 data sheet: Table 1, scratchpad map, power-on value. DS18S20 data sheet: resolution
    beyond 9 bits, T = read - 0.25 + (count per °C - count remain) / count per °C. The kernel's
    driver (w1_therm.c) prints nine bytes in hexadecimal, the checksum and YES; and again with t.
    """
    lines = text[:4096].decode("ascii", "replace").splitlines()
    if len(lines) != 2:
        return None
    hexes, colon, verdict = lines[0].partition(" : ")
    words = hexes.split(" ")
    again, t, milli = lines[1].partition(" t=")
    digits = milli.removeprefix("-")
    if not colon or not t or len(words) != 9 or not digits.isascii() or not digits.isdigit():
        return None
    if not all(_is_byte(word) for word in (*words, *again.split(" "))):
        return None
    if len(again.split(" ")) != 9:
        return None
    frame = bytes(int(word, 16) for word in words)
    if crc8(frame[:8]) != frame[8] or verdict != f"crc={frame[8]:02x} YES" or not any(frame):
        return None
    register = int.from_bytes(frame[:2], "little", signed=True)
    temp_c = _ds18s20(frame, register) if probe.startswith("10") else _ds18b20(frame, register)
    return temp_c if temp_c is not None and -55 <= temp_c <= 125 else None


def _is_byte(word: str) -> bool:
    return len(word) == 2 and all(c in "0123456789abcdef" for c in word)


def _ds18b20(frame: bytes, register: int) -> float | None:
    """Sixteenths of a degree; what the resolution leaves undefined counts as 0."""
    config = frame[4]
    if config == 0 or register == 0x07FF or (register == 0x0550 and frame[6] == 0x0C):
        return None
    if config >= 0x80:
        # The clone of 14 bits: two more bits, the sum cut to 16 (w1_therm.c since 5.10).
        fine = (register * 4 + config % 4) % 0x10000
        return (fine - 0x10000 if fine >= 0x8000 else fine) / 64
    step = 2 ** (3 - (config >> 5) % 4)
    return (register // step) * step / 16


def _ds18s20(frame: bytes, register: int) -> float | None:
    remain, per_c = frame[6], frame[7]
    if per_c == 0 or (register == 0x00AA and remain == 0x0C):
        return None
    return register // 2 - 0.25 + (per_c - remain) / per_c
