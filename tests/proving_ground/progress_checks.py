"""8: a profile goes on where it was after every restart, and outages are told."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

from journal_checks import rows_of, true_s
from step_checks import broken_steps, clock_was_wrong_by_s
from truth import Broken, Process, Standing
from world_run import Outcome

from fermd.control.settings import DAY_S

AT_RISK_S = 600.0
"""So much of a step's own clock may be lost with the power, and no more, s."""

TOLD_WITHIN_S = 600.0
"""An outage is told once the beer and the clock are known, or after this, s."""


def broken_progress(outcome: Outcome) -> list[Broken]:
    """Return every step that was repeated, skipped or cut short, and every outage left untold."""
    found = [*_over_restarts(outcome), *_outages(outcome)]
    for chamber in sorted(outcome.world.rooms):
        found.extend(broken_steps(outcome, chamber))
    return found


def _over_restarts(outcome: Outcome) -> Iterator[Broken]:
    """The next process goes on from where the one before was."""
    truth = outcome.truth
    for chamber, standings in truth.standings.items():
        furthest_s = float("-inf")
        for last, first in pairwise(standings):
            if not _is_same_step(last, first):
                furthest_s = float("-inf")
            # What a restart puts at risk may be counted again by a later one, as an outage.
            furthest_s = max(furthest_s, last.elapsed_s - last.at_s)
            if last.process == first.process or last.commands != first.commands:
                continue
            before = truth.processes[last.process]
            if not _was_written(before, last) or truth.may_have_lost(last.at_s - 1.0, first.at_s):
                continue
            yield from _goes_on(chamber, last, first, furthest_s)


def _was_written(process: Process, last: Standing) -> bool:
    """Whether the disk had everything that had happened by then."""
    return process.written_until_s >= last.at_s - 1.0


def _is_same_step(last: Standing, first: Standing) -> bool:
    return (last.profile, last.index, last.commands, last.paused) == (
        first.profile,
        first.index,
        first.commands,
        first.paused,
    )


def _goes_on(chamber: str, last: Standing, first: Standing, furthest_s: float) -> Iterator[Broken]:
    if last.profile is None:
        return
    at_s = first.at_s
    if first.profile != last.profile:
        detail = f"{last.profile} is {first.profile} after a restart"
        yield Broken(8, "a profile survives a restart", chamber, at_s, detail)
    elif first.index < last.index:
        detail = f"step {first.index} again, it was {last.index}"
        yield Broken(8, "no step repeated", chamber, at_s, detail)
    elif first.index == last.index and first.elapsed_s < last.elapsed_s - AT_RISK_S - 120.0:
        lost_s = last.elapsed_s - first.elapsed_s
        detail = f"{lost_s:.0f} s of step {last.index} are lost"
        yield Broken(8, "no step repeated", chamber, at_s, detail)
    elif first.index == last.index and not last.paused:
        too_much_s = first.elapsed_s - at_s - furthest_s
        if too_much_s > 120.0:
            detail = f"{too_much_s:.0f} s of step {last.index} counted that never passed"
            yield Broken(8, "no step shortened", chamber, at_s, detail)


def _outages(outcome: Outcome) -> Iterator[Broken]:
    """Every restart is told of, with its length where that can be known."""
    told = rows_of(
        outcome.journal,
        "SELECT boot_id, mono_s, chamber, lasted_s FROM outages JOIN boots USING (boot)",
    )
    at_s_of = sorted((true_s(outcome, row), row["chamber"], row["lasted_s"]) for row in told)
    processes = outcome.truth.processes
    untold_since_s: float | None = None
    for before, process in pairwise(processes):
        if not before.ticks_s:
            continue
        known_s = min(before.ticks_s[1], before.written_until_s)
        untold_since_s = known_s if untold_since_s is None else min(untold_since_s, known_s)
        lived_s = min(process.written_until_s, process.ended_s) - process.started_s
        if lived_s < TOLD_WITHIN_S + 200.0:
            continue
        for chamber in outcome.world.rooms:
            near = [
                lasted_s
                for at_s, where, lasted_s in at_s_of
                if where == chamber and process.started_s <= at_s <= process.ended_s
            ]
            if not near and not outcome.truth.may_have_lost(process.started_s, process.ended_s):
                detail = f"nothing of the time before day {_day(outcome, process.started_s)}"
                yield Broken(8, "an outage is told", chamber, process.started_s, detail)
            yield from _length(outcome, chamber, process, near, untold_since_s)
        untold_since_s = None


def _length(
    outcome: Outcome,
    chamber: str,
    process: Process,
    told_s: list[float | None],
    since_s: float,
) -> Iterator[Broken]:
    """No outage is told to be longer than the time since somebody was in charge."""
    most_s = process.started_s - since_s + 660.0
    most_s += clock_was_wrong_by_s(outcome, since_s - DAY_S, process.ended_s)
    for lasted_s in told_s:
        if lasted_s is not None and lasted_s > most_s + 1e-4 * most_s:
            detail = f"{lasted_s:.0f} s told, at most {most_s:.0f} s were"
            yield Broken(8, "an outage is told", chamber, process.started_s, detail)


def _day(outcome: Outcome, at_s: float) -> str:
    return f"{(at_s - outcome.world.start_utc_s) / DAY_S:.3f}"
