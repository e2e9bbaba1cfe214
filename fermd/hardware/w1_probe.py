"""One reading of one probe, through w1thermsensor; takes as long as the kernel takes.

w1thermsensor finds the probe's file and reads it. It throws away a frame that it refuses, and the
frame says why it was refused (a checksum? an open line?), so its file is read through `_KeptText`.
Reading again to find out would cost another conversion and show another frame.

Every exception, of the library or of the system, ends here as a fault of this one probe.
"""

from __future__ import annotations

import errno
import io
import os
from pathlib import Path
from typing import Final

from fermd.control.reading import ProbeFault
from fermd.hardware.w1_frame import Frame, read_frame

# Else the import calls modprobe through a shell, waits a second and raises where there is no bus.
os.environ["W1THERMSENSOR_NO_KERNEL_MODULE"] = "1"

from w1thermsensor import (
    NoSensorFoundError,
    Sensor,
    SensorNotReadyError,
    W1ThermSensor,
)

_LONGEST_TEXT: Final = 4096
"""A sysfs file is no longer than a page."""

_GONE: Final = (errno.ENOENT, errno.ENOTDIR, errno.ENODEV)
"""The file is not there, or its device left while it was being read."""


def read_probe(root: Path, probe_id: str) -> Frame | ProbeFault:
    """Read one probe below `root`; blocks for a conversion (0.75 s at 12 bits), never raises."""
    kept: _KeptText | None = None
    try:
        sensor = _RootedSensor(root, probe_id)
        kept = sensor.sensorpath
        sensor.get_raw_sensor_strings()
    except SensorNotReadyError:
        pass  # refused by the library; what it saw says why
    except NoSensorFoundError:
        # So the library calls every failure to open or read, whether the file is there or not.
        return _fault_of(kept.error if kept is not None else None)
    except Exception:  # noqa: BLE001 - one probe's trouble is that probe's fault and no more
        return ProbeFault.NO_ANSWER
    return read_frame(kept.text if kept is not None else "", probe_id)


def _fault_of(error: OSError | None) -> ProbeFault:
    if error is None or error.errno in _GONE:
        return ProbeFault.DISCONNECTED
    return ProbeFault.NO_ANSWER


class _KeptText:
    """A file for w1thermsensor to open, which keeps what was in it or what prevented it."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self.text = ""
        self.error: OSError | None = None

    def exists(self) -> bool:
        return self._path.exists()

    def open(self, mode: str) -> io.StringIO:
        try:
            # What is not ASCII is no frame, and must not become another kind of exception.
            with self._path.open(mode, encoding="ascii", errors="replace") as file:
                self.text = file.read(_LONGEST_TEXT)
        except OSError as error:
            self.error = error
            raise
        return io.StringIO(self.text)


class _RootedSensor(W1ThermSensor):  # type: ignore[misc]  # the library has no types
    """A W1ThermSensor below a root of its own, however many roots there are in the process."""

    sensorpath: _KeptText

    def __init__(self, root: Path, probe_id: str) -> None:
        self.BASE_DIRECTORY = root
        super().__init__(Sensor.from_id_string(probe_id[:2]), probe_id[3:])
        self.sensorpath = _KeptText(root / probe_id / self.SLAVE_FILE)
