"""What the journal says, held against what must never happen and against what the coils did."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from truth import UNIT_S, Broken, Switching
from world_run import Outcome

from fermd.control.reasons import Rule
from fermd.control.settings import Duty
from fermd.journal.readonly import connect_to_read
from fermd.review.invariants import TakenOver, violations

SAME_S = 0.1
"""A row and a switching that are this near to each other, s, are of one moment."""

LEASE_HEARD_S = 3 * 3600.0 + 600.0
"""A relay that let go is noted at the next tick; the longest stall of a world, and some, s."""

OF_PROMISE = {
    "heat and cooling never together": 1,
    "changeover delay": 1,
    "minimum off time": 2,
    "start to start": 2,
    "starts per hour": 2,
    "rest and power-up delay": 2,
    "minimum run time": 2,
    "fail-safe": 3,
    "alarm raised": 3,
    "freezing margin": 4,
    "lowest air temperature": 4,
    "highest air temperature": 4,
    "longest run": 5,
    "off without effect": 5,
    "supply limit": 9,
}
"""The number of the invariant by the name that the replay gives it; every other one is the 7th."""


def broken_in_journal(outcome: Outcome) -> list[Broken]:
    """Return every promise that the journal alone shows to be broken, or that it does not keep."""
    return [*_replayed(outcome), *_as_the_relays(outcome), *_nothing_lost(outcome)]


def rows_of(path: Path, query: str) -> list[dict[str, Any]]:
    """Ask a journal. Raises sqlite3.Error."""
    with closing(connect_to_read(path)) as connection:
        connection.row_factory = sqlite3.Row
        return [dict(row) for row in connection.execute(query)]


def true_s(outcome: Outcome, row: dict[str, Any]) -> float:
    """Return when a row was written in truth, by the boot that it names."""
    boot = int(row["boot_id"].rpartition("-")[2])
    return outcome.truth.boots_s[boot - 1] + float(row["mono_s"])


def _replayed(outcome: Outcome) -> Iterator[Broken]:
    """The journal against the promises, from its rows alone."""
    truth = outcome.truth
    period_s = outcome.world.site["sample_period_s"]
    first = truth.settings[0][1]
    written = {row["boot_id"] for row in rows_of(outcome.journal, "SELECT boot_id FROM boots")}
    taken_over = [
        TakenOver(*moment, settings)
        for at_s, settings in truth.settings[1:]
        if (moment := _boot_clock(outcome, at_s, written)) is not None
    ]
    for one in violations(outcome.journal, first, period_s, taken_over):
        detail = f"{one.detail} (row {one.seq})"
        yield Broken(OF_PROMISE.get(one.promise, 7), one.promise, one.chamber, 0.0, detail)


def _boot_clock(outcome: Outcome, at_s: float, written: set[str]) -> tuple[str, float] | None:
    """Return a moment on the clock of its boot; of one that left no row, the start of the next."""
    boots_s = outcome.truth.boots_s
    boot = max(number for number, began_s in enumerate(boots_s) if began_s <= at_s + 1e-6)
    for number in range(boot, len(boots_s)):
        if (named := f"simulated-{number + 1}") in written:
            return named, at_s - boots_s[number] if number == boot else 0.0
    return None


@dataclass(frozen=True, slots=True)
class _Row:
    at_s: float
    on: bool
    rule: str


def _as_the_relays(outcome: Outcome) -> Iterator[Broken]:
    """7: every change is in the journal, and none that did not happen."""
    truth = outcome.truth
    rows: dict[tuple[str, str], list[_Row]] = {}
    for row in rows_of(
        outcome.journal,
        "SELECT boot_id, mono_s, chamber, duty, is_on, reason_rule FROM output_changes "
        "JOIN boots USING (boot) WHERE certainty = 'observed' ORDER BY boot, seq",
    ):
        told = _Row(true_s(outcome, row), bool(row["is_on"]), row["reason_rule"] or "")
        rows.setdefault((row["chamber"], row["duty"]), []).append(told)
    lost = sum(
        row["lost_events"]
        for row in rows_of(outcome.journal, "SELECT lost_events FROM journal_incidents")
    )
    for chamber in sorted(outcome.world.rooms):
        for duty in Duty:
            happened = [
                one
                for one in truth.switchings
                if one.chamber == chamber and one.duty is duty and _in_life(outcome, one)
            ]
            told = rows.get((chamber, duty.value), [])
            yield from _compared(outcome, chamber, duty, happened, told, may_miss=lost > 0)


def _in_life(outcome: Outcome, one: Switching) -> bool:
    process = outcome.truth.processes[one.process]
    return process.started_s <= one.at_s + UNIT_S and (
        one.at_s <= process.ended_s + 1e-6 if process.how != "power" else one.at_s < process.ended_s
    )


def _compared(
    outcome: Outcome,
    chamber: str,
    duty: Duty,
    happened: Sequence[Switching],
    told: Sequence[_Row],
    *,
    may_miss: bool,
) -> Iterator[Broken]:
    left = list(happened)
    for row in told:
        found = [one for one in left if _is(one, row)]
        if found:
            left.remove(found[-1])
        else:
            detail = f"{duty} {'on' if row.on else 'off'} ({row.rule}) never happened"
            yield Broken(7, "nothing that did not happen", chamber, row.at_s, detail)
    for one in left:
        yield from _missed(outcome, one, may_miss)


def _is(one: Switching, row: _Row) -> bool:
    if one.on is not row.on:
        return False
    late_s = row.at_s - one.at_s
    if row.rule == Rule.LEASE_EXPIRED.value:
        return -SAME_S <= late_s <= LEASE_HEARD_S
    return abs(late_s) <= SAME_S


def _missed(outcome: Outcome, one: Switching, may_miss: bool) -> Iterator[Broken]:
    process = outcome.truth.processes[one.process]
    if may_miss or one.at_s > process.written_until_s - SAME_S:
        return
    if outcome.truth.may_have_lost(one.at_s - SAME_S, one.at_s + SAME_S):
        return
    if not one.on and _is_a_lease_nobody_heard_of(outcome, one):
        return
    detail = f"{one.duty} {'on' if one.on else 'off'} is not in it"
    yield Broken(7, "every change is in the journal", one.chamber, one.at_s, detail)


def _is_a_lease_nobody_heard_of(outcome: Outcome, one: Switching) -> bool:
    """The process hung when the relay let go, and ended before its next tick."""
    process = outcome.truth.processes[one.process]
    return bool(process.ticks_s) and one.at_s > process.ticks_s[1] and process.how != "stop"


_TABLE_OF = {
    "TargetChanged": "target_changes",
    "StepChanged": "step_changes",
    "ProfileChanged": "profile_changes",
    "AlarmChanged": "alarm_changes",
    "TrustChanged": "trust_changes",
    "CommandAnswered": "command_answers",
    "GapSeen": "gaps",
    "OutageSeen": "outages",
}


def _nothing_lost(outcome: Outcome) -> Iterator[Broken]:
    """7: what was committed, and no disk has torn since, is there when everything is over."""
    lost = sum(
        row["lost_events"]
        for row in rows_of(outcome.journal, "SELECT lost_events FROM journal_incidents")
    )
    for kind, table in _TABLE_OF.items():
        (row,) = rows_of(outcome.journal, f"SELECT count(*) AS there FROM {table}")  # noqa: S608 - constants
        missing = outcome.committed.get(kind, 0) - row["there"]
        if missing > lost:
            detail = f"{missing} of {table} are gone"
            yield Broken(7, "what is committed survives", "", outcome.end_s, detail)
