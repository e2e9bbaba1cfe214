"""Alarms: raised, acknowledged, cleared.

Theory of operation. An alarm is a small state machine for one condition of one subject. The
whole of its behaviour is the table `NEXT` below: everything that moves an alarm is in it, and
the machine does not know what it is an alarm about. The words are those of the process
industries (IEC 62682 / ISA-18.2, from memory): a raised alarm wants a person; an acknowledged
one has been seen and its condition still holds; a cleared one is over.

A condition must hold for `raise_after_s` before the alarm is raised and be gone for
`clear_after_s` before it counts as gone, so that a value on the edge does not ring. A latched
alarm (something a person must look at even if it is gone) is only cleared once acknowledged.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from enum import StrEnum

from fermd.control.events import AlarmChanged, AlarmPhase, Severity


class AlarmKind(StrEnum):
    """Everything that can be wrong. The values are stored in the journal: never rename one."""

    VESSEL_PROBE_LOST = "vessel-probe-lost"
    AIR_PROBE_LOST = "air-probe-lost"
    WATCHING_PROBE_LOST = "watching-probe-lost"
    PROBE_UNSTEADY = "probe-unsteady"
    NO_EFFECT = "no-effect"
    LONGEST_RUN = "longest-run"
    BEER_TOO_WARM = "beer-too-warm"
    BEER_TOO_COLD = "beer-too-cold"
    NEAR_FREEZING = "near-freezing"
    WAITING_FOR_PERSON = "waiting-for-person"
    RELAY_FAULT = "relay-fault"
    LEASE_EXPIRED = "lease-expired"
    CLOCK_NOT_SET = "clock-not-set"
    CLOCK_STEPPED = "clock-stepped"
    JOURNAL_NOT_WRITING = "journal-not-writing"
    JOURNAL_SET_ASIDE = "journal-set-aside"
    JOURNAL_DAMAGED = "journal-damaged"
    BACKUP_FAILED = "backup-failed"
    OUTAGE = "outage"
    MEMORY_LOST = "memory-lost"


@dataclass(frozen=True, slots=True)
class AlarmRule:
    """How alarms of one kind behave."""

    severity: Severity
    raise_after_s: float = 0.0
    clear_after_s: float = 0.0
    latched: bool = False


RULES: Mapping[AlarmKind, AlarmRule] = {
    AlarmKind.VESSEL_PROBE_LOST: AlarmRule(Severity.CRITICAL, 60.0, 60.0),
    AlarmKind.AIR_PROBE_LOST: AlarmRule(Severity.CRITICAL, 60.0, 60.0),
    AlarmKind.WATCHING_PROBE_LOST: AlarmRule(Severity.NOTICE, 300.0, 300.0),
    AlarmKind.PROBE_UNSTEADY: AlarmRule(Severity.WARNING, 0.0, 3600.0),
    AlarmKind.NO_EFFECT: AlarmRule(Severity.CRITICAL, 0.0, 600.0, latched=True),
    AlarmKind.LONGEST_RUN: AlarmRule(Severity.WARNING, 0.0, 600.0, latched=True),
    AlarmKind.BEER_TOO_WARM: AlarmRule(Severity.WARNING, 0.0, 600.0),
    AlarmKind.BEER_TOO_COLD: AlarmRule(Severity.WARNING, 0.0, 600.0),
    AlarmKind.NEAR_FREEZING: AlarmRule(Severity.CRITICAL, 60.0, 600.0),
    AlarmKind.WAITING_FOR_PERSON: AlarmRule(Severity.NOTICE),
    AlarmKind.RELAY_FAULT: AlarmRule(Severity.CRITICAL, 0.0, 60.0, latched=True),
    AlarmKind.LEASE_EXPIRED: AlarmRule(Severity.CRITICAL, 0.0, 60.0, latched=True),
    AlarmKind.CLOCK_NOT_SET: AlarmRule(Severity.NOTICE, 600.0),
    AlarmKind.CLOCK_STEPPED: AlarmRule(Severity.NOTICE, 0.0, 600.0),
    AlarmKind.JOURNAL_NOT_WRITING: AlarmRule(Severity.WARNING, 0.0, 60.0),
    AlarmKind.JOURNAL_SET_ASIDE: AlarmRule(Severity.WARNING, 0.0, 60.0, latched=True),
    AlarmKind.JOURNAL_DAMAGED: AlarmRule(Severity.WARNING),
    AlarmKind.BACKUP_FAILED: AlarmRule(Severity.WARNING),
    AlarmKind.OUTAGE: AlarmRule(Severity.WARNING, 0.0, 60.0, latched=True),
    AlarmKind.MEMORY_LOST: AlarmRule(Severity.CRITICAL, 0.0, 60.0, latched=True),
}


class Input(StrEnum):
    """What can happen to an alarm."""

    CONDITION_HOLDS = "condition holds"
    CONDITION_GONE = "condition gone"
    ACKNOWLEDGED = "acknowledged by a person"
    ACKNOWLEDGED_GONE = "acknowledged, condition gone"


_CLEARED, _RAISED, _ACKNOWLEDGED = (
    AlarmPhase.CLEARED,
    AlarmPhase.RAISED,
    AlarmPhase.ACKNOWLEDGED,
)

NEXT: Mapping[tuple[AlarmPhase, bool, Input], AlarmPhase] = {
    # (phase, latched, what happened): next phase
    (_CLEARED, False, Input.CONDITION_HOLDS): _RAISED,
    (_CLEARED, True, Input.CONDITION_HOLDS): _RAISED,
    (_RAISED, False, Input.CONDITION_GONE): _CLEARED,
    (_RAISED, False, Input.ACKNOWLEDGED): _ACKNOWLEDGED,
    (_RAISED, True, Input.ACKNOWLEDGED): _ACKNOWLEDGED,
    (_RAISED, False, Input.ACKNOWLEDGED_GONE): _CLEARED,
    (_RAISED, True, Input.ACKNOWLEDGED_GONE): _CLEARED,
    (_ACKNOWLEDGED, False, Input.CONDITION_GONE): _CLEARED,
    (_ACKNOWLEDGED, True, Input.CONDITION_GONE): _CLEARED,
}
"""Every transition there is; whatever is not in the table changes nothing."""


@dataclass(frozen=True, slots=True)
class Condition:
    """Something that is so at present and may be worth an alarm."""

    kind: AlarmKind
    subject: str = ""
    value: float | None = None
    limit: float | None = None


@dataclass(frozen=True, slots=True)
class Alarm:
    """One alarm as it stands."""

    kind: AlarmKind
    subject: str
    phase: AlarmPhase
    holds: bool
    """Whether the condition holds at present (a latched alarm outlives it)."""
    edge_mono_s: float
    """Since when the condition has held, or has been gone."""
    raised_mono_s: float | None = None
    raised_wall_utc_s: float | None = None
    value: float | None = None
    limit: float | None = None

    @property
    def severity(self) -> Severity:
        """How much a person is needed."""
        return RULES[self.kind].severity


Alarms = tuple[Alarm, ...]


def observe(
    alarms: Alarms,
    conditions: Mapping[tuple[AlarmKind, str], Condition],
    mono_s: float,
    wall_utc_s: float,
) -> tuple[Alarms, tuple[AlarmChanged, ...]]:
    """Move every alarm on by what is so now.

    `conditions` holds, by (kind, subject), everything that is so at present; alarms whose
    condition is not among them are on their way out.
    """
    if not alarms and not conditions:
        return alarms, ()
    kept: list[Alarm] = []
    events: list[AlarmChanged] = []
    known = set()
    for alarm in alarms:
        key = (alarm.kind, alarm.subject)
        known.add(key)
        moved = _observe_one(alarm, conditions.get(key), mono_s, wall_utc_s)
        if moved.phase is not alarm.phase:
            events.append(told(moved))
        if moved.phase is not AlarmPhase.CLEARED or moved.holds:
            kept.append(moved)
    for key, condition in conditions.items():
        if key not in known:
            fresh = Alarm(*key, AlarmPhase.CLEARED, holds=True, edge_mono_s=mono_s)
            moved = _observe_one(fresh, condition, mono_s, wall_utc_s)
            if moved.phase is not AlarmPhase.CLEARED:
                events.append(told(moved))
            kept.append(moved)
    return tuple(kept), tuple(events)


def acknowledge(
    alarms: Alarms, kind: str, subject: str, who: str
) -> tuple[Alarms, tuple[AlarmChanged, ...], bool]:
    """Somebody has seen an alarm; the last value says whether there was such an alarm to see."""
    kept: list[Alarm] = []
    events: list[AlarmChanged] = []
    found = False
    for alarm in alarms:
        if alarm.kind.value != kind or alarm.subject != subject:
            kept.append(alarm)
            continue
        what = Input.ACKNOWLEDGED if alarm.holds else Input.ACKNOWLEDGED_GONE
        after = NEXT.get((alarm.phase, RULES[alarm.kind].latched, what))
        if after is None:
            kept.append(alarm)
            continue
        found = True
        moved = replace(alarm, phase=after)
        events.append(replace(told(moved), who=who))
        if after is not AlarmPhase.CLEARED:
            kept.append(moved)
    return tuple(kept), tuple(events), found


def told(alarm: Alarm) -> AlarmChanged:
    """The event that tells of an alarm's present phase."""
    return AlarmChanged(
        alarm.kind.value, alarm.subject, alarm.phase, alarm.severity, alarm.value, alarm.limit
    )


def standing(alarms: Alarms) -> Alarms:
    """The alarms that a person is shown: all that are not cleared."""
    return tuple(alarm for alarm in alarms if alarm.phase is not AlarmPhase.CLEARED)


def _observe_one(
    alarm: Alarm, condition: Condition | None, mono_s: float, wall_utc_s: float
) -> Alarm:
    rule = RULES[alarm.kind]
    holds = condition is not None
    if holds != alarm.holds:
        alarm = replace(alarm, holds=holds, edge_mono_s=mono_s)
    waited_s = mono_s - alarm.edge_mono_s
    if waited_s < (rule.raise_after_s if holds else rule.clear_after_s):
        return alarm
    what = Input.CONDITION_HOLDS if holds else Input.CONDITION_GONE
    after = NEXT.get((alarm.phase, rule.latched, what), alarm.phase)
    if after is alarm.phase:
        return alarm
    if condition is not None:
        return replace(
            alarm,
            phase=after,
            raised_mono_s=mono_s,
            raised_wall_utc_s=wall_utc_s,
            value=condition.value,
            limit=condition.limit,
        )
    return replace(alarm, phase=after)
