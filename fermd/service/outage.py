"""The time before this start: how long it was, how far the beer drifted, and what of it counts.

Told once for each chamber, as soon as the beer's temperature and the length are known. After a
power cut the length is known once the wall clock is set; who waits longer than `PATIENCE_S` for
either is told what is known by then.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from fermd.control.moment import Moment
from fermd.journal.ports import Outage

WORTH_AN_ALARM_S = 120.0
"""A shorter outage (a restart, an upgrade) is in the journal, but raises no alarm, s."""

PATIENCE_S = 600.0
"""How long to wait for the beer's temperature and the clock, s."""


@dataclass(frozen=True, slots=True)
class Known:
    """What is known of the outage of one chamber."""

    lasted_s: float | None
    beer_before_c: float | None
    beer_after_c: float | None

    @property
    def worth_an_alarm(self) -> bool:
        """Whether a person should be told."""
        return self.lasted_s is None or self.lasted_s >= WORTH_AN_ALARM_S


class OutageTeller:
    """What the journal knows of the time before this start."""

    def __init__(
        self, outage: Outage, boot_id: str, beer_c: Mapping[str, float], started: Moment
    ) -> None:
        self.cleanly = outage.ended_cleanly
        self._last = outage.last
        self._same_boot = outage.previous_boot_id == boot_id
        self._beer_c = dict(beer_c)
        self._started = started
        self._told: set[str] = set()

    def lasted_s(self, now: Moment) -> float | None:
        """How long nobody was in charge, s; None if that is not known, or there was nobody."""
        last, started = self._last, self._started
        if last is None:
            return None
        if self._same_boot:
            return max(0.0, started.mono_s - last.mono_s)
        if last.wall_trusted and now.wall_trusted:
            started_utc_s = now.wall_utc_s - (now.mono_s - started.mono_s)
            return max(0.0, started_utc_s - last.wall_utc_s)
        return None

    def tell(self, chamber: str, beer_c: float | None, now: Moment) -> Known | None:
        """Return what is known of a chamber's outage, once; None while there is nothing to tell."""
        if self._last is None or chamber in self._told:
            return None
        lasted_s = self.lasted_s(now)
        patience_over = now.mono_s - self._started.mono_s > PATIENCE_S
        if not patience_over and (beer_c is None or lasted_s is None):
            return None
        self._told.add(chamber)
        return Known(lasted_s, self._beer_c.get(chamber), beer_c)
