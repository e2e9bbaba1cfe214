"""8: a profile's steps, as the journal tells them: in order, none twice, none cut short.

How long a step has to last is worked out from the plan that was started and from what was asked
since: a ramp by the distance from where the step before left the target, a hold and a soak by their
time, longer or shorter where that was asked. Once somebody has changed the rest of a profile its
plan is not known here any more; whatever a torn disk may have taken, nothing is concluded from.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterator
from typing import Any

from journal_checks import rows_of, true_s
from truth import Broken
from world_run import Outcome

from fermd.control import commands
from fermd.control.settings import DAY_S
from fermd.control.steps import FreeRise, Hold, Profile, Ramp, Soak, leaves_c

LEFT_OVER_S = 300.0
"""What a step leaves over is the next one's: never more than the longest tick, s."""

ASKED_WITHIN_S = 200.0
"""A command is answered by the next tick, three sample periods later at most, s."""

_MOVES = commands.GoToStep | commands.ReturnToPlan


def broken_steps(outcome: Outcome, chamber: str) -> Iterator[Broken]:
    """Follow the steps of one chamber."""
    asked = [(at_s, what) for at_s, where, what in outcome.truth.asked if where == chamber]
    steps = _Steps(outcome, chamber, asked)
    last_s = float("-inf")
    for row in _rows(outcome, chamber):
        at_s = true_s(outcome, row)
        if outcome.truth.may_have_lost(last_s, at_s):
            steps.lose_track()
        last_s = at_s
        if row["what"] == "profile":
            yield from steps.profile_row(row, at_s)
        else:
            yield from steps.step_row(row, at_s)


class _Steps:
    """Where a profile stands, row by row."""

    def __init__(self, outcome: Outcome, chamber: str, asked: list[tuple[float, Any]]) -> None:
        self._outcome, self._chamber, self._asked = outcome, chamber, asked
        self._asked_s = [at_s for at_s, _ in asked]
        self._plans = {
            command.profile.name: command.profile
            for _, command in asked
            if isinstance(command, commands.StartProfile | commands.PlanStart)
        }
        self.lose_track()

    def lose_track(self) -> None:
        """Rows may be missing: nothing is known until the next one."""
        self._plan: Profile | None = None
        self._index: int | None = None
        self._entered_s = float("-inf")
        self._least_s = 0.0
        self._leaves_c: float | None = None
        """The target that the step before has left by plan, °C."""

    def profile_row(self, row: dict[str, Any], at_s: float) -> Iterator[Broken]:
        """A profile was started, or is over."""
        if row["change"] == "started":
            self.lose_track()
            self._plan, self._index = self._plans.get(row["profile"]), -1
            return
        if row["change"] != "finished" or self._plan is None or self._index is None:
            return
        if self._index != len(self._plan.steps) - 1:
            detail = f"{self._plan.name} finished after step {self._index}"
            yield self._broken("no step skipped", at_s, detail)

    def step_row(self, row: dict[str, Any], at_s: float) -> Iterator[Broken]:
        """Something became of a step."""
        index = row["step_index"]
        match row["change"]:
            case "entered":
                yield from self._enters(index, at_s)
            case "ended" | "skipped" | "confirmed" as how:
                if how == "ended" and index == self._index:
                    yield from self._lasted(at_s)
                self._leaves(index, how)
            case "extended":
                self._least_s += sum(one.by_s for one in self._near(at_s, commands.ExtendStep))
            case "changed":
                # Its steps are others now, or it is somewhere else in them.
                self._plan, self._index, self._least_s = None, index, 0.0

    def _enters(self, index: int, at_s: float) -> Iterator[Broken]:
        moved = bool(self._near(at_s, _MOVES))
        if self._index is not None and index != self._index + 1 and not moved:
            promise = "no step repeated" if index <= self._index else "no step skipped"
            yield self._broken(promise, at_s, f"step {index} entered after {self._index}")
        entry_c = None if moved else self._leaves_c
        self._index, self._entered_s, self._least_s = index, at_s, 0.0
        if self._plan is not None and index < len(self._plan.steps):
            step = self._plan.steps[index]
            if isinstance(step, Hold | Soak):
                self._least_s = step.for_s
            elif isinstance(step, Ramp) and entry_c is not None:
                self._least_s = abs(step.to_c - entry_c) / step.rate_c_per_day * DAY_S

    def _leaves(self, index: int, how: str) -> None:
        self._leaves_c = None
        if how != "skipped" and self._plan is not None and index < len(self._plan.steps):
            step = self._plan.steps[index]
            # A free rise is over wherever the beer has come to.
            if not isinstance(step, FreeRise):
                self._leaves_c = leaves_c(step)

    def _lasted(self, at_s: float) -> Iterator[Broken]:
        lasted_s = at_s - self._entered_s
        wrong_s = clock_was_wrong_by_s(self._outcome, self._entered_s, at_s)
        if lasted_s < self._least_s - LEFT_OVER_S - wrong_s:
            detail = f"step {self._index} ended after {lasted_s:.0f} s, not {self._least_s:.0f} s"
            yield self._broken("no step shortened", at_s, detail)

    def _near(self, at_s: float, kind: Any) -> list[Any]:
        """The commands of a kind that may be answered by a row of this time."""
        first = bisect_left(self._asked_s, at_s - ASKED_WITHIN_S)
        last = bisect_right(self._asked_s, at_s + 1.0)
        return [command for _, command in self._asked[first:last] if isinstance(command, kind)]

    def _broken(self, promise: str, at_s: float, detail: str) -> Broken:
        return Broken(8, promise, self._chamber, at_s, detail)


def clock_was_wrong_by_s(outcome: Outcome, from_s: float, to_s: float) -> float:
    """How far a clock that was said to be set can have misled who measured an outage by it."""
    wrong = outcome.truth.wall_wrong_s
    place = bisect_left([at_s for at_s, _ in wrong], from_s)
    seen = [0.0, *(by_s for at_s, by_s in wrong[max(0, place - 1) :] if at_s <= to_s)]
    return max(seen) - min(seen)


def _rows(outcome: Outcome, chamber: str) -> list[dict[str, Any]]:
    return rows_of(
        outcome.journal,
        "SELECT * FROM (SELECT 'step' AS what, boot, boot_id, mono_s, seq, profile, step_index, "  # noqa: S608
        "change, elapsed_s FROM step_changes JOIN boots USING (boot) "
        f"WHERE chamber = '{chamber}' UNION ALL SELECT 'profile', boot, boot_id, mono_s, seq, "
        "profile, NULL, change, NULL FROM profile_changes JOIN boots USING (boot) "
        f"WHERE chamber = '{chamber}') ORDER BY boot, seq",
    )
