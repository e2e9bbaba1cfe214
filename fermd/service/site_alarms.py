"""What is so at present of the board itself: clock, journal, relays.

The conditions go to the same alarm machine that the chambers use.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence

from fermd.control.alarms import AlarmKind, Condition
from fermd.control.moment import Moment
from fermd.journal.ports import Trouble

STEP_SHOWN_S = 60.0
"""A step of the wall clock is a passing condition: it holds for this long after it was seen, s."""

Found = dict[tuple[AlarmKind, str], Condition]


def present(
    now: Moment,
    trouble: Trouble | None,
    expired: Collection[str],
    failed: Collection[str],
    lines: tuple[str, ...],
    stepped: tuple[float, float] | None,
    outage_s: float | None,
    told_outage: bool,
    forgotten: Sequence[str] = (),
    upkeep: Collection[AlarmKind] = (),
) -> Found:
    """Everything that is so of the board, by kind and subject.

    `stepped` is when (mono, s) and by how much (s) the wall clock was last stepped; `outage_s` how
    long nobody was in charge before this start, told once it is known; `forgotten` are chambers
    whose record could not be read at this start; `upkeep` is what the upkeep by the calendar has
    found wrong.
    """
    found: Found = {}
    if not now.wall_trusted:
        _add(found, AlarmKind.CLOCK_NOT_SET)
    if stepped is not None and now.mono_s - stepped[0] < STEP_SHOWN_S:
        _add(found, AlarmKind.CLOCK_STEPPED, "", stepped[1])
    if trouble is not None:
        kind = (
            AlarmKind.JOURNAL_SET_ASIDE
            if trouble.kind == "set-aside"
            else AlarmKind.JOURNAL_NOT_WRITING
        )
        _add(found, kind)
    if expired or failed:
        for line in lines:
            if line in expired:
                _add(found, AlarmKind.LEASE_EXPIRED, line)
            if line in failed:
                _add(found, AlarmKind.RELAY_FAULT, line)
    for kind in upkeep:
        _add(found, kind)
    for chamber in forgotten:
        _add(found, AlarmKind.MEMORY_LOST, chamber)
    if told_outage:
        _add(found, AlarmKind.OUTAGE, "", outage_s)
    return found


def _add(found: Found, kind: AlarmKind, subject: str = "", value: float | None = None) -> None:
    found[kind, subject] = Condition(kind, subject, value)
