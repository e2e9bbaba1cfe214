"""The post: looks at the running site, and sends what people have to be told of it.

In a thread of its own, which nothing waits for: it reads the copy in memory and the journal, works
out what is to be told (desk.py, box.py), writes that down, and only then sends. Two threads beside
it wait for what is being sent, so that a server that says nothing holds up one recipient and no
other. To each recipient one message is under way at a time: what it is told, it is told in order.
"""

from __future__ import annotations

import contextlib
import logging
import queue
import threading
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from typing import Final

from fermd.config.house_unit import UNITS
from fermd.config.messages import MessageSettings, RecipientSettings
from fermd.config.site import SiteFile
from fermd.config.zone_calendar import ZoneCalendar
from fermd.control.moment import Moment
from fermd.messages import box as boxes
from fermd.messages import desk as desks
from fermd.messages.box import Box, UnderWay
from fermd.messages.hours import is_quiet
from fermd.messages.intake import Intake, PostSite
from fermd.messages.item import Item
from fermd.messages.keeping import Keeper, Kept
from fermd.messages.pace import Pace
from fermd.messages.sending import End, Message, Outcome, Sending
from fermd.messages.text import Scene, severity_of, text_of, title_of
from fermd.messages.trying import Trying
from fermd.service.calendar import Calendar, Job, LocalTime
from fermd.service.snapshot import Snapshot

log = logging.getLogger(__name__)

LOOK_EVERY_S: Final = 2.0
"""How often the site is looked at, s."""

AT_ONE_TIME: Final = 2
"""So many messages are sent at one time; each takes a process of some 50 MB."""

STALE_S: Final = 600.0
"""A message that may have arrived is sent again as it was, unless it is older than this, s."""

LONGEST_DIGEST_WAIT_S: Final = 26 * 3600.0
"""Without a clock no hour is known: small things wait a day and no longer, s."""


class Post:
    """Tells people of a running site. A context manager: it does so while it is entered."""

    def __init__(
        self,
        site: PostSite,
        site_file: SiteFile,
        settings: MessageSettings,
        keeper: Keeper,
        sending: Sending,
        *,
        real_s: Callable[[], float] = time.monotonic,
        look_every_s: float = LOOK_EVERY_S,
    ) -> None:
        self._site = site
        self._site_file = site_file
        self._settings = settings
        self._keeper = keeper
        self._sending = sending
        self._real_s = real_s
        self._look_every_s = look_every_s
        self._unit = UNITS[settings.units or "C"]
        self._calendar = ZoneCalendar(site_file.zone)
        self._digest: Calendar | None = None
        self._pace = Pace(
            settings.gather_s, settings.repeat_s, settings.repeat_growth, settings.longest_repeat_s
        )
        self._kept = Kept()
        self._trying = {name: Trying() for name in settings.to}
        self._ended: queue.SimpleQueue[tuple[str, Outcome]] = queue.SimpleQueue()
        self._intake = Intake(site, self._unit)
        self._stop = threading.Event()
        self._wake = threading.Event()
        self._pool: ThreadPoolExecutor | None = None
        self._thread = threading.Thread(target=self._run, name="messages", daemon=True)

    def __enter__(self) -> Post:
        self.open()
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._stop.set()
        self._wake.set()
        self._sending.close()
        self._thread.join(timeout=5.0)
        self.close()

    def open(self) -> None:
        """Take up what was left by the process before."""
        self._pool = ThreadPoolExecutor(AT_ONE_TIME, thread_name_prefix="message")
        kept, now, boot = self._keeper.load(), self._site.now(), self._site.boot_id()
        found = {name: kept.boxes.get(name, Box()) for name in self._settings.to}
        for name, box in found.items():
            # Of what was under way when the process ended nobody knows whether it arrived.
            found[name] = boxes.in_doubt(box, "the daemon ended while it was sent")
        seq = kept.journal_seq
        if seq is None:
            # What happened before there were messages is no news.
            seq = self._intake.newest_seq()
        desk = desks.rebase(kept.desk, now, boot)
        self._kept = replace(kept, desk=desk, boxes=found, journal_seq=seq)
        since = kept.digest_wall_utc_s
        looked = None if since is None else Moment(0.0, since, wall_trusted=True)
        job = Job("digest", LocalTime(self._calendar, self._settings.digest_rule), self._let_digest)
        self._digest = Calendar([job], looked)

    def close(self) -> None:
        """Write down how it stands, and close the file."""
        if self._pool is not None:
            self._pool.shutdown(wait=True)
            self._pool = None
        self.hear_of_ended()
        self._keeper.save(self._kept)
        self._keeper.close()

    def _run(self) -> None:
        failed = ""
        while not self._stop.is_set():
            try:
                self.look()
            except Exception as error:
                # Whatever is wrong here, control and the next look go on.
                if repr(error) != failed:
                    failed = repr(error)
                    log.exception("messages: an error of fermd's own")
            else:
                failed = ""
            self._wake.wait(self._look_every_s)
            self._wake.clear()

    def look(self) -> None:
        """Look once at the site, and send what is to be sent."""
        snapshot, now = self._site.snapshot(), self._site.now()
        self.hear_of_ended()
        if snapshot is not None:
            self._kept = self._intake.take_note(self._kept, snapshot, now)
        self._let_go_by_calendar(now)
        desk, items = desks.due(self._kept.desk, now, self._pace)
        self._kept = replace(self._kept, desk=desk)
        if items:
            self._put(items, now)
        messages = self._compose(snapshot, now)
        # Written down first: what is sent twice does less harm than what is never sent.
        self._keeper.save(self._kept)
        for name, message in messages:
            self._send(name, message)

    def _put(self, items: tuple[Item, ...], now: Moment) -> None:
        found = dict(self._kept.boxes)
        if any(item.held for item in items) and not self._something_is_held():
            self._kept = replace(self._kept, digest_wall_utc_s=_trusted_wall(now))
        for name, recipient in self._settings.to.items():
            mine = [item for item in items if boxes.is_for(item, recipient)]
            found[name] = boxes.put(found[name], mine)
        self._kept = replace(self._kept, boxes=found)

    def _something_is_held(self) -> bool:
        return any(item.held for box in self._kept.boxes.values() for item in box.waiting)

    def _let_go_by_calendar(self, now: Moment) -> None:
        if self._digest is not None:
            self._digest.run_due(now)
        if now.wall_trusted:
            return
        boot = self._site.boot_id()
        for box in self._kept.boxes.values():
            waited_s = [i.since.ago_s(now, boot) or 0.0 for i in box.waiting if i.held]
            if max(waited_s, default=0.0) > LONGEST_DIGEST_WAIT_S:
                self._let_digest(now)
                return

    def _let_digest(self, now: Moment) -> None:
        found = {name: boxes.release_digest(box) for name, box in self._kept.boxes.items()}
        self._kept = replace(self._kept, boxes=found, digest_wall_utc_s=_trusted_wall(now))

    def _compose(self, snapshot: Snapshot | None, now: Moment) -> list[tuple[str, UnderWay]]:
        """Make a message for every recipient that can be sent one now."""
        quiet_hours = is_quiet(self._settings, self._calendar, now)
        scene = Scene(
            now,
            self._site.boot_id(),
            self._site_file.zone,
            self._unit,
            snapshot,
            self._site_file.known_as,
            self._site_file.simulated is not None,
        )
        made = []
        for name, recipient in self._settings.to.items():
            trying = self._trying[name]
            if trying.sending or self._real_s() < trying.next_real_s:
                continue
            message = self._next_of(name, recipient, scene, quiet_hours)
            if message is not None:
                trying.sending = True
                made.append((name, message))
        return made

    def _next_of(
        self, name: str, recipient: RecipientSettings, scene: Scene, quiet_hours: bool
    ) -> UnderWay | None:
        box = self._kept.boxes[name]
        doubtful = box.under_way
        if doubtful is not None:
            if abs(scene.now.wall_utc_s - doubtful.made_wall_utc_s) <= STALE_S:
                return doubtful
            box = boxes.refused(box, box.failed)
        quiet = quiet_hours and recipient.quiet
        items = tuple(item for item in box.waiting if boxes.may_go(item, quiet=quiet))
        if not items:
            self._keep(name, box)
            return None
        number = self._kept.number + 1
        message = UnderWay(
            number,
            title_of(items, scene),
            text_of(items, box.left_out, number, scene),
            severity_of(items),
            scene.now.wall_utc_s,
            items,
        )
        self._kept = replace(self._kept, number=number)
        self._keep(name, boxes.begin(box, message))
        return message

    def _keep(self, name: str, box: Box) -> None:
        self._kept = replace(self._kept, boxes={**self._kept.boxes, name: box})

    def _send(self, name: str, under_way: UnderWay) -> None:
        message = Message(under_way.number, under_way.title, under_way.text, under_way.severity)
        recipient = self._settings.to[name]

        def attempt() -> None:
            try:
                outcome = self._sending.send(name, recipient, message)
            except Exception:
                log.exception("messages: an error of fermd's own while sending to %s", name)
                outcome = Outcome(End.UNKNOWN, "an error of fermd's own; see the log")
            self._ended.put((name, outcome))
            self._wake.set()

        if self._pool is not None:
            self._pool.submit(attempt)

    @property
    def is_sending(self) -> bool:
        """Whether anything is being sent at this moment."""
        return any(trying.sending for trying in self._trying.values())

    def hear_of_ended(self) -> bool:
        """Take note of the attempts that have ended; whether others have not."""
        with contextlib.suppress(queue.Empty):
            while True:
                self._take_outcome(*self._ended.get_nowait())
        return self.is_sending

    def _take_outcome(self, name: str, outcome: Outcome) -> None:
        box, trying = self._kept.boxes[name], self._trying[name]
        message = box.under_way
        trying.sending = False
        if message is None:
            return
        if outcome.end is End.ARRIVED:
            if box.failed:
                log.info("messages: %s can be reached again", name)
            trying.arrived()
            self._site.tell_of_message(name, message.number, message.title, "")
            self._keep(name, boxes.arrived(box))
            return
        if outcome.why != box.failed:
            # Once for each reason, however often it is tried.
            log.warning("messages: %s cannot be reached: %s", name, outcome.why)
            self._site.tell_of_message(name, message.number, message.title, outcome.why)
        trying.failed(self._real_s())
        note = boxes.refused if outcome.end is End.REFUSED else boxes.in_doubt
        self._keep(name, note(box, outcome.why))


def _trusted_wall(now: Moment) -> float | None:
    return now.wall_utc_s if now.wall_trusted else None
