"""What the post looks at: the alarms in the copy in memory, and the news in the journal."""

from __future__ import annotations

import logging
from dataclasses import replace
from typing import Final, Protocol

from fermd.control.moment import Moment
from fermd.control.wording import Unit
from fermd.journal.reader import JournalReader, JournalUnreadable
from fermd.messages import desk as desks
from fermd.messages.item import Item
from fermd.messages.keeping import Kept
from fermd.messages.news import TABLES, news_of
from fermd.service.snapshot import Snapshot

log = logging.getLogger(__name__)

SETTLED_AFTER_S: Final = 180.0
"""After a start an alarm that stood before may take so long to be raised again, s: longer than any
waits that what is lost has been lost long enough (control/alarms.py, 60 s)."""


class PostSite(Protocol):
    """A running site, as the post sees it."""

    def snapshot(self) -> Snapshot | None:
        """The newest copy in memory."""
        ...

    def now(self) -> Moment:
        """The present on both clocks."""
        ...

    def boot_id(self) -> str:
        """Which boot the monotonic clock belongs to."""
        ...

    @property
    def record(self) -> JournalReader:
        """What reads the journal."""
        ...

    def written(self) -> bool:
        """Wait until the journal has written what it was given."""
        ...

    def tell_of_message(self, recipient: str, number: int, title: str, failed: str) -> None:
        """Put into the journal what became of a message."""
        ...


class Intake:
    """Takes note of what is so and of what has happened, each thing once."""

    def __init__(self, site: PostSite, unit: Unit) -> None:
        self._site = site
        self._unit = unit
        self._tick = 0
        self._boot_number: int | None = None
        self._told_unreadable = False

    def newest_seq(self) -> int | None:
        """Up to where the journal goes; None if it cannot be read."""
        try:
            newest = self._site.record.last_events(1)
        except JournalUnreadable:
            return None
        return newest[-1].seq if newest else 0

    def take_note(self, kept: Kept, snapshot: Snapshot, now: Moment) -> Kept:
        """Return what is kept, with what a new tick and the journal have to say."""
        if snapshot.tick == self._tick:
            return kept
        self._tick = snapshot.tick
        standing = [("", alarm) for alarm in snapshot.site_alarms]
        for name, view in snapshot.chambers.items():
            standing += [(name, alarm) for alarm in view.decision.alarms]
        settled = now.mono_s - snapshot.started.mono_s >= SETTLED_AFTER_S
        desk = desks.observe(kept.desk, standing, now, settled=settled)
        seq, news = self._news(kept.journal_seq, snapshot)
        return replace(kept, desk=desks.add_news(desk, news), journal_seq=seq)

    def _news(self, seq: int | None, snapshot: Snapshot) -> tuple[int | None, list[Item]]:
        """Read on in the journal from `seq`; without a journal there are still the alarms."""
        try:
            if self._boot_number is None:
                # The newest row is one of this boot once the daemon's start has been written.
                self._site.written()
                newest = self._site.record.last_events(1)
                self._boot_number = newest[-1].boot if newest else 0
            if snapshot.journal_trouble is not None or seq is None:
                # A journal that was begun anew counts from the beginning.
                newest_seq = self.newest_seq() or 0
                seq = newest_seq if seq is None else min(seq, newest_seq)
            rows = self._site.record.events_after(seq, tables=TABLES)
        except JournalUnreadable as error:
            if not self._told_unreadable:
                self._told_unreadable = True
                log.warning("messages: only alarms are told of for now: %s", error)
            return seq, []
        self._told_unreadable = False
        news = news_of(rows, self._site.boot_id(), self._boot_number, self._unit)
        return (rows[-1].seq if rows else seq), news
