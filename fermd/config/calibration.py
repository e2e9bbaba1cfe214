"""A probe's offset, found in water and ice, put into the site file where it belongs.

Ice water is at 0 °C, the triple point of water being at 0.01 °C (ITS-90); stirred crushed ice holds
it to a few hundredths. The file keeps its comments and its order; nothing but `offset_c` changes.
"""

from __future__ import annotations

import contextlib
import os
import stat
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from fermd.config.errors import ConfigError
from fermd.config.site import SiteFile
from fermd.config.site_file import parse_site
from fermd.config.toml_file import read_text
from fermd.control.wording import Unit, difference, temperature

FEWEST_READINGS: Final = 6
WIDEST_C: Final = 0.25
"""Readings that differ by more, °C, are of water that is not stirred, or of a probe that is still
on its way: four steps of a DS18B20 of 12 bits (data sheet)."""
FURTHEST_C: Final = 3.0
"""A probe that is further off, °C, stands in something else: a DS18B20 is within 0.5 °C (data
sheet), and a cheap copy within 2 °C (common practice, no source)."""


class NotCalibrated(Exception):  # noqa: N818 - reads as what it says
    """The offset was not set; the text says why, and what to do."""


@dataclass(frozen=True, slots=True)
class Calibration:
    """What was found."""

    read_c: float
    """Mean of the readings, with the offset before, °C."""
    readings: int
    before_c: float
    """The offset before, °C."""
    offset_c: float
    """The offset now, °C."""


def calibrated(
    readings_c: Sequence[float],
    before_c: float,
    reference_c: float,
    unit: Unit = Unit.CELSIUS,
) -> Calibration:
    """Work the offset out from readings that were taken with the offset `before_c`.

    What is wrong is said in `unit`.

    Raises:
        NotCalibrated: too few readings, or such as are not of that water.

    """
    if len(readings_c) < FEWEST_READINGS:
        raise NotCalibrated(
            f"there are {len(readings_c)} good readings of the last minutes, and "
            f"{FEWEST_READINGS} are needed: wait a while"
        )
    span_c = max(readings_c) - min(readings_c)
    if span_c > WIDEST_C:
        raise NotCalibrated(
            f"the last readings differ by {difference(span_c, unit, 2)}, more than "
            f"{difference(WIDEST_C, unit, 2)}: stir, and wait until the probe stands still"
        )
    read_c = sum(readings_c) / len(readings_c)
    offset_c = round(before_c + reference_c - read_c, 2)
    if abs(offset_c) > FURTHEST_C:
        raise NotCalibrated(
            f"the probe reads {temperature(read_c, unit, 2)} and should read "
            f"{temperature(reference_c, unit)}: that is further off than "
            f"{difference(FURTHEST_C, unit)}. Is it in stirred ice and water, and is it this probe?"
        )
    return Calibration(read_c, len(readings_c), before_c, offset_c)


def with_offset(path: Path, probe: str, offset_c: float) -> tuple[str, SiteFile]:
    """Return the site file's text with another offset for a probe, and what it says then.

    Raises:
        NotCalibrated: the file cannot be read, or would not be right.

    """
    # Loaded when it is needed: a probe is calibrated once a year.
    import tomlkit
    from tomlkit.exceptions import TOMLKitError

    try:
        document = tomlkit.parse(read_text(path))
        table: Any = document["probe"][probe]
        table["offset_c"] = offset_c
        text = tomlkit.dumps(document)
        return text, parse_site(text, path)
    except ConfigError as error:
        raise NotCalibrated(str(error)) from error
    except (TOMLKitError, KeyError, TypeError) as error:
        raise NotCalibrated(f"{path}: has no [probe.{probe}] any more ({error})") from error


def write_site(path: Path, text: str, probe: str, offset_c: float) -> None:
    """Put a new text into the site file, whole or not at all, with the mode that it had.

    Raises:
        NotCalibrated: it cannot be written; the text says what to write by hand.

    """
    try:
        about = path.stat()
        descriptor, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}-")
        try:
            with os.fdopen(descriptor, "w", encoding="utf-8", newline="") as file:
                os.fchmod(file.fileno(), stat.S_IMODE(about.st_mode))
                with contextlib.suppress(PermissionError):
                    os.fchown(file.fileno(), about.st_uid, about.st_gid)
                file.write(text)
                file.flush()
                os.fsync(file.fileno())
            Path(name).replace(path)
        except BaseException:
            with contextlib.suppress(FileNotFoundError):
                Path(name).unlink()
            raise
    except OSError as error:
        why = error.strerror or str(error)
        raise NotCalibrated(
            f"{path}: the daemon may not write it ({why}); put offset_c = {offset_c:g} into "
            f"[probe.{probe}] and reload (systemctl reload fermd)"
        ) from error
