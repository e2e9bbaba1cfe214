"""The kernel's 1-Wire folder: which probes there are, on which bus, and all converting at once.

The folder's place is an argument everywhere (`/sys/bus/w1/devices` on a board), so that a tree
written by `fake_w1` does as well. Nothing here raises for what is missing: a board without a bus
is an empty tree. Listing asks only the kernel's memory, never the wire.

Sources: Documentation/ABI/testing/sysfs-driver-w1_therm, Documentation/w1/slaves/w1_therm.rst and
drivers/w1/slaves/w1_therm.c of the kernel.
"""

from __future__ import annotations

import os
import re
from collections.abc import Callable
from pathlib import Path
from typing import Final

from fermd.hardware.w1_frame import FAMILIES

KERNEL_TREE: Final = Path("/sys/bus/w1/devices")
"""Where the kernel shows its 1-Wire devices."""

NO_MASTER: Final = ""
"""Stands for the bus of a probe that no bus master claims."""

# A phantom, as a bus without pull-up shows them (`00-400000000000`), is of no family.
_PROBE_ID: Final = re.compile(rf"(?:{'|'.join(FAMILIES)})-[0-9a-f]{{12}}")
_MASTER: Final = re.compile(r"w1_bus_master\d+")

# The driver compares the length, too: without the line's end it ignores the word.
_TRIGGER: Final = b"trigger\n"
_CONVERTING: Final = "-1"

LONGEST_CONVERSION_S: Final = 2.0
"""A conversion of 12 bits takes 0.75 s (DS18B20 data sheet), of the slowest clones 20 % more (the
driver's own allowance); beyond this a bulk conversion has failed."""

_CONVERSION_POLL_S: Final = 0.05


def is_probe_id(name: str) -> bool:
    """Tell whether this is the name of a thermometer's folder, such as `28-000006b67845`."""
    return _PROBE_ID.fullmatch(name) is not None


def list_probes(root: Path) -> tuple[str, ...]:
    """Return the ids of all thermometers that the kernel shows, sorted.

    A probe may be listed for a while after it was pulled: being listed is not being readable.
    """
    return tuple(sorted(name for name in _names(root) if is_probe_id(name)))


def master_of(root: Path, probe_id: str) -> str:
    """Return the name of the bus master that a probe hangs on, or `NO_MASTER`."""
    try:
        parent = (root / probe_id).resolve().parent.name
    except (OSError, RuntimeError):
        return NO_MASTER
    return parent if _MASTER.fullmatch(parent) else NO_MASTER


def convert_all(root: Path, master: str, pause: Callable[[float], object]) -> bool:
    """Let every probe of a bus convert at the same time; True if they have.

    Takes as long as one conversion. False where the kernel does not offer it (before 5.10), where
    the file may not be written (it belongs to root), or where the conversion was not done in time;
    each probe then converts when it is read. `pause` waits for so many seconds.
    """
    if not master:
        return False
    try:
        trigger = os.open(root / master / "therm_bulk_read", os.O_WRONLY)
        try:
            os.write(trigger, _TRIGGER)
        finally:
            os.close(trigger)
        for _ in range(round(LONGEST_CONVERSION_S / _CONVERSION_POLL_S)):
            state = (root / master / "therm_bulk_read").read_text("ascii", "replace").strip()
            if state != _CONVERTING:
                return state == "1"
            pause(_CONVERSION_POLL_S)
    except OSError:
        return False
    return False


def explain_absence(root: Path) -> str | None:
    """Say why there is no probe and what to do, or None if there is one."""
    names = _names(root)
    if any(is_probe_id(name) for name in names):
        return None
    if not root.is_dir():
        return (
            f"{root} does not exist: the kernel's 1-Wire driver is not loaded; on a Raspberry Pi "
            "add the line dtoverlay=w1-gpio to config.txt of the boot partition and restart"
        )
    if not any(_MASTER.fullmatch(name) for name in names):
        return f"{root} shows no bus master: check the dtoverlay=w1-gpio line and its pin"
    phantoms = sum(name.startswith("00-") for name in names)
    if phantoms:
        return (
            f"{root} shows {phantoms} devices that are none (00-…): the data line has no pull-up; "
            "put 4.7 kΩ between data and 3.3 V"
        )
    return (
        f"{root} shows a bus but no probe: check the three wires and the 4.7 kΩ between data and "
        "3.3 V"
    )


def _names(root: Path) -> list[str]:
    try:
        return os.listdir(root)  # noqa: PTH208 - names are all that is wanted
    except OSError:
        return []
