"""Everything that the journal has a row for can be told in words, and comes back from a row."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import get_args

import pytest
from journal_tale import Tale

from fermd.control.events import (
    AlarmChanged,
    AlarmPhase,
    CommandAnswered,
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
from fermd.control.wording import Unit
from fermd.journal.reader import JournalReader
from fermd.journal.rows import (
    BrewerNote,
    ClockStepped,
    DaemonRun,
    Happening,
    Incident,
    MessageEnded,
    PresumedOff,
    ProfileKept,
)
from fermd.review.telling import tell, words

WARM = Reason(Rule.ABOVE_BAND, 10.4, 10.3)
ON = OutputChanged(Duty.COOL, "fridge", "sim:17", True, (WARM,))
OFF = OutputChanged(Duty.COOL, "fridge", "sim:17", False, (Reason(Rule.UNCLEAN_STOP),))

TOLD: list[tuple[Happening, list[str]]] = [
    (ON, ["cooling", "fridge", "on", "10.40 °C", "10.30 °C"]),
    (PresumedOff(OFF), ["cooling", "off", "nobody saw when"]),
    (TargetChanged(18.0, 21.0, "profile"), ["target", "18.0 °C", "21.0 °C"]),
    (TargetChanged(None, None, "off"), ["target switched off"]),
    (StepChanged("lager", 2, "ramp", "to the rest", StepChange.ENTERED, 0.0), ["3", "to the rest"]),
    (ProfileChanged("lager", ProfileChange.STARTED, "Ann"), ["lager", "started", "Ann"]),
    (
        AlarmChanged("no-effect", "fridge", AlarmPhase.RAISED, Severity.CRITICAL),
        ["alarm raised", "fridge"],
    ),
    (TrustChanged("vessel", False, ProbeFault.DISCONNECTED, 10.0), ["vessel", "not trusted"]),
    (CommandAnswered("set the target to 50 °C", "Ann", False, "too warm"), ["Ann", "too warm"]),
    (GapSeen(700.0), ["11 min 40 s"]),
    (OutageSeen(7200.0, True, 10.0, 12.0), ["2 h", "10.0 °C", "12.0 °C", "2.0 °C"]),
    (BrewerNote("Ann", "smells of apples"), ["note by Ann", "smells of apples"]),
    (ProfileKept("house-pils", "replaced", "Ann"), ["profile house-pils replaced by Ann"]),
    (ClockStepped(3600.0), ["forward", "1 h"]),
    (ClockStepped(-90.0), ["back", "1 min 30 s"]),
    (DaemonRun("started", "1.2"), ["fermd 1.2 started"]),
    (DaemonRun("stopped", "1.2", cleanly=True), ["stopped cleanly"]),
    (DaemonRun("stopped", "1.2", cleanly=False), ["stopped after a fault"]),
    (Incident("not-writing", "for 60 s: disk full", 3, 2), ["disk full", "5 rows are lost"]),
    (Incident("set-aside", "malformed"), ["journal: malformed"]),
    (MessageEnded("ann", 7, "lager: too warm"), ["message 7 to ann was accepted", "too warm"]),
    (MessageEnded("ann", 7, "lager: too warm", "no route"), ["failed (no route)", "too warm"]),
]


def test_every_kind_of_happening_is_told_here() -> None:
    assert {type(happening) for happening, _ in TOLD} == set(get_args(Happening))


@pytest.mark.parametrize(
    ("happening", "parts"), TOLD, ids=[f"{type(h).__name__}-{p[0]}" for h, p in TOLD]
)
def test_a_happening_is_told_with_its_numbers(happening: Happening, parts: list[str]) -> None:
    said = words(happening, 1000.0)
    for part in parts:
        assert part in said
    assert "\n" not in said
    assert "None" not in said


def test_readers_of_fahrenheit_are_told_in_fahrenheit() -> None:
    assert "64.4 °F to 69.8 °F" in words(TargetChanged(18.0, 21.0, "hand"), 0.0, Unit.FAHRENHEIT)
    # A difference has no zero point: 2 K are 3.6 °F.
    outage = words(OutageSeen(60.0, True, 10.0, 12.0), 0.0, Unit.FAHRENHEIT)
    assert "(3.6 °F)" in outage


def test_a_row_of_the_journal_is_told_with_its_place_and_time(tmp_path: Path) -> None:
    tale = Tale(tmp_path / "journal.db")
    tale.passes(600.0)
    tale.tell(ON)
    tale.journal.note(tale.now, "lager", "Ann", "smells of apples")
    rows = JournalReader(tale.ends()).last_events(100)
    told = {type(row.happening): tell(row) for row in rows}
    note = told[BrewerNote]
    assert (note.chamber, note.kind) == ("lager", "BrewerNote")
    assert note.words == "note by Ann: smells of apples"
    assert note.wall_utc_s == tale.now.wall_utc_s
    assert note.wall_trusted is True
    assert told[OutputChanged].seq < note.seq
    assert note.plain() == {
        "seq": note.seq,
        "wall_utc_s": note.wall_utc_s,
        "wall_trusted": True,
        "chamber": "lager",
        "kind": "BrewerNote",
        "words": "note by Ann: smells of apples",
    }


def test_a_time_that_was_mended_counts_as_known_and_one_that_was_not_does_not(
    tmp_path: Path,
) -> None:
    """The journal dates the note by a trusted moment of the same boot."""
    tale = Tale(tmp_path / "journal.db")
    tale.wall_trusted = False
    tale.journal.note(tale.now, "lager", "Ann", "a note")
    (row,) = [
        row
        for row in JournalReader(tale.ends()).last_events(10)
        if isinstance(row.happening, BrewerNote)
    ]
    assert row.wall_mended
    assert tell(row).wall_trusted is True
    unknown = replace(row, wall_mended=False, moment=replace(row.moment, wall_trusted=False))
    assert tell(unknown).wall_trusted is False


def test_what_was_asked_is_read_in_fahrenheit_by_who_thinks_in_it() -> None:
    asked = CommandAnswered("set the target to -1.5 °C", "Ann", True, "")
    assert words(asked, 0.0) == "set the target to -1.5 °C, asked by Ann and taken"
    # -1.5 × 9/5 + 32 = 29.3, by the definition of the scale.
    assert words(asked, 0.0, Unit.FAHRENHEIT) == "set the target to 29.3 °F, asked by Ann and taken"


def test_an_offset_is_read_in_fahrenheit_as_the_difference_that_it_is() -> None:
    told = BrewerNote("Ann", "probe shelf: offset 0 °C is now -0.5 °C", "calibration", -0.5)
    assert words(told, 0.0) == "probe shelf: offset 0 °C is now -0.5 °C by Ann"
    # -0.5 × 9/5 = -0.9: a difference has no offset of 32.
    told_in_f = words(told, 0.0, Unit.FAHRENHEIT)
    assert told_in_f == "probe shelf: offset 0 °F is now -0.9 °F by Ann"
