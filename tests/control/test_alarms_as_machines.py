"""An alarm is raised, acknowledged, cleared: every transition of its table, and no other."""

from __future__ import annotations

from itertools import pairwise, product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fermd.control import alarms as alarms_module
from fermd.control.alarms import (
    NEXT,
    RULES,
    AlarmKind,
    Alarms,
    Condition,
    Input,
    acknowledge,
    observe,
    standing,
)
from fermd.control.events import AlarmChanged, AlarmPhase, Severity

CLEARED, RAISED, ACKNOWLEDGED = AlarmPhase.CLEARED, AlarmPhase.RAISED, AlarmPhase.ACKNOWLEDGED
AT_ONCE = AlarmKind.WAITING_FOR_PERSON
DELAYED = AlarmKind.VESSEL_PROBE_LOST
LATCHED = AlarmKind.NO_EFFECT
SUBJECT = "subject"


class Panel:
    """The alarms of a chamber on the bench, looked at once a second."""

    def __init__(self, kind: AlarmKind) -> None:
        self.kind = kind
        self.mono_s = 0.0
        self.alarms: Alarms = ()
        self.told: list[AlarmChanged] = []

    def sees(self, holds: bool, for_s: float = 1.0) -> AlarmPhase:
        present = {(self.kind, SUBJECT): Condition(self.kind, SUBJECT, 1.5, 1.0)} if holds else {}
        for _ in range(round(for_s)):
            self.mono_s += 1.0
            self.alarms, events = observe(self.alarms, present, self.mono_s, 1e9 + self.mono_s)
            self.told.extend(events)
        return self.phase

    def hears(self, who: str = "anna") -> bool:
        self.alarms, events, found = acknowledge(self.alarms, self.kind.value, SUBJECT, who)
        self.told.extend(events)
        return found

    @property
    def phase(self) -> AlarmPhase:
        shown = standing(self.alarms)
        return shown[0].phase if shown else CLEARED


# (phase, latched): what follows when the condition holds, when it is gone, when a person sees the
# alarm while it holds, and when they see it after it is gone. Written out by hand.
EXPECTED = {
    (CLEARED, False): (RAISED, CLEARED, CLEARED, CLEARED),
    (CLEARED, True): (RAISED, CLEARED, CLEARED, CLEARED),
    (RAISED, False): (RAISED, CLEARED, ACKNOWLEDGED, CLEARED),
    (RAISED, True): (RAISED, RAISED, ACKNOWLEDGED, CLEARED),
    (ACKNOWLEDGED, False): (ACKNOWLEDGED, CLEARED, ACKNOWLEDGED, ACKNOWLEDGED),
    (ACKNOWLEDGED, True): (ACKNOWLEDGED, CLEARED, ACKNOWLEDGED, ACKNOWLEDGED),
}


@pytest.mark.parametrize(("phase", "latched"), list(product(AlarmPhase, (False, True))))
def test_the_table_says_what_follows_and_nothing_else_changes_anything(
    phase: AlarmPhase, latched: bool
) -> None:
    follows = tuple(NEXT.get((phase, latched, what), phase) for what in Input)
    assert follows == EXPECTED[phase, latched]
    assert all(after is not key[0] for key, after in NEXT.items())


def test_every_kind_has_its_rule() -> None:
    assert set(RULES) == set(AlarmKind)
    assert set(EXPECTED) == set(product(AlarmPhase, (False, True)))


def test_a_condition_raises_an_alarm_and_its_end_clears_it() -> None:
    panel = Panel(AT_ONCE)
    assert panel.sees(True) is RAISED
    assert panel.sees(False) is CLEARED
    assert panel.alarms == ()
    assert [event.phase for event in panel.told] == [RAISED, CLEARED]


def test_an_alarm_says_what_it_is_about_and_since_when() -> None:
    panel = Panel(AT_ONCE)
    panel.sees(True)
    (alarm,) = panel.alarms
    assert (alarm.kind, alarm.subject, alarm.value, alarm.limit) == (AT_ONCE, SUBJECT, 1.5, 1.0)
    assert (alarm.raised_mono_s, alarm.raised_wall_utc_s) == (1.0, 1e9 + 1.0)
    assert alarm.severity is Severity.NOTICE
    assert panel.told == [AlarmChanged(AT_ONCE.value, SUBJECT, RAISED, Severity.NOTICE, 1.5, 1.0)]


def test_a_condition_must_hold_for_a_while_before_it_rings() -> None:
    after_s = RULES[DELAYED].raise_after_s
    assert after_s == 60.0
    panel = Panel(DELAYED)
    assert panel.sees(True, after_s) is CLEARED
    assert panel.sees(True) is RAISED
    (alarm,) = panel.alarms
    assert (alarm.raised_mono_s, alarm.raised_wall_utc_s) == (61.0, 1e9 + 61.0)


def test_a_condition_that_comes_and_goes_never_rings() -> None:
    panel = Panel(DELAYED)
    for _ in range(20):
        panel.sees(True, 50.0)
        panel.sees(False)
    assert panel.told == []
    assert panel.alarms == ()


def test_a_condition_must_be_gone_for_a_while_before_it_clears() -> None:
    panel = Panel(DELAYED)
    panel.sees(True, 61.0)
    for _ in range(20):
        assert panel.sees(False, 50.0) is RAISED
        assert panel.sees(True) is RAISED
    assert panel.sees(False, 60.0) is RAISED
    assert panel.sees(False) is CLEARED
    assert [event.phase for event in panel.told] == [RAISED, CLEARED]


def test_an_acknowledged_alarm_stays_until_its_condition_is_gone() -> None:
    panel = Panel(AT_ONCE)
    panel.sees(True)
    assert panel.hears("anna")
    assert panel.sees(True, 100.0) is ACKNOWLEDGED
    assert panel.told[-1].who == "anna"
    assert panel.sees(False) is CLEARED


def test_an_alarm_is_acknowledged_once() -> None:
    panel = Panel(AT_ONCE)
    panel.sees(True)
    assert panel.hears()
    before = panel.alarms
    assert not panel.hears()
    assert panel.alarms == before


def test_a_latched_alarm_outlives_its_condition_until_a_person_has_seen_it() -> None:
    panel = Panel(LATCHED)
    panel.sees(True)
    assert panel.sees(False, 2000.0) is RAISED
    assert panel.hears()
    assert panel.phase is CLEARED
    assert panel.alarms == ()


def test_a_latched_alarm_that_was_seen_clears_by_itself() -> None:
    panel = Panel(LATCHED)
    panel.sees(True)
    panel.hears()
    assert panel.sees(False, 600.0) is ACKNOWLEDGED
    assert panel.sees(False) is CLEARED


def test_what_has_not_rung_yet_cannot_be_acknowledged() -> None:
    panel = Panel(DELAYED)
    panel.sees(True)
    assert not panel.hears()
    assert panel.sees(True, 60.0) is RAISED


def test_alarms_of_other_subjects_are_left_alone() -> None:
    panel = Panel(AT_ONCE)
    panel.sees(True)
    before = panel.alarms
    assert acknowledge(before, AT_ONCE.value, "another", "anna") == (before, (), False)
    assert acknowledge(before, LATCHED.value, SUBJECT, "anna") == (before, (), False)


def test_the_alarms_after_the_one_that_was_seen_are_kept() -> None:
    present = {(LATCHED, name): Condition(LATCHED, name) for name in ("first", "second", "third")}
    alarms, _ = observe((), present, 0.0, 0.0)
    kept, _, found = acknowledge(alarms, LATCHED.value, "second", "anna")
    assert found
    assert [(alarm.subject, alarm.phase) for alarm in kept] == [
        ("first", RAISED),
        ("second", ACKNOWLEDGED),
        ("third", RAISED),
    ]
    # What cannot be seen again is passed over, and the rest is still there.
    again, events, found = acknowledge(kept, LATCHED.value, "second", "ben")
    assert (again, events, found) == (kept, (), False)


def test_two_subjects_have_an_alarm_each() -> None:
    present = {(AT_ONCE, name): Condition(AT_ONCE, name) for name in ("first", "second")}
    alarms, events = observe((), present, 0.0, 0.0)
    assert [alarm.subject for alarm in alarms] == ["first", "second"]
    del present[AT_ONCE, "first"]
    alarms, events = observe(alarms, present, 1.0, 1.0)
    assert [(event.subject, event.phase) for event in events] == [("first", CLEARED)]
    assert [alarm.subject for alarm in alarms] == ["second"]


def test_a_chamber_without_alarms_or_conditions_has_nothing_to_do() -> None:
    assert observe((), {}, 0.0, 0.0) == ((), ())


deeds = st.lists(
    st.one_of(st.tuples(st.booleans(), st.integers(1, 700)), st.just("acknowledge")), max_size=30
)


@given(kind=st.sampled_from(AlarmKind), deeds=deeds)
def test_whatever_happens_an_alarm_moves_only_along_its_table(
    kind: AlarmKind, deeds: list[tuple[bool, int] | str]
) -> None:
    panel = Panel(kind)
    phases = [CLEARED]
    for deed in deeds:
        if isinstance(deed, str):
            panel.hears()
        else:
            panel.sees(*deed)
    for event in panel.told:
        phases.append(event.phase)
    allowed = {(key[0], after) for key, after in NEXT.items()}
    for step in pairwise(phases):
        assert step in allowed
    assert panel.phase is phases[-1]


def test_the_module_knows_its_rules_only_by_the_table() -> None:
    """Changing the table changes the machine: there is no second place that decides."""
    assert alarms_module.NEXT is NEXT
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(alarms_module, "NEXT", {})
        panel = Panel(AT_ONCE)
        assert panel.sees(True, 10.0) is CLEARED
