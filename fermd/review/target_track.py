"""The target of a chamber over time, as the journal's rows tell it.

A target stands until the next change of it; while a ramp runs it moves in a straight line from
the change at (or before) its start to the change at its end, which is told by the target of the
step after it. A ramp that was skipped, left by a target set by hand, followed by a free rise, or is
not over yet has no row of where it had come to: there the target is not known.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from operator import attrgetter
from typing import Any

from sqlite_utils import Database

from fermd.control.command_words import command_words
from fermd.control.commands import PauseProfile, StopProfile
from fermd.review.time_axis import TimeAxis


@dataclass(frozen=True, slots=True)
class Corner:
    """A point of the target's track; between two corners it is constant, or a straight ramp."""

    at_s: float
    heat_c: float | None
    cool_c: float | None
    """None: no target, or one that is not known."""


_at_s = attrgetter("at_s")
"""Asked some 160,000 times in a review: no function of Python's."""


def target_at(track: Sequence[Corner], at_s: float) -> tuple[float, float] | None:
    """Return the target at a moment as (heat, cool), °C; None if there was none."""
    after = bisect_right(track, at_s, key=_at_s)
    if after == 0:
        return None
    before = track[after - 1]
    if before.heat_c is None or before.cool_c is None:
        return None
    if after == len(track):
        return before.heat_c, before.cool_c
    following = track[after]
    if following.heat_c is None or following.cool_c is None:
        return before.heat_c, before.cool_c
    share = (at_s - before.at_s) / max(1e-9, following.at_s - before.at_s)
    return (
        before.heat_c + share * (following.heat_c - before.heat_c),
        before.cool_c + share * (following.cool_c - before.cool_c),
    )


def inside(track: Sequence[Corner], start_s: float, end_s: float) -> list[Corner]:
    """Return the corners of a span; what comes at its very end is what comes after it."""
    return [corner for corner in track if start_s <= corner.at_s < end_s]


def cut(track: Sequence[Corner], start_s: float, end_s: float) -> tuple[Corner, ...]:
    """Return the part of a track that lies in a span, from its one edge to the other."""
    edges = [
        Corner(edge_s, *(target_at(track, at_s) or (None, None)))
        for edge_s, at_s in ((start_s, start_s), (end_s, end_s - 0.5))
    ]
    return (edges[0], *inside(track, start_s, end_s), edges[1])


def read_target(db: Database, chamber: str, axis: TimeAxis) -> tuple[Corner, ...]:
    """Read the track of one chamber's target."""
    track = _Track()
    for row in db.query(_ROWS, {"chamber": chamber}):
        at_s = axis.at_s(row)
        if row["what"] == "target":
            track.target(at_s, row)
        elif row["what"] == "step":
            track.step(at_s, row["step_kind"] == "ramp", row["change"])
        elif row["change"] in _STAYS_WHERE_IT_IS:
            track.kept_at_s = at_s
    return track.end()


_STAYS_WHERE_IT_IS = {command_words(PauseProfile()), command_words(StopProfile())}
"""Commands that hold the target where a ramp has come to."""

_ROWS = """
    SELECT seq, boot, mono_s, 'target' AS what, NULL AS change, NULL AS step_kind,
        heat_c, cool_c, source
    FROM target_changes WHERE chamber = :chamber
    UNION ALL
    SELECT seq, boot, mono_s, 'step', change, step_kind, NULL, NULL, NULL
    FROM step_changes WHERE chamber = :chamber AND change IN ('entered', 'ended', 'skipped')
    UNION ALL
    SELECT seq, boot, mono_s, 'command', command, NULL, NULL, NULL, NULL
    FROM command_answers WHERE chamber = :chamber AND taken = 1
    ORDER BY seq"""


class _Track:
    """Builds the corners, row by row."""

    def __init__(self) -> None:
        self.corners: list[Corner] = []
        self.kept_at_s: float | None = None
        """When somebody last held the target where it was."""
        self._in_ramp = False
        self._left_at_s: float | None = None
        """When a ramp was last left before its end."""
        self._entered_s: float | None = None
        """When the newest ramp began, until the next change of the target."""
        self._line_from_s: float | None = None
        """Since when a ramp moves the target."""

    def step(self, at_s: float, is_ramp: bool, change: str) -> None:
        """Take note of a step that begins or ends; its target, if it differs, comes after."""
        if self._in_ramp and change != "ended":
            self._left_at_s = at_s
        self._in_ramp = is_ramp and change == "entered"
        if self._in_ramp:
            if self._entered_s is not None:
                self._line_from_s = self._entered_s
            self._entered_s = at_s

    def target(self, at_s: float, row: dict[str, Any]) -> None:
        """Take a change of the target."""
        from_s = self._line_begins(at_s)
        by_profile = row["source"] == "profile"
        is_known = self._left_at_s != at_s if by_profile else self.kept_at_s == at_s
        # A ramp ends at one temperature; a free rise after it begins with two.
        is_known = is_known and row["heat_c"] == row["cool_c"]
        if from_s is None or is_known:
            self._stand_until(at_s if from_s is None else from_s)
        else:
            self._unknown_from(from_s, at_s)
        self.corners.append(Corner(at_s, row["heat_c"], row["cool_c"]))
        moves = self._in_ramp and by_profile
        self._line_from_s, self._entered_s = at_s if moves else None, None

    def end(self) -> tuple[Corner, ...]:
        """Return the track."""
        from_s = self._line_begins(float("inf"))
        if self._in_ramp and from_s is not None:
            self._unknown_from(from_s, from_s)
        return tuple(self.corners)

    def _line_begins(self, at_s: float) -> float | None:
        # A ramp that began without a change of the target begins at what was the target before.
        if self._entered_s is not None and self._entered_s < at_s:
            return self._entered_s
        return self._line_from_s

    def _stand_until(self, at_s: float) -> None:
        if self.corners and at_s > self.corners[-1].at_s:
            last = self.corners[-1]
            self.corners.append(Corner(at_s, last.heat_c, last.cool_c))

    def _unknown_from(self, from_s: float, to_s: float) -> None:
        self._stand_until(from_s)
        self.corners += [Corner(from_s, None, None), Corner(to_s, None, None)]
