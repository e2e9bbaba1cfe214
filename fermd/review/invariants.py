"""Replays a journal and says where a promise of fermd was broken: from its rows alone.

It knows nothing of the core. What it is held against are the site's settings; what it reads are
the rows that any SQLite tool can read. Checked are:

- heat and cooling of one chamber never on together, and the changeover delay between them;
- no start of a protected output before its minimum off time, nor more often than its starts per
  hour, within a boot and across restarts;
- no cooling with the beer below its freezing margin, no cooling or heating with the air beyond its
  limits, for longer than the readings take to be believed;
- no run longer than the longest run;
- every change of an output is a change, has a reason, and what was on at a stop was switched off.

Times are compared on the boot clock. Rows of different boots are compared only as far as that
goes: a start in a new boot must come later than the minimum off time after that boot's first row.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from sqlite_utils import Database

from fermd.control.settings import HOUR_S, ChamberSettings, Duty, OutputSettings, SiteSettings

LATEST_S = 60.0
"""A limit may be exceeded by rows for this long, s, before the output must be off: the median of
the newest readings has to follow, and the tick has to come."""

TICK_S = 60.0
"""A run may be longer than the longest run by a sample period, s, at the most."""

ROUNDING_S = 0.01


@dataclass(frozen=True, slots=True)
class Violation:
    """One broken promise."""

    seq: int
    """The journal row that shows it."""
    chamber: str
    promise: str
    detail: str

    def __str__(self) -> str:
        return f"row {self.seq}, chamber {self.chamber}: {self.promise}: {self.detail}"


def violations(path: Path, settings: SiteSettings) -> list[Violation]:
    """Return every broken promise in a journal, in the order of its rows.

    An empty list is as it should be.
    """
    db = Database(
        sqlite3.connect(path.absolute().as_uri() + "?mode=ro", uri=True), execute_plugins=False
    )
    try:
        found: list[Violation] = []
        for chamber in settings.chambers:
            found.extend(_of_chamber(db, chamber))
    finally:
        db.close()
    return sorted(found, key=lambda broken: broken.seq)


def _of_chamber(db: Database, chamber: ChamberSettings) -> Iterator[Violation]:
    replay = _Replay(chamber)
    probes = {
        "vessel": chamber.vessel_probe.name,
        "air": chamber.air_probe.name if chamber.air_probe is not None else None,
    }
    for row in _rows(db, chamber.name):
        if row["what"] == "output":
            yield from replay.output(row)
        elif row["what"] == "reading":
            yield from replay.reading(row, probes)
        else:
            yield from replay.daemon(row)


def _rows(db: Database, chamber: str) -> Iterable[dict[str, Any]]:
    """Outputs, readings and the daemon's starts and stops, as they happened.

    Readings are queued apart from events, so that their order is by the clock of their boot.
    """
    return db.query(
        """
        SELECT boot, mono_s, seq, 'output' AS what, duty, output, is_on, certainty, reason_rule,
            NULL AS probe, NULL AS temp_c, NULL AS change
        FROM output_changes WHERE chamber = :chamber
        UNION ALL
        SELECT boot, mono_s, seq, 'reading', NULL, NULL, NULL, NULL, NULL, probe, temp_c, NULL
        FROM temperatures WHERE chamber = :chamber AND temp_c IS NOT NULL
        UNION ALL
        SELECT boot, mono_s, seq, 'daemon', NULL, NULL, NULL, NULL, NULL, NULL, NULL, change
        FROM daemon_runs
        ORDER BY boot, mono_s, seq
        """,
        {"chamber": chamber},
    )


@dataclass(slots=True)
class _Line:
    """One output as the rows tell it."""

    settings: OutputSettings
    on: bool = False
    started_s: float | None = None
    stopped_s: float | None = None
    starts_s: list[float] = field(default_factory=list)


class _Replay:
    def __init__(self, chamber: ChamberSettings) -> None:
        self._chamber = chamber
        self._lines = {output.name: _Line(output) for output in chamber.outputs}
        self._boot: int | None = None
        self._beyond_since_s: dict[tuple[str, str], float] = {}

    def output(self, row: dict[str, Any]) -> Iterator[Violation]:
        line = self._lines.get(row["output"])
        if line is None:
            yield self._broken(row, "every output is one of the site", row["output"])
            return
        self._see_boot(row)
        on, at_s = bool(row["is_on"]), float(row["mono_s"])
        if not row["reason_rule"]:
            yield self._broken(row, "every change has a reason", row["output"])
        if on == line.on:
            yield self._broken(
                row, "every change is a change", f"{row['output']} was {'on' if on else 'off'}"
            )
        if on:
            yield from self._start(row, line, at_s)
        else:
            yield from self._stop(row, line, at_s)

    def _start(self, row: dict[str, Any], line: _Line, at_s: float) -> Iterator[Violation]:
        protection = line.settings.protection
        if line.stopped_s is not None:
            off_s = at_s - line.stopped_s
            if off_s < protection.minimum_off_s - ROUNDING_S:
                yield self._broken(
                    row, "minimum off time", f"{off_s:.1f} s, not {protection.minimum_off_s:g} s"
                )
        line.starts_s = [start for start in line.starts_s if at_s - start < HOUR_S - ROUNDING_S]
        line.starts_s.append(at_s)
        allowed = protection.starts_per_hour
        if allowed and len(line.starts_s) > allowed:
            yield self._broken(row, "starts per hour", f"{len(line.starts_s)}, not {allowed}")
        yield from self._changeover(row, line, at_s)
        line.on, line.started_s = True, at_s

    def _changeover(self, row: dict[str, Any], line: _Line, at_s: float) -> Iterator[Violation]:
        duty = line.settings.duty
        if duty is Duty.FAN:
            return
        for other in self._lines.values():
            if other is line or other.settings.duty is Duty.FAN:
                continue
            if other.on:
                yield self._broken(row, "heat and cooling never together", row["output"])
            elif other.stopped_s is not None:
                gap_s = at_s - other.stopped_s
                if gap_s < self._chamber.changeover_s - ROUNDING_S:
                    detail = f"{gap_s:.1f} s, not {self._chamber.changeover_s:g} s"
                    yield self._broken(row, "changeover delay", detail)

    def _stop(self, row: dict[str, Any], line: _Line, at_s: float) -> Iterator[Violation]:
        # What was presumed was not seen: its time is that of the next start, not of the switching.
        if line.started_s is not None and row["certainty"] == "observed":
            ran_s = at_s - line.started_s
            longest_s = line.settings.protection.longest_run_s
            if ran_s > longest_s + TICK_S:
                yield self._broken(row, "longest run", f"{ran_s:.0f} s, not {longest_s:g} s")
        line.on, line.stopped_s, line.started_s = False, at_s, None
        for key in [key for key in self._beyond_since_s if key[0] == row["output"]]:
            del self._beyond_since_s[key]

    def reading(self, row: dict[str, Any], probes: dict[str, str | None]) -> Iterator[Violation]:
        limits, temp_c = self._chamber.limits, float(row["temp_c"])
        for line in self._lines.values():
            duty, beyond, promise = line.settings.duty, False, ""
            if row["probe"] == probes["vessel"] and duty is Duty.COOL:
                beyond, promise = temp_c < limits.coldest_beer_c, "freezing margin"
            elif row["probe"] == probes["air"] and duty is Duty.COOL:
                beyond, promise = temp_c < limits.air_lowest_c, "lowest air temperature"
            elif row["probe"] == probes["air"] and duty is Duty.HEAT:
                beyond, promise = temp_c > limits.air_highest_c, "highest air temperature"
            if promise:
                yield from self._beyond(row, line, promise, beyond)

    def _beyond(
        self, row: dict[str, Any], line: _Line, promise: str, beyond: bool
    ) -> Iterator[Violation]:
        key = (line.settings.name, promise)
        if not (beyond and line.on):
            self._beyond_since_s.pop(key, None)
            return
        since_s = self._beyond_since_s.setdefault(key, float(row["mono_s"]))
        if row["mono_s"] - since_s > LATEST_S:
            yield self._broken(
                row, promise, f"{line.settings.name} is on at {row['temp_c']:.2f} °C"
            )

    def daemon(self, row: dict[str, Any]) -> Iterator[Violation]:
        self._see_boot(row)
        if row["change"] == "stopped":
            for line in self._lines.values():
                if line.on:
                    yield self._broken(row, "off at the stop", f"{line.settings.name} is on")

    def _see_boot(self, row: dict[str, Any]) -> None:
        if row["boot"] == self._boot:
            return
        # A new boot: the past is not known any more, and counts as stopped at the first row.
        new = self._boot is not None
        self._boot = row["boot"]
        for line in self._lines.values():
            line.starts_s = []
            if new and line.stopped_s is not None:
                line.stopped_s = float(row["mono_s"])

    def _broken(self, row: dict[str, Any], promise: str, detail: str) -> Violation:
        return Violation(row["seq"], self._chamber.name, promise, detail)
