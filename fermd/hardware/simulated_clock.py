"""A clock that the simulation owns: as fast as the machine, or at a pace; right, wrong or stepped.

Three times are kept apart. True time goes on through everything and is what the simulated plant
lives in. The monotonic clock is true time since the last (simulated) start of the board. The wall
clock is what the board takes for the time of day: true time, off by what it was stepped and has
drifted.

Without a pace, waiting takes no time at all: a year passes as fast as it is computed. With one, a
wait takes as long as it would by a clock so many times faster than the real one. Either way time
passes in waits alone: a machine that is too slow for its pace lengthens the batch, and is not a
control loop that comes too late. So the same run gives the same times, whatever the pace.
"""

from __future__ import annotations

import heapq
import itertools
import os
import select
import time
from collections.abc import Callable
from typing import Final

from fermd.control.moment import Moment

_NOON_UTC_S: Final = 1_767_268_800.0
"""A start for those who do not care: 2026-01-01 12:00 UTC."""

SHORTEST_SLEEP_S: Final = 0.002
"""Less than this, s of real time, is not slept but owed: poll() counts whole milliseconds, and a
batch of a month in two minutes has waits of half of one."""

LONGEST_ARREARS_S: Final = 1.0
"""So much of a delay, s of real time, is made up for by waiting less; the rest is let go."""


class SimulatedClock:
    """A `Clock`. Waits of one thread; `wake()` may come from anywhere.

    >>> clock = SimulatedClock()
    >>> clock.wait_until(3600.0)
    False
    >>> clock.now().mono_s
    3600.0
    """

    def __init__(
        self,
        start_utc_s: float = _NOON_UTC_S,
        *,
        times_real_time: float | None = None,
        drift_ppm: float = 0.0,
        wall_trusted: bool = True,
    ) -> None:
        """Start at a true time.

        `times_real_time`: the pace, above 0; None is as fast as can be. `drift_ppm`: the wall clock
        gains so many millionths (a board's crystal: up to 100).
        """
        if times_real_time is not None and not times_real_time > 0:
            raise ValueError(f"times_real_time = {times_real_time}: must be above 0")
        self._pace = times_real_time
        self._reached_true_s = start_utc_s
        """How far time has come; in a wait, where it began."""
        self._wait: tuple[float, float] | None = None
        """With a pace, while somebody waits: since which true time, and to which."""
        self._due_real_s = time.monotonic()
        """When `_reached_true_s` is due by the pace."""
        self._booted_true_s = start_utc_s
        self._boots = 1
        self._drift = drift_ppm * 1e-6
        self._wall_offset_s = -start_utc_s * self._drift
        self._wall_trusted = wall_trusted
        self._due: list[tuple[float, int, Callable[[], None]]] = []
        self._order = itertools.count()
        self._woken = False
        self._present: Moment | None = None
        """What `now()` gave last; good until time passes or the wall clock is set."""
        self._wake_fd = -1
        if self._pace is not None:
            self._wake_fd = os.eventfd(0, os.EFD_CLOEXEC | os.EFD_NONBLOCK)

    def now(self) -> Moment:
        """Return the present on both clocks."""
        true_s, present = self.true_utc_s, self._present
        mono_s = true_s - self._booted_true_s
        if present is None or present.mono_s != mono_s:
            wall_utc_s = true_s * (1.0 + self._drift) + self._wall_offset_s
            present = self._present = Moment(mono_s, wall_utc_s, self._wall_trusted)
        return present

    @property
    def true_utc_s(self) -> float:
        """The true time, which the board does not know."""
        wait = self._wait
        if wait is None or self._pace is None:
            return self._reached_true_s
        from_s, to_s = wait
        left_s = self._pace * (self._due_real_s - time.monotonic())
        return max(from_s, min(to_s, to_s - left_s))

    def true_at(self, mono_s: float) -> float:
        """Return the true time at a reading of the monotonic clock in this run of the board."""
        return self._booted_true_s + mono_s

    def boot_id(self) -> str:
        """Return the name of this run of the board."""
        return f"simulated-{self._boots}"

    def vouch_for_wall(self, is_set: bool) -> None:
        """Say whether the wall clock is known to be set."""
        self._wall_trusted = is_set
        self._present = None

    def wait_until(self, mono_s: float) -> bool:
        """Wait until then; True if woken early by `wake()`, which is thereby used up."""
        until_s = self.true_at(mono_s)
        while True:
            due_s = min(until_s, self._due[0][0]) if self._due else until_s
            if self._sleep(due_s):
                return True
            if self._due and self._due[0][0] <= self.true_utc_s:
                heapq.heappop(self._due)[2]()
            elif self.true_utc_s >= until_s:
                return False

    def wake(self) -> None:
        """End the present (or next) wait now; takes no lock, so a signal handler may call it."""
        self._woken = True
        if self._wake_fd >= 0:
            os.eventfd_write(self._wake_fd, 1)

    def close(self) -> None:
        """Give back what a clock with a pace holds of the system."""
        wake_fd, self._wake_fd = self._wake_fd, -1
        if wake_fd >= 0:
            os.close(wake_fd)

    def after(self, delay_s: float, action: Callable[[], None]) -> None:
        """Let something happen in the world so much later, in the middle of whatever wait is on."""
        heapq.heappush(self._due, (self.true_utc_s + delay_s, next(self._order), action))

    def step_wall(self, by_s: float) -> None:
        """Set the wall clock forward (or, below 0, back) by so much."""
        self._wall_offset_s += by_s
        self._present = None

    def power_cut(self, lasted_s: float, *, wall_survives: bool = False) -> None:
        """Let the board be without power for so long, and start again.

        Boards without a battery clock come back with the time of the cut, not to be trusted.
        """
        wall_s = self.now().wall_utc_s
        self._reached_true_s = self.true_utc_s + lasted_s
        self._booted_true_s = self._reached_true_s
        self._boots += 1
        self._present = None
        if not wall_survives:
            self._wall_offset_s += wall_s - self.now().wall_utc_s
            self._wall_trusted = False
            self._present = None

    def _sleep(self, until_true_s: float) -> bool:
        """Sleep until a true time; True if woken before it."""
        if self._pace is not None:
            self._sleep_at_pace(until_true_s, self._pace)
        elif not self._woken:
            self._reached_true_s = max(self._reached_true_s, until_true_s)
        woken, self._woken = self._woken, False
        return woken

    def _sleep_at_pace(self, until_true_s: float, pace: float) -> None:
        now_true_s, now_real_s = self._reached_true_s, time.monotonic()
        until_true_s = max(now_true_s, until_true_s)
        due_real_s = max(self._due_real_s, now_real_s - LONGEST_ARREARS_S)
        self._due_real_s = due_real_s + (until_true_s - now_true_s) / pace
        self._wait = (now_true_s, until_true_s)
        left_s = self._due_real_s - now_real_s
        poll = select.poll()
        if self._wake_fd >= 0:
            poll.register(self._wake_fd, select.POLLIN)
        if poll.poll(left_s * 1000.0 if left_s >= SHORTEST_SLEEP_S else 0):
            os.eventfd_read(self._wake_fd)
            self._woken = True
            until_true_s = self.true_utc_s
        # In this order: whoever asks from another thread must not see time jump to and fro.
        self._reached_true_s = until_true_s
        self._wait = None
        if self._woken:
            self._due_real_s = time.monotonic()
