"""Reads the room's temperature over time from a CSV file.

    time,temp_c
    2026-03-01 00:00,14.2
    2026-03-01 01:00,13.9

Rules: the first row names the columns. The column of times is the one whose name begins with `time`
or `date`, that of temperatures the one that begins with `temp`, `ambient` or `room`, and its name
says the unit: `temp_c`, `room [°F]`. Other columns are passed over. Times are ISO 8601, with an
offset or `Z`, or else in the brewer's own zone; they rise. An empty temperature, `NA` or `nan` is a
gap; gaps, said or silent, are bridged by a straight line and told.
"""

from __future__ import annotations

import csv
import os
import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, tzinfo
from itertools import islice, pairwise
from math import isfinite
from pathlib import Path
from statistics import median_low
from typing import Final

from fermd.config.errors import ConfigError, Fault
from fermd.physics.ambient import SampledAmbient

LOWEST_C: Final = -60.0
HIGHEST_C: Final = 70.0
"""No room is outside of this, °C: below and above all that was ever measured outdoors (-89 °C on an
ice sheet aside). A value beyond it has another unit than its column says."""

MOST_ROWS: Final = 1_000_000
"""Two years by the minute; more is not a room's trace."""

MOST_FAULTS: Final = 10
"""So many bad rows are told; a file in the wrong form is bad in every one."""

GAP_TIMES: Final = 2.5
"""Twice the usual distance of two rows is one that is missing; more than this is a gap."""

_TIME = re.compile(r"\s*(time|date)", re.IGNORECASE)
_TEMP = re.compile(r"\s*(temp|ambient|room)", re.IGNORECASE)
_UNIT = re.compile(r"(?:[_\s\[(]|°|deg)\s*°?([cf])(?:elsius|ahrenheit)?[\])]?\s*$", re.IGNORECASE)
_GAPS: Final = frozenset({"", "na", "nan", "null", "-"})


@dataclass(frozen=True, slots=True)
class Gap:
    """A time without a temperature, bridged by a straight line."""

    from_utc_s: float
    to_utc_s: float


@dataclass(frozen=True, slots=True)
class RoomFile:
    """What a file holds."""

    file: str
    trace: SampledAmbient
    rows: int
    gaps: tuple[Gap, ...]

    @property
    def first_utc_s(self) -> float:
        """When it begins."""
        return self.trace.times_s[0]

    @property
    def last_utc_s(self) -> float:
        """When it ends."""
        return self.trace.times_s[-1]

    def laid_onto(self, start_utc_s: float, zone: tzinfo) -> tuple[SampledAmbient, int]:
        """The trace moved by whole years, so that a start falls into it; and by how many.

        A trace of the year before last says as much of a coming summer as it can; the season must
        be right. A start that it has as it is leaves it where it is, as does one of a season that
        it has not got at all.
        """
        for years in sorted(range(-100, 101), key=abs):
            first_s = _years_later(self.first_utc_s, years, zone)
            last_s = _years_later(self.last_utc_s, years, zone)
            if first_s <= start_utc_s < last_s:
                by_s = first_s - self.first_utc_s
                times_s = tuple(at_s + by_s for at_s in self.trace.times_s)
                return SampledAmbient(times_s, self.trace.samples_c), years
        return self.trace, 0


def read_room(path: Path, zone: tzinfo) -> RoomFile:
    """Read a file.

    Raises:
        ConfigError: it cannot be read, or is not such a file; with the numbers of bad lines.

    """
    try:
        with path.open(newline="", encoding="utf-8-sig") as lines:
            return room_from(lines, str(path), zone)
    except OSError as error:
        why = f"cannot be read ({error.strerror or error})"
        raise ConfigError(path, [Fault("", "", why)], os.EX_NOINPUT) from error
    except UnicodeDecodeError as error:
        raise ConfigError(path, [Fault("", "", "is not a text in UTF-8")]) from error


def room_from(lines: Iterable[str], file: str, zone: tzinfo) -> RoomFile:
    """The same for lines of text; `file` is what messages call them.

    Raises:
        ConfigError: they are not a room's trace.

    """
    rows = csv.reader(lines)
    try:
        head = next(rows, [])
        time_at, temp_at, in_f = _columns(head, file)
        samples, faults = _samples(rows, time_at, temp_at, in_f, zone)
    except csv.Error as error:
        raise ConfigError(file, [Fault(f"line {rows.line_num}", "", str(error))]) from error
    if faults:
        raise ConfigError(file, faults)
    known = [(at_s, temp_c) for at_s, temp_c in samples if temp_c is not None]
    if len(known) < 2:
        why = f"has {len(known)} temperatures; a trace needs at least two"
        raise ConfigError(file, [Fault("", "", why)])
    times_s = [at_s for at_s, _ in known]
    trace = SampledAmbient(tuple(times_s), tuple(temp_c for _, temp_c in known))
    return RoomFile(file, trace, len(samples), tuple(_gaps(times_s)))


def _columns(head: Sequence[str], file: str) -> tuple[int, int, bool]:
    time_at = next((n for n, name in enumerate(head) if _TIME.match(name)), None)
    temp_at = next((n for n, name in enumerate(head) if _TEMP.match(name)), None)
    if time_at is None or temp_at is None:
        why = (
            "must name the columns in its first row: one that begins with time, and one that "
            "begins with temp and ends in its unit, such as time,temp_c"
        )
        raise ConfigError(file, [Fault("line 1", ",".join(head), why)])
    unit = _UNIT.search(head[temp_at])
    if unit is None:
        why = "must end in its unit: temp_c or temp_f"
        raise ConfigError(file, [Fault("line 1", head[temp_at], why)])
    return time_at, temp_at, unit[1].lower() == "f"


def _samples(
    rows: Iterator[list[str]], time_at: int, temp_at: int, in_f: bool, zone: tzinfo
) -> tuple[list[tuple[float, float | None]], list[Fault]]:
    samples: list[tuple[float, float | None]] = []
    faults: list[Fault] = []
    before_s = float("-inf")
    number = 1
    for number, row in enumerate(islice(rows, MOST_ROWS + 1), 2):
        if not any(cell.strip() for cell in row):
            continue
        try:
            at_s, temp_c = _sample(row, time_at, temp_at, in_f, zone, before_s)
        except _BadRowError as bad:
            faults.append(Fault(f"line {number}", bad.value, bad.why))
            if len(faults) == MOST_FAULTS:
                faults.append(Fault(f"line {number}", "", "and so on: no more were looked at"))
                break
            continue
        before_s = at_s
        samples.append((at_s, temp_c))
    if number > MOST_ROWS + 1:
        faults.append(Fault(f"line {number}", "", f"has more than {MOST_ROWS} rows"))
    return samples, faults


class _BadRowError(Exception):
    def __init__(self, value: str, why: str) -> None:
        super().__init__(value, why)
        self.value, self.why = value, why


def _sample(
    row: Sequence[str], time_at: int, temp_at: int, in_f: bool, zone: tzinfo, before_s: float
) -> tuple[float, float | None]:
    if len(row) <= max(time_at, temp_at):
        raise _BadRowError(",".join(row), "has too few columns")
    text = row[time_at].strip()
    try:
        at = datetime.fromisoformat(text)
        at_s = (at if at.tzinfo is not None else at.replace(tzinfo=zone)).timestamp()
    except (ValueError, OverflowError):
        why = "is no time: write it as 2026-03-01 14:30"
        raise _BadRowError(text, why) from None
    if at_s <= before_s:
        why = (
            "does not come after the row before; rows must rise in time (where clocks go back, "
            "write times with their offset: 2026-10-25T02:30+01:00)"
        )
        raise _BadRowError(text, why)
    value = row[temp_at].strip()
    if value.lower() in _GAPS:
        return at_s, None
    try:
        shown = float(value)
    except ValueError:
        raise _BadRowError(value, "is no temperature: a number, or nothing for a gap") from None
    temp_c = (shown - 32.0) * 5.0 / 9.0 if in_f else shown
    if not (isfinite(temp_c) and LOWEST_C <= temp_c <= HIGHEST_C):
        why = f"must be from {LOWEST_C:g} to {HIGHEST_C:g} °C; is the unit of the column right?"
        raise _BadRowError(value, why)
    return at_s, temp_c


def _gaps(times_s: Sequence[float]) -> Iterator[Gap]:
    usual_s = median_low(after - before for before, after in pairwise(times_s))
    for before_s, after_s in pairwise(times_s):
        if after_s - before_s >= GAP_TIMES * usual_s:
            yield Gap(before_s, after_s)


def _years_later(utc_s: float, years: int, zone: tzinfo) -> float:
    there = datetime.fromtimestamp(utc_s, zone)
    year = there.year + years
    if not 1 < year < 9999:
        return utc_s
    # The 29th of February is the 28th in other years.
    day = 28 if (there.month, there.day) == (2, 29) else there.day
    return there.replace(year=year, day=day).timestamp()
