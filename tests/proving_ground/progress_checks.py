"""8: steps come in order, none twice, each for as long as it should; outages are told."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterator
from itertools import pairwise
from typing import Any

from journal_checks import rows_of, true_s
from run import Outcome
from truth import Broken, Process, Standing

from fermd.control import commands
from fermd.control.settings import DAY_S
from fermd.control.steps import Hold, Profile, Soak, Step

LEFT_OVER_S = 300.0
"""What a step leaves over is the next one's: never more than the longest tick, s."""

AT_RISK_S = 600.0
"""So much of a step's own clock may be lost with the power, and no more, s."""

TOLD_WITHIN_S = 600.0
"""An outage is told once the beer and the clock are known, or after this, s."""

_MOVES = (
    commands.GoToStep,
    commands.ReturnToPlan,
    commands.ChangeRest,
    commands.ChangeStepTarget,
    commands.ExtendStep,
)


def broken_progress(outcome: Outcome) -> list[Broken]:
    """Return every step that was repeated, skipped or cut short, and every outage left untold."""
    found = [*_over_restarts(outcome), *_outages(outcome)]
    if not outcome.truth.set_aside:
        for chamber in sorted(outcome.world.rooms):
            found.extend(_steps(outcome, chamber))
    return found


def _over_restarts(outcome: Outcome) -> Iterator[Broken]:
    """The next process goes on from where the one before was."""
    truth = outcome.truth
    for chamber, standings in truth.standings.items():
        for last, first in pairwise(standings):
            if last.process == first.process or last.commands != first.commands:
                continue
            before, after = truth.processes[last.process], truth.processes[first.process]
            if not _was_written(before, last) or before.written_until_s == float("-inf"):
                continue
            if truth.set_aside and last.profile != first.profile:
                continue
            yield from _goes_on(chamber, last, first, after)


def _was_written(process: Process, last: Standing) -> bool:
    """Whether the disk had everything that had happened by then."""
    return process.written_until_s >= last.at_s - 1.0


def _goes_on(chamber: str, last: Standing, first: Standing, after: Process) -> Iterator[Broken]:
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
        gained_s = first.elapsed_s - last.elapsed_s
        passed_s = at_s - last.at_s
        if gained_s > passed_s + 120.0:
            detail = f"{gained_s:.0f} s of step {last.index} counted, {passed_s:.0f} s passed"
            yield Broken(8, "no step shortened", chamber, at_s, detail)


def _steps(outcome: Outcome, chamber: str) -> Iterator[Broken]:
    """Follow the journal's steps."""
    profiles = _profiles(outcome)
    asked_s = [
        at_s
        for at_s, where, command in outcome.truth.asked
        if where == chamber and isinstance(command, _MOVES)
    ]
    index, entered_s, between, profile = -1, float("-inf"), True, ""
    touched = False
    for row in _rows(outcome, chamber):
        at_s, change = true_s(outcome, row), row["change"]
        if row["what"] == "profile":
            if change == "started":
                index, between, profile = -1, True, row["profile"]
            elif change == "finished":
                steps = profiles.get(profile)
                if steps is not None and index != len(steps.steps) - 1 and not touched:
                    detail = f"{profile} finished after step {index} of {len(steps.steps)}"
                    yield Broken(8, "no step skipped", chamber, at_s, detail)
            continue
        moved = _asked_near(asked_s, at_s)
        touched = touched or moved or change in ("extended", "changed")
        if change == "entered":
            if row["step_index"] != index + 1 and not moved:
                promise = "no step repeated" if row["step_index"] <= index else "no step skipped"
                detail = f"step {row['step_index']} entered after {index}"
                yield Broken(8, promise, chamber, at_s, detail)
            index, entered_s, between, touched = row["step_index"], at_s, False, moved
        elif change in ("ended", "skipped", "confirmed"):
            if change == "ended" and not touched and row["step_index"] == index:
                steps = profiles.get(profile)
                if steps is not None:
                    yield from _lasted(outcome, chamber, steps, index, entered_s, at_s)
            index, between = row["step_index"], True
    del between


def _lasted(
    outcome: Outcome, chamber: str, profile: Profile, index: int, entered_s: float, ended_s: float
) -> Iterator[Broken]:
    least_s = _least_s(profile, index)
    wrong_s = _clock_was_wrong_by_s(outcome, entered_s, ended_s)
    if ended_s - entered_s < least_s - LEFT_OVER_S - wrong_s:
        detail = f"step {index} ended after {ended_s - entered_s:.0f} s, planned {least_s:.0f} s"
        yield Broken(8, "no step shortened", chamber, ended_s, detail)


def _least_s(profile: Profile, index: int) -> float:
    if index >= len(profile.steps):
        return 0.0
    step: Step = profile.steps[index]
    match step:
        case Hold() | Soak():
            return step.for_s
        case _:
            return 0.0


def _clock_was_wrong_by_s(outcome: Outcome, from_s: float, to_s: float) -> float:
    """How far a clock that was said to be set can have misled who measured an outage by it."""
    wrong = outcome.truth.wall_wrong_s
    place = bisect_left([at_s for at_s, _ in wrong], from_s)
    seen = [0.0, *(by_s for at_s, by_s in wrong[max(0, place - 1) :] if at_s <= to_s)]
    return max(seen) - min(seen)


def _profiles(outcome: Outcome) -> dict[str, Profile]:
    """By their names, the profiles that were started as they are."""
    found: dict[str, Profile] = {}
    for _, _, command in outcome.truth.asked:
        if isinstance(command, commands.StartProfile | commands.PlanStart):
            found[command.profile.name] = command.profile
    return found


def _asked_near(asked_s: list[float], at_s: float) -> bool:
    place = bisect_right(asked_s, at_s + 1.0)
    return place > 0 and at_s - asked_s[place - 1] < 200.0


def _rows(outcome: Outcome, chamber: str) -> list[dict[str, Any]]:
    return rows_of(
        outcome.journal,
        "SELECT * FROM (SELECT 'step' AS what, boot, boot_id, mono_s, seq, profile, step_index, "  # noqa: S608
        "change, elapsed_s FROM step_changes JOIN boots USING (boot) "
        f"WHERE chamber = '{chamber}' UNION ALL SELECT 'profile', boot, boot_id, mono_s, seq, "
        "profile, NULL, change, NULL FROM profile_changes JOIN boots USING (boot) "
        f"WHERE chamber = '{chamber}') ORDER BY boot, seq",
    )


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
            if not near and not outcome.truth.set_aside:
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
    most_s += _clock_was_wrong_by_s(outcome, since_s - DAY_S, process.ended_s)
    for lasted_s in told_s:
        if lasted_s is not None and lasted_s > most_s + 1e-4 * most_s:
            detail = f"{lasted_s:.0f} s told, at most {most_s:.0f} s were"
            yield Broken(8, "an outage is told", chamber, process.started_s, detail)


def _day(outcome: Outcome, at_s: float) -> str:
    return f"{(at_s - outcome.world.start_utc_s) / DAY_S:.3f}"
