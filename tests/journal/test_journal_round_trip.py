"""Every event goes into the journal and comes out as it was, in the order in which it happened."""

from __future__ import annotations

import json
from enum import Enum
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, get_args, get_origin, get_type_hints

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from journal_bench import IMPATIENT, at, rows

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
from fermd.journal.ports import ReadingRow
from fermd.journal.reader import JournalReader
from fermd.journal.rows import BrewerNote, ClockStepped, DaemonRun, Incident, ProfileKept
from fermd.journal.writer import SqliteJournal

NUMBER = st.floats(allow_nan=False, allow_infinity=False)
# SQLite keeps any text but one with half a surrogate pair, which is no text.
TEXT = st.text(st.characters(exclude_categories=["Cs"]), max_size=20)
BY_TYPE = {float: NUMBER, str: TEXT, int: st.integers(0, 1000), bool: st.booleans()}


def anything_of(kind: Any) -> st.SearchStrategy[Any]:
    """Every value that a type of the core allows."""
    if kind in BY_TYPE:
        return BY_TYPE[kind]
    if kind is type(None):
        return st.none()
    if get_origin(kind) is tuple:
        return st.lists(anything_of(get_args(kind)[0]), max_size=3).map(tuple)
    if get_args(kind):
        return st.one_of([anything_of(each) for each in get_args(kind)])
    if issubclass(kind, Enum):
        return st.sampled_from(kind)
    hints = get_type_hints(kind)
    return st.builds(kind, **{name: anything_of(hint) for name, hint in hints.items()})


EXAMPLES: tuple[Event, ...] = (
    OutputChanged(Duty.COOL, "fridge", "GPIO17", True, (Reason(Rule.ABOVE_BAND, 12.4, 12.3),)),
    TargetChanged(18.0, 21.0, "profile"),
    StepChanged("lager", 2, "soak", "rest", StepChange.REACHED, 77.5, "Ann"),
    ProfileChanged("lager", ProfileChange.PAUSED, "Ann"),
    AlarmChanged("beer-too-warm", "vessel", AlarmPhase.RAISED, Severity.WARNING, 21.0, 20.0, "Ann"),
    TrustChanged("vessel", False, ProbeFault.FROZEN, 12.125),
    CommandAnswered("SkipStep()", "Ann", False, "no profile runs; start one"),
    GapSeen(61.5),
    OutageSeen(7200.0, False, 12.0, 13.5),
)


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.lists(st.tuples(TEXT, anything_of(Event)), max_size=12))
def test_any_event_comes_out_of_the_journal_as_it_went_in(events: list[tuple[str, Event]]) -> None:
    with TemporaryDirectory() as folder:
        path = Path(folder) / "journal.sqlite"
        journal = SqliteJournal(path, boot_id="boot", moment=at(0), version="1", settings=IMPATIENT)
        for second, (chamber, event) in enumerate(events, 1):
            journal.events(at(second), chamber, [event])
        journal.close(at(1000), cleanly=True)
        found = JournalReader(path).last_events(100)
    told = [row for row in found if not isinstance(row.happening, DaemonRun)]
    assert [(row.chamber, row.happening) for row in told] == events
    assert [row.moment for row in told] == [at(second) for second in range(1, len(events) + 1)]


def test_every_kind_of_event_has_a_table_and_a_line_in_what_happened(begin, path):
    journal = begin()
    assert [type(event) for event in EXAMPLES] == list(get_args(Event))
    for second, event in enumerate(EXAMPLES, 1):
        journal.events(at(second), "lager", [event])
    journal.clock_stepped(at(50), 3600.0)
    journal.note(at(51), "lager", "Ann", "krausen falls")
    journal.profile_kept(at(52), ProfileKept("house-pils", "saved", "Ann"))
    journal.close(at(60), cleanly=True)
    found = [row.happening for row in JournalReader(path).last_events(100)]
    note = BrewerNote("Ann", "krausen falls")
    kept = ProfileKept("house-pils", "saved", "Ann")
    assert found[1:-1] == [*EXAMPLES, ClockStepped(3600.0), note, kept]
    assert found[-1] == DaemonRun("stopped", "1.0", True)
    told = rows(path, "SELECT kind, what FROM what_happened")
    assert len(told) == len(found)
    assert all(what for _, what in told)
    assert told[-2] == ("profile-file", "house-pils saved by Ann")
    assert told[-4] == ("clock", "wall clock stepped by +3600.0 s")


def test_all_reasons_of_an_output_change_are_kept_and_the_deciding_one_has_its_own_columns(
    begin, path
):
    reasons = (
        Reason(Rule.AIR_LIMIT, value_c=-3.125, limit_c=-3.0),
        Reason(Rule.MINIMUM_RUN, until_mono_s=512.5),
        Reason(Rule.STARTS_PER_HOUR, number=6.0),
    )
    journal = begin()
    journal.events(at(9), "lager", [OutputChanged(Duty.COOL, "fridge", "GPIO17", False, reasons)])
    journal.close(at(10), cleanly=True)
    [row] = rows(
        path, "SELECT reason_rule, reason_value_c, reason_limit_c, reasons_json FROM output_changes"
    )
    assert row[:3] == ("air-limit", -3.125, -3.0)
    assert json.loads(row[3])[1] == {"rule": "minimum-run", "until_mono_s": 512.5}
    [_, change, _] = JournalReader(path).last_events(3)
    assert change.happening.reasons == reasons


def test_a_number_that_does_not_exist_costs_its_own_row_only(begin, path):
    journal = begin()
    journal.events(at(1), "lager", [GapSeen(float("nan")), GapSeen(30.0)])
    journal.readings([ReadingRow(at(1), "lager", "vessel", None, None)])
    journal.readings([ReadingRow(at(2), "lager", "vessel", 12.5, None)])
    assert journal.flush()
    assert rows(path, "SELECT lasted_s FROM gaps") == [(30.0,)]
    assert rows(path, "SELECT temp_c FROM readings") == [(12.5,)]
    [incident] = [
        row.happening
        for row in JournalReader(path).last_events(9)
        if isinstance(row.happening, Incident)
    ]
    assert (incident.lost_readings, incident.lost_events) == (1, 1)
    assert journal.trouble() is None


def test_text_that_is_no_unicode_is_written_with_a_mark_in_its_place(begin, path):
    journal = begin()
    journal.note(at(1), "lager", "Ann", "caf\udce9")
    journal.close(at(2), cleanly=True)
    assert rows(path, "SELECT note FROM notes") == [("caf?",)]


def test_rows_stand_in_the_order_in_which_they_happened_though_the_clock_was_set_back(begin, path):
    journal = begin()
    journal.events(at(10, wall_utc_s=5000.0), "lager", [GapSeen(1.0)])
    journal.events(at(20, wall_utc_s=1000.0), "lager", [GapSeen(2.0)])
    journal.events(at(30, wall_utc_s=3000.0), "lager", [GapSeen(3.0)])
    journal.close(at(40), cleanly=True)
    again = begin(boot_id="second-boot", moment=at(1, wall_utc_s=500.0))
    again.events(at(2, wall_utc_s=501.0), "lager", [GapSeen(4.0)])
    again.close(at(3), cleanly=True)
    gaps = [
        row for row in JournalReader(path).last_events(99) if isinstance(row.happening, GapSeen)
    ]
    assert [row.happening.lasted_s for row in gaps] == [1.0, 2.0, 3.0, 4.0]
    assert gaps[0].boot == gaps[2].boot < gaps[3].boot
    by_boot_and_seq = rows(path, "SELECT what FROM what_happened ORDER BY boot, seq")
    assert by_boot_and_seq == rows(path, "SELECT what FROM what_happened")


def test_events_after_a_row_and_of_one_chamber_can_be_asked_for(begin, path):
    journal = begin()
    for second in range(1, 6):
        chamber = "lager" if second % 2 else "ale"
        journal.events(at(second), chamber, [GapSeen(float(second))])
    assert journal.flush()
    reader = JournalReader(path)
    everything = reader.last_events(99)
    newer = reader.events_after(everything[-3].seq)
    assert [row.happening for row in newer] == [GapSeen(4.0), GapSeen(5.0)]
    ale = [row.happening for row in reader.last_events(3, chamber="ale")]
    assert ale == [DaemonRun("started", "1.0"), GapSeen(2.0), GapSeen(4.0)]
    between = reader.events_between(at(2).wall_utc_s, at(4).wall_utc_s)
    assert [row.happening for row in between] == [GapSeen(2.0), GapSeen(3.0)]
    plain = json.loads(json.dumps([row.plain() for row in everything]))
    assert plain[-1]["kind"] == "GapSeen"
    assert plain[-1]["what"] == {"lasted_s": 5.0}


def test_the_target_of_a_free_rise_is_told_with_its_floor_and_ceiling(begin, path):
    journal = begin()
    journal.events(at(1), "lager", [TargetChanged(18.0, 21.0, "profile")])
    journal.close(at(2), cleanly=True)
    told = rows(path, "SELECT what FROM what_happened WHERE kind = 'target'")
    assert told == [("heat to 18.00 °C, cool to 21.00 °C (profile)",)]
