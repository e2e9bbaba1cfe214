"""What protection remembers of a chamber's outputs, for many courses of events at once.

The same rules as `fermd.control.protection`, kept as numbers so that thousands of nodes of a search
can be asked in one go. They share no code: a sequence found under these rules is run behind the
real protection afterwards, which must have nothing to say against it.
"""

from __future__ import annotations

from typing import Any, Final

import numpy as np
from block_plant import Action
from numpy.typing import NDArray

from fermd.control.settings import HOUR_S, ChamberSettings, Duty, ProtectionSettings

Book = NDArray[np.int64]
"""One row a node, in whole seconds: what runs, since when, from when each output may start, and the
starts of the last hour."""

_RUNS, _SINCE, _FREE_COOL, _FREE_HEAT, _STARTS = range(5)
_FREE: Final = {Action.COOL: _FREE_COOL, Action.HEAT: _FREE_HEAT}
_OTHER: Final = {Action.COOL: Action.HEAT, Action.HEAT: Action.COOL}
ALIKE_S: Final = 300
"""Locks that end within the same steps of this, s, are taken as alike: beer takes longer."""

_LONG_AGO: Final = -1_000_000


class Locks:
    """The locks of one chamber's heating and cooling."""

    def __init__(self, settings: ChamberSettings, block_s: float) -> None:
        """`block_s`: the time between two decisions, s."""
        by_duty = settings.by_duty
        self._block_s = round(block_s)
        self.alike_s = max(self._block_s, ALIKE_S)
        self._changeover_s = settings.changeover_s
        self._by_action = {
            action: by_duty[duty].protection
            for action, duty in ((Action.COOL, Duty.COOL), (Action.HEAT, Duty.HEAT))
            if duty in by_duty
        }
        self.actions: tuple[Action, ...] = (Action.OFF, *self._by_action)
        """What can be done at all."""
        self._places: dict[Action, tuple[int, int]] = {}
        width = _STARTS
        for action, protection in self._by_action.items():
            self._places[action] = (width, width + protection.starts_per_hour)
            width += protection.starts_per_hour
        self._width = width

    def fresh(self) -> Book:
        """Return the book of one node whose outputs have been off for long."""
        book = np.full((1, self._width), _LONG_AGO, dtype=np.int64)
        book[0, _RUNS] = Action.OFF
        return book

    def runs(self, book: Book, action: Action) -> NDArray[np.bool_]:
        """Tell in which nodes this runs."""
        return np.asarray(book[:, _RUNS] == action)

    def may(self, book: Book, action: Action, now_s: float) -> NDArray[np.bool_]:
        """Tell in which nodes this may run (or nothing may) for the block that begins now."""
        runs, ran_s = book[:, _RUNS], now_s - book[:, _SINCE]
        if action is Action.OFF:
            may = runs == Action.OFF
            for other, protection in self._by_action.items():
                may |= (runs == other) & (ran_s >= protection.minimum_run_s)
            return np.asarray(may)
        # A run is ended before it has lasted its longest: then no rest is due.
        longest_s = self._by_action[action].longest_run_s
        goes_on = (runs == action) & (ran_s + self._block_s < longest_s)
        return np.asarray(goes_on | ((runs == Action.OFF) & (book[:, _FREE[action]] <= now_s)))

    def follow(self, book: Book, action: Action, now_s: float) -> tuple[Book, NDArray[np.bool_]]:
        """Return the book after a decision, and where something was started by it."""
        later, at_s = book.copy(), round(now_s)
        before = book[:, _RUNS]
        changed = before != action
        later[changed, _RUNS] = action
        later[changed, _SINCE] = at_s
        if action is Action.OFF:
            for stopped, protection in self._by_action.items():
                self._stop(later, before == stopped, stopped, protection, at_s)
            return later, np.zeros(changed.shape, dtype=bool)
        if changed.any():
            self._start(later, changed, action, at_s)
        return later, changed

    def label(self, book: Book, at_s: float) -> Book:
        """Return a number that is the same for nodes that are locked alike."""
        runs, ran_s = book[:, _RUNS], at_s - book[:, _SINCE]
        label = runs.copy()
        for action, protection in self._by_action.items():
            on = runs == action
            run_left = np.where(on, self._blocks(protection.minimum_run_s - ran_s), 0)
            long = np.where(on, ran_s * 8 // protection.longest_run_s, 0).astype(np.int64)
            # Of one that runs, only a lock that will outlast its minimum off time counts.
            soon_s = np.where(on, protection.minimum_off_s, 0)
            locked = self._blocks(book[:, _FREE[action]] - at_s - soon_s)
            label = ((label * 64 + run_left) * 8 + np.minimum(long, 7)) * 64 + locked
        return label

    def _blocks(self, left_s: NDArray[Any]) -> Book:
        return np.clip(np.ceil(left_s / self.alike_s), 0, 63).astype(np.int64)

    def _stop(
        self,
        book: Book,
        who: NDArray[np.bool_],
        action: Action,
        protection: ProtectionSettings,
        at_s: int,
    ) -> None:
        if not who.any():
            return
        own, other = _FREE[action], _OTHER[action]
        book[who, own] = np.maximum(book[who, own], at_s + round(protection.minimum_off_s))
        if other in self._by_action:
            place = _FREE[other]
            book[who, place] = np.maximum(book[who, place], at_s + round(self._changeover_s))

    def _start(self, book: Book, who: NDArray[np.bool_], action: Action, at_s: int) -> None:
        protection = self._by_action[action]
        apart_s = round(protection.minimum_off_s + protection.minimum_run_s)
        free = np.full(int(who.sum()), at_s + apart_s, dtype=np.int64)
        first, end = self._places[action]
        if first < end:
            rows = book[who]
            rows[:, first : end - 1] = rows[:, first + 1 : end]
            rows[:, end - 1] = at_s
            # One more fits into the hour when the oldest that is remembered has left it.
            free = np.maximum(free, rows[:, first] + round(HOUR_S))
            book[who] = rows
        own = _FREE[action]
        book[who, own] = np.maximum(book[who, own], free)
