"""A 1-Wire folder in the kernel's own formats, for a machine without a bus.

For demonstrations and tests: `FakeW1Tree` writes the files that the kernel would show, in any
folder, and can show every fault that a bus has. What reads them does not know the difference. The
layout is the kernel's: devices below their bus master, and links to all of them in one folder.

Each text appears at once and whole (a new file takes the old one's place), as a read of sysfs does.
What cannot be played by files alone is the bulk conversion: `therm_bulk_read` is there, but stays
as it was last written, so a reader finds it unsupported.
"""

from __future__ import annotations

import os
import shutil
from pathlib import Path
from typing import Final

from fermd.physics.probe import (
    POWER_ON_RAW,
    power_on_scratchpad,
    quantise,
    scratchpad,
    temperature_text,
    w1_slave_text,
)

ALL_ONES: Final = b"\xff" * 9
ALL_ZEROS: Final = b"\x00" * 9
SUPPLY_BROKE_DOWN_RAW: Final = 0x07FF
"""127.94 °C: what a probe shows whose supply broke down in the conversion."""


class FakeW1Tree:
    """A tree below `base`; give `root` to whoever reads it.

    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     tree = FakeW1Tree(Path(folder))
    ...     tree.add_probe("28-000006b67845", temp_c=22.0625)
    ...     print((tree.root / "28-000006b67845" / "w1_slave").read_text(), end="")
    61 01 4b 46 7f ff 0f 10 02 : crc=02 YES
    61 01 4b 46 7f ff 0f 10 02 t=22062
    """

    def __init__(self, base: Path, masters: int = 1) -> None:
        """Make the folders, with so many buses."""
        self._devices = base / "devices"
        self.root = base / "bus" / "w1" / "devices"
        """What stands for `/sys/bus/w1/devices`."""
        self.root.mkdir(parents=True)
        self._last_good: dict[str, bytes] = {}
        for number in range(1, masters + 1):
            folder = self._devices / f"w1_bus_master{number}"
            folder.mkdir(parents=True)
            (folder / "therm_bulk_read").write_text("0\n", "ascii")
            (self.root / folder.name).symlink_to(folder)

    def add_probe(
        self, probe_id: str, temp_c: float = 20.0, master: int = 1, resolution_bits: int = 12
    ) -> None:
        """Plug a probe in, or plug it in again."""
        folder = self._devices / f"w1_bus_master{master}" / probe_id
        folder.mkdir()
        (folder / "resolution").write_text(f"{resolution_bits}\n", "ascii")
        (folder / "ext_power").write_text("1\n", "ascii")
        (folder / "conv_time").write_text("750\n", "ascii")
        self._last_good.pop(probe_id, None)
        self.show_frame_in(folder, scratchpad(quantise(temp_c, resolution_bits), resolution_bits))
        (self.root / probe_id).symlink_to(folder)

    def add_phantom(self, number: int = 1) -> None:
        """Show a device that is none, as a bus without pull-up does."""
        folder = self._devices / "w1_bus_master1" / f"00-{number:x}00000000000"
        folder.mkdir()
        (self.root / folder.name).symlink_to(folder)

    def remove_probe(self, probe_id: str) -> None:
        """Let the kernel notice that the probe is gone."""
        folder = self._folder(probe_id)
        (self.root / probe_id).unlink()
        shutil.rmtree(folder)

    def show(self, probe_id: str, temp_c: float, resolution_bits: int = 12) -> None:
        """Show a temperature, °C."""
        self.show_frame(probe_id, scratchpad(quantise(temp_c, resolution_bits), resolution_bits))

    def show_power_on(self, probe_id: str) -> None:
        """Show 85 °C of a probe that has restarted and not converted."""
        self.show_frame(probe_id, power_on_scratchpad())

    def show_true_85(self, probe_id: str) -> None:
        """Show 85 °C of a probe that has converted."""
        self.show_frame(probe_id, scratchpad(POWER_ON_RAW))

    def show_open_line(self, probe_id: str) -> None:
        """Show all ones: nobody answers (the text of kernels before the rework of 2020)."""
        self.show_frame(probe_id, ALL_ONES)

    def show_shorted_line(self, probe_id: str) -> None:
        """Show all zeros, whose checksum is right."""
        self.show_frame(probe_id, ALL_ZEROS)

    def show_weak_supply(self, probe_id: str) -> None:
        """Show 127.94 °C: the supply broke down in the conversion."""
        self.show_frame(probe_id, scratchpad(SUPPLY_BROKE_DOWN_RAW))

    def show_wrong_checksum(self, probe_id: str, temp_c: float = 20.0) -> None:
        """Show a frame with one bit flipped on the way (kernels before the rework of 2020)."""
        frame = bytearray(scratchpad(quantise(temp_c)))
        frame[1] ^= 0x04
        self.show_frame(probe_id, bytes(frame))

    def show_nothing(self, probe_id: str) -> None:
        """Show an empty file: any failure of kernels since the rework of 2020."""
        self.show_text(probe_id, "")

    def show_frame(self, probe_id: str, frame: bytes) -> None:
        """Show nine bytes as they came over the wire."""
        self.show_frame_in(self._folder(probe_id), frame)

    def show_frame_in(self, folder: Path, frame: bytes) -> None:
        """Show nine bytes in this probe's own folder."""
        text = w1_slave_text(frame, self._last_good.get(folder.name))
        if " YES\n" in text:
            self._last_good[folder.name] = frame
        _put(folder / "w1_slave", text)
        _put(folder / "temperature", temperature_text(frame))

    def show_text(self, probe_id: str, text: str) -> None:
        """Show any text at all."""
        _put(self._folder(probe_id) / "w1_slave", text)

    def hang(self, probe_id: str) -> Path:
        """Let every read of the probe block, and return the pipe that it blocks on.

        Reads go on when somebody opens the pipe for writing, and end when he closes it.
        """
        pipe = self._folder(probe_id) / "w1_slave"
        spare = pipe.with_name("w1_slave.new")
        os.mkfifo(spare)
        spare.replace(pipe)
        return pipe

    def _folder(self, probe_id: str) -> Path:
        return (self.root / probe_id).resolve()


def _put(file: Path, text: str) -> None:
    spare = file.with_name(f"{file.name}.new")
    spare.write_text(text, "ascii")
    spare.replace(file)
