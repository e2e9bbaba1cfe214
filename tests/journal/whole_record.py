"""A record with something in every table: what a batch with all its troubles leaves behind."""

from __future__ import annotations

from pathlib import Path

from journal_bench import IMPATIENT, WALL_S, at

from fermd.control.events import (
    AlarmChanged,
    AlarmPhase,
    CommandAnswered,
    Event,
    GapSeen,
    OutageSeen,
    OutputChanged,
    ProfileChange,
    ProfileChanged,
    Severity,
    StepChange,
    StepChanged,
    TargetChanged,
    TrustChanged,
)
from fermd.control.reading import ProbeFault
from fermd.control.reasons import Reason, Rule
from fermd.control.settings import Duty
from fermd.journal.ports import ChamberRecord, LineHistory, ReadingRow
from fermd.journal.rows import BrewerNote, MessageEnded, ProfileKept
from fermd.journal.writer import SqliteJournal

READINGS = 720
"""Of each of two probes, every ten seconds: two hours."""

NOTES = [
    'smells of pear, 5 "grains", and\r\na second line',
    "",
    "ganz schön trüb; 18 °C?",
    " =1+1",
]

EVENTS: list[Event] = [
    TrustChanged("vessel", True, None, 18.5),
    TargetChanged(10.0, 10.5, "profile", "Ann"),
    ProfileChanged("lager", ProfileChange.STARTED, "Ann"),
    StepChanged("lager", 0, "hold", "pitch", StepChange.ENTERED, 0.0, ""),
    OutputChanged(
        Duty.COOL, "fridge", "gpio:chip:17", True, (Reason(Rule.ABOVE_BAND, 18.5, 10.5),)
    ),
    AlarmChanged("beer-too-warm", "", AlarmPhase.RAISED, Severity.WARNING, 18.5, 11.0, ""),
    CommandAnswered("set the target to 9 °C", "Ann", True, ""),
    GapSeen(35.0),
    OutageSeen(600.0, True, 12.0, 12.5, 300.0),
    TrustChanged("vessel", False, ProbeFault.CHECKSUM, None),
    OutputChanged(
        Duty.COOL, "fridge", "gpio:chip:17", False, (Reason(Rule.WITHIN_BAND, 10.4, 10.5),)
    ),
]


def write(
    path: Path, *, boot_id: str = "first-boot", thin: bool = True, readings: int = READINGS
) -> None:
    """Write it with the real writer, in one run that stops in an orderly way."""
    journal = SqliteJournal(
        path, boot_id=boot_id, moment=at(0.0), version="1.0", settings=IMPATIENT
    )
    for number in range(readings):
        now = at(10.0 * number + 0.5)
        fault = ProbeFault.CHECKSUM.value if number == 20 else None
        vessel_c = None if fault else 12.0 + (20.0 if number == 30 else number % 7 / 16)
        journal.readings(
            [
                ReadingRow(now, "lager", "vessel", vessel_c, fault),
                ReadingRow(now, "lager", "air", 8.0 - number % 5 / 16, None),
            ]
        )
        if number % (readings // 12) == 0:
            step = number // (readings // 12)
            journal.events(now, "lager", [EVENTS[step % len(EVENTS)]])
    for second, text in enumerate(NOTES):
        journal.note(at(7300.0 + second), "lager", "Ann", text)
    taken_back = BrewerNote("Ann", "a slip", takes_back_seq=1)
    journal.write_down(at(7310.0), "lager", BrewerNote("Ann", "og", "gravity", 1.048, WALL_S))
    journal.write_down(at(7311.0), "lager", taken_back)
    # Written before the clock was known to be set, and dated afterwards: an incident of its own.
    journal.note(at(7312.0, wall_utc_s=0.0, trusted=False), "", "Ann", "no network")
    journal.profile_kept(at(7312.2), ProfileKept("house-pils", "replaced", "Ann"))
    journal.clock_stepped(at(7312.5), 3600.0)
    journal.message_ended(at(7312.6), MessageEnded("anna", 7, "critical: lager", "HTTP error 500"))
    journal.message_ended(at(7312.7), MessageEnded("anna", 8, "critical: lager"))
    line = LineHistory("gpio:chip:17", False, 7000.0, 6000.0, (5000.0, 6000.0), None)
    journal.remember(at(7313.0), [line], [ChamberRecord("lager", '{"index": 1}')])
    assert journal.flush()
    if thin:
        journal.thin(at(7314.0))
        assert journal.settle()
    journal.close(at(7320.0), cleanly=True)
