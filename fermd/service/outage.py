"""The time before this start: how long it was, how far the beer drifted, and what of it counts.

Told once for each chamber, as soon as the beer's temperature and the length are known. After a
power cut the length is known once the wall clock is set; who waits longer than `PATIENCE_S` for
either is told what is known by then. Rules that hold here:

- An outage that nobody was told of, because the process ended before it could, is remembered: the
  next one tells of both in one, so that mains which come back for a minute hide nothing.
- What counts is for the step that ran when the outage began. Once that is over, or was left or
  changed, none of it counts: no step is made shorter by a time in which it did not run.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any

from fermd.control.events import Event, ProfileChanged, StepChange, StepChanged
from fermd.control.moment import Moment
from fermd.control.plain_profile import number
from fermd.journal.ports import Outage

WORTH_AN_ALARM_S = 120.0
"""A shorter outage (a restart, an upgrade) is in the journal, but raises no alarm, s."""

PATIENCE_S = 600.0
"""How long to wait for the beer's temperature and the clock, s."""


@dataclass(frozen=True, slots=True)
class Untold:
    """An outage of one chamber that nobody has been told of."""

    last: Moment
    """When somebody was last known to be in charge ..."""
    boot_id: str | None
    """... and the boot that its clock belongs to."""
    cleanly: bool
    """Every process that ended since did so by its own stop."""
    beer_before_c: float | None
    ran_s: float = 0.0
    """How long others were in charge since, but ended before they could tell, s."""
    counts: bool = True
    """The step that ran then is still the present one."""
    beer_after_c: float | None = None
    """The beer's temperature (°C) when it was first known again."""

    def to_plain(self, started_mono_s: float) -> dict[str, Any]:
        """Return what the next process must know if this one, started then, ends untold."""
        return {
            "mono_s": self.last.mono_s,
            "wall_utc_s": self.last.wall_utc_s,
            "wall_trusted": self.last.wall_trusted,
            "boot_id": self.boot_id,
            "cleanly": self.cleanly,
            "beer_before_c": self.beer_before_c,
            "ran_s": self.ran_s,
            "counts": self.counts,
            "started_mono_s": started_mono_s,
        }


def untold(
    outage: Outage,
    beer_c: float | None,
    kept: Mapping[str, Any] | None = None,
    kept_boot_id: str | None = None,
) -> Untold | None:
    """Return what a chamber is to be told of; None if the journal knows of nobody before.

    `beer_c` is its last known temperature (°C); `kept` what the process before left untold, in
    the boot `kept_boot_id`. Raises KeyError, TypeError or ValueError if that cannot be understood.
    """
    if outage.last is None:
        return None
    if kept is None:
        return Untold(outage.last, outage.previous_boot_id, outage.ended_cleanly, beer_c)
    # Of a process that left no word of its own nothing is known: it counts as outage.
    ran_s = 0.0
    if kept_boot_id is not None and kept_boot_id == outage.previous_boot_id:
        ran_s = max(0.0, outage.last.mono_s - number(kept["started_mono_s"]))
    before_c = kept["beer_before_c"]
    return Untold(
        Moment(
            number(kept["mono_s"]),
            number(kept["wall_utc_s"]),
            wall_trusted=kept["wall_trusted"] is True,
        ),
        None if kept["boot_id"] is None else str(kept["boot_id"]),
        kept["cleanly"] is True and outage.ended_cleanly,
        None if before_c is None else number(before_c),
        number(kept["ran_s"]) + ran_s,
        kept["counts"] is True,
    )


@dataclass(frozen=True, slots=True)
class Known:
    """What is known of the outage of one chamber."""

    lasted_s: float | None
    cleanly: bool
    beer_before_c: float | None
    beer_after_c: float | None
    counts: bool = True
    """Whether any of it may count for the profile's present step."""

    @property
    def worth_an_alarm(self) -> bool:
        """Whether a person should be told."""
        return self.lasted_s is None or self.lasted_s >= WORTH_AN_ALARM_S


class OutageTeller:
    """What is to be told of the time before this start, by the chamber's name."""

    def __init__(self, to_tell: Mapping[str, Untold], boot_id: str, started: Moment) -> None:
        self._to_tell = dict(to_tell)
        self._boot_id = boot_id
        self._started = started

    def happened(self, chamber: str, events: Iterable[Event]) -> None:
        """Take note of what becomes of the step that the outage was in."""
        one = self._to_tell.get(chamber)
        if one is not None and one.counts and any(_leaves_step(event) for event in events):
            self._to_tell[chamber] = replace(one, counts=False)

    def tell(self, chamber: str, beer_c: float | None, now: Moment) -> Known | None:
        """Return what is known of a chamber's outage, once; None while there is nothing to tell."""
        one = self._to_tell.get(chamber)
        if one is None:
            return None
        if one.beer_after_c is None and beer_c is not None:
            one = self._to_tell[chamber] = replace(one, beer_after_c=beer_c)
        lasted_s = self._lasted_s(one, now)
        patience_over = now.mono_s - self._started.mono_s > PATIENCE_S
        if not patience_over and (one.beer_after_c is None or lasted_s is None):
            return None
        del self._to_tell[chamber]
        return Known(lasted_s, one.cleanly, one.beer_before_c, one.beer_after_c, one.counts)

    def to_plain(self) -> dict[str, dict[str, Any]]:
        """Return what has not been told yet, for the record of each chamber."""
        return {name: one.to_plain(self._started.mono_s) for name, one in self._to_tell.items()}

    def _lasted_s(self, one: Untold, now: Moment) -> float | None:
        """How long nobody was in charge, s; None if that is not known."""
        last, started = one.last, self._started
        if one.boot_id == self._boot_id:
            return max(0.0, started.mono_s - last.mono_s - one.ran_s)
        if last.wall_trusted and now.wall_trusted:
            started_utc_s = now.wall_utc_s - (now.mono_s - started.mono_s)
            lasted_s = started_utc_s - last.wall_utc_s - one.ran_s
            # One of the two clocks was wrong, though both were said to be set: nobody knows.
            return lasted_s if lasted_s >= 0 else None
        return None


def _leaves_step(event: Event) -> bool:
    """Whether the present step is another one now, asks for something else, or was let rest."""
    if isinstance(event, StepChanged):
        return event.change in (StepChange.ENTERED, StepChange.CHANGED)
    return isinstance(event, ProfileChanged)
