"""GPIO chips by their label.

A chip's number changes with kernels (the header of a Raspberry Pi 5 has been gpiochip4 and
gpiochip0), its label does not. The label is asked of the kernel itself; nothing is guessed, and a
label that is not there, or is there twice, is an error that names what is.

Source: Documentation/userspace-api/gpio, GPIO_GET_CHIPINFO_IOCTL.
"""

from __future__ import annotations

import fcntl
import os
import struct
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Final

from fermd.hardware.ports import RelayError

DEVICES: Final = Path("/dev")

# struct gpiochip_info: char name[32], char label[32], __u32 lines; and the request's number,
# _IOR(0xB4, 0x01, struct gpiochip_info).
_CHIP_INFO: Final = struct.Struct("=32s32sI")
_GET_CHIP_INFO: Final = 2 << 30 | _CHIP_INFO.size << 16 | 0xB4 << 8 | 0x01

ReadInfo = Callable[[Path], bytes]
"""Asks the kernel about the chip behind a device file; raises OSError."""


def ask_kernel(device: Path) -> bytes:
    """Return the kernel's description of the chip behind a device file."""
    answer = bytearray(_CHIP_INFO.size)
    chip = os.open(device, os.O_RDONLY | os.O_CLOEXEC)
    try:
        fcntl.ioctl(chip, _GET_CHIP_INFO, answer, True)
    finally:
        os.close(chip)
    return bytes(answer)


def list_chips(devices: Path = DEVICES, read_info: ReadInfo = ask_kernel) -> Mapping[int, str]:
    """Return the labels of all GPIO chips by their number.

    A chip that may not be opened is listed with the reason in place of its label.
    """
    labels: dict[int, str] = {}
    for device in devices.glob("gpiochip*"):
        number = device.name.removeprefix("gpiochip")
        if not number.isdecimal():
            continue
        try:
            label = _CHIP_INFO.unpack(read_info(device))[1]
        except (OSError, struct.error) as error:
            labels[int(number)] = f"({error})"
        else:
            labels[int(number)] = label.split(b"\0", 1)[0].decode("utf-8", "replace")
    return dict(sorted(labels.items()))


def find_chip(label: str, devices: Path = DEVICES, read_info: ReadInfo = ask_kernel) -> int:
    """Return the number of the chip with this label.

    Raises RelayError if there is none or more than one.
    """
    chips = list_chips(devices, read_info)
    found = [number for number, one in chips.items() if one == label]
    if len(found) == 1:
        return found[0]
    shown = ", ".join(f"gpiochip{number} {one}" for number, one in chips.items())
    if found:
        raise RelayError(f"chip {label!r}: several chips have this label ({shown})")
    if not chips:
        raise RelayError(
            f"chip {label!r}: {devices} has no gpiochip at all; this board has no GPIO, or the "
            "service may not see its devices"
        )
    raise RelayError(
        f"chip {label!r}: no GPIO chip has this label; there is {shown}. Put the right one into "
        "the site file; if it says permission denied, the user must be in the group gpio"
    )
