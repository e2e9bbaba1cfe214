"""A journal from a made-up cellar, by the real writer: a year of it in a minute or two.

A batch every four weeks, a hundred changes of outputs a day, steps, notes, an alarm now and then;
thinned every night. simulated_year.py lives through a year instead, which takes longer.

Days before the last `close_days` are sampled once a minute instead of every ten seconds: they leave
the same rows, since all that is kept of them are their minutes and quarter hours.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from random import Random

from fermd.control.events import (
    AlarmChanged,
    AlarmPhase,
    Event,
    OutputChanged,
    ProfileChange,
    ProfileChanged,
    Severity,
    StepChange,
    StepChanged,
    TargetChanged,
    TrustChanged,
)
from fermd.control.moment import Moment
from fermd.control.reasons import Reason, Rule
from fermd.control.settings import (
    DAY_S,
    PROTECTION_BY_KIND,
    ChamberSettings,
    Duty,
    OutputKind,
    OutputSettings,
    ProbeSettings,
    SiteSettings,
)
from fermd.journal.ports import ChamberRecord, LineHistory, ReadingRow
from fermd.journal.settings import JournalSettings
from fermd.journal.writer import SqliteJournal

START_UTC_S = datetime(2025, 9, 1, tzinfo=UTC).timestamp()
PERIOD_S = 10
OLD_PERIOD_S = 60
BATCH_DAYS = 28
STEPS = ((1, 10.0, "pitch"), (10, 11.0, "ferment"), (14, 17.0, "rest"), (17, 2.0, "lager"))
"""The day of the batch on which a step begins, its target (°C), its name."""
CYCLE_S = 1800
"""A cycle of the fridge: 48 a day, so 96 changes of its output."""
ON_S = 600
TICKS_AT_ONCE = 2000
"""So many ticks' rows wait in memory at the most, divided by the chambers."""


def make(path: Path, chambers: int, days: int, close_days: int) -> None:
    """Write the journal of such a cellar into a new file."""
    settings = JournalSettings(batch_s=3600.0, linger_s=0.0, most_rows_in_memory=1_000_000)
    journal = SqliteJournal(
        path, boot_id="benchmark", moment=_moment(0), version="benchmark", settings=settings
    )
    cellar = [_Batches(name, number) for number, name in enumerate(_names(chambers))]
    patience = max(1, TICKS_AT_ONCE // chambers)
    for day in range(days):
        period_s = PERIOD_S if day >= days - close_days else OLD_PERIOD_S
        for tick, at_s in enumerate(range(day * int(DAY_S), (day + 1) * int(DAY_S), period_s)):
            moment = _moment(at_s)
            happened = False
            for one in cellar:
                journal.readings(one.readings(at_s, moment))
                for event in one.events(at_s, period_s):
                    journal.events(moment, one.name, [event])
                    happened = True
            if happened:
                lines = [one.line for one in cellar]
                journal.remember(moment, lines, [one.record(at_s) for one in cellar])
            if tick % patience == 0:
                journal.settle(60.0)
        for one in cellar:
            journal.note(_moment((day + 1) * int(DAY_S)), one.name, "Ann", f"day {day + 1}")
        journal.thin(_moment((day + 1) * int(DAY_S)))
        if not journal.flush(600.0) or not journal.settle(600.0):
            raise SystemExit(f"{path}: {journal.trouble()}")
    journal.close(_moment(days * int(DAY_S)), cleanly=True)


class _Batches:
    """One chamber of the cellar: batch after batch."""

    def __init__(self, name: str, number: int) -> None:
        self.name = name
        self.line = LineHistory(f"sim:{2 * number}", False, None, None, (), None)
        self._random = Random(number)
        self._later_s = 97 * number
        """Chambers do not switch all at once."""
        self._target_c = STEPS[-1][1]

    def readings(self, at_s: int, moment: Moment) -> list[ReadingRow]:
        """Both probes, quantised as they are."""
        swing = math.sin(2 * math.pi * (at_s + self._later_s) / CYCLE_S)
        beer_c = self._target_c + 0.1 * swing + self._random.gauss(0.0, 0.03)
        air_c = self._target_c - 1.0 + 3.0 * swing + self._random.gauss(0.0, 0.1)
        return [
            ReadingRow(moment, self.name, "vessel", round(16 * beer_c) / 16, None),
            ReadingRow(moment, self.name, "air", round(16 * air_c) / 16, None),
        ]

    def events(self, at_s: int, period_s: int) -> Iterator[Event]:
        """What happens in this tick."""
        day, into_day_s = divmod(at_s, int(DAY_S))
        if at_s == 0:
            yield from (TrustChanged(probe, True, None, 10.0) for probe in ("vessel", "air"))
        if into_day_s == 0:
            if day % BATCH_DAYS == STEPS[0][0]:
                yield ProfileChanged("lager", ProfileChange.STARTED, "Ann")
            for index, (starts, target_c, step) in enumerate(STEPS):
                if day % BATCH_DAYS == starts:
                    self._target_c = target_c
                    yield StepChanged("lager", index, "soak", step, StepChange.ENTERED, 0.0, "")
                    yield TargetChanged(target_c, target_c, "profile")
        if day % 10 == 5 and into_day_s in (0, 3600):
            phase = AlarmPhase.RAISED if into_day_s == 0 else AlarmPhase.CLEARED
            yield AlarmChanged("beer-too-warm", "", phase, Severity.WARNING, 1.2, 1.0, "")
        phase_s = (at_s + self._later_s) % CYCLE_S
        if phase_s < period_s:
            yield self._switch(True, at_s, Reason(Rule.ABOVE_BAND, self._target_c + 0.3, 0.3))
        elif ON_S <= phase_s < ON_S + period_s and self.line.on:
            yield self._switch(False, at_s, Reason(Rule.WITHIN_BAND, self._target_c, None))

    def record(self, at_s: int) -> ChamberRecord:
        """What a restart would go on from."""
        state = {"profile": {"name": "lager", "steps": STEPS}, "elapsed_s": at_s}
        return ChamberRecord(self.name, json.dumps(state))

    def _switch(self, on: bool, at_s: int, reason: Reason) -> OutputChanged:
        if on:
            starts = (*(one for one in self.line.starts_mono_s if one > at_s - 3600), float(at_s))
            self.line = replace(self.line, on=on, started_mono_s=at_s, starts_mono_s=starts)
        else:
            self.line = replace(self.line, on=on, stopped_mono_s=at_s)
        return OutputChanged(Duty.COOL, "fridge", self.line.line, on, (reason,))


def site_of(chambers: int) -> SiteSettings:
    """What the cellar's chambers are made of."""
    fridge = PROTECTION_BY_KIND[OutputKind.COMPRESSOR]
    return SiteSettings(
        tuple(
            ChamberSettings(
                name,
                ProbeSettings("vessel"),
                ProbeSettings("air"),
                outputs=(
                    OutputSettings(
                        "fridge", f"sim:{2 * number}", Duty.COOL, OutputKind.COMPRESSOR, fridge
                    ),
                ),
            )
            for number, name in enumerate(_names(chambers))
        )
    )


def _names(chambers: int) -> list[str]:
    return [f"chamber-{number + 1}" for number in range(chambers)]


def _moment(at_s: int) -> Moment:
    return Moment(at_s + 0.25, START_UTC_S + at_s + 0.25, wall_trusted=True)
