"""The thread that keeps the broker told, for as long as the daemon runs.

It reads the copy in memory and the journal, as every reader does; the loop knows nothing of it and
waits for nothing in it. Whatever keeps it from the broker is told once in the log and tried again,
for ever: the beer does not wait for its figures.
"""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Callable
from contextlib import AbstractContextManager, nullcontext
from types import TracebackType
from typing import TYPE_CHECKING, Final, Self

from fermd.broker.backoff import Backoff
from fermd.broker.edition import Edition
from fermd.broker.errors import BrokerError
from fermd.broker.happenings import Happenings
from fermd.broker.library import check_library
from fermd.broker.payloads import Teller
from fermd.broker.topics import Message, Topics, reading_expiry_s
from fermd.config.broker import BrokerSettings
from fermd.config.site import SiteFile
from fermd.service.daemon import RunningSite

if TYPE_CHECKING:
    from fermd.broker.connection import Connection

log = logging.getLogger(__name__)

LOOK_EVERY_S: Final = 0.5
"""How often the copy in memory is looked at, s ..."""
LEAST_APART_S: Final = 1.0
"""... and how far apart two looks that publish are at the least, s: a simulated board may tick a
hundred times as often."""
END_WAIT_S: Final = 5.0
"""So long the end of the daemon waits for this thread, s; the relays have been off before."""


def on_broker(site: SiteFile) -> Callable[[RunningSite], AbstractContextManager[object]]:
    """Return what publishes a running site, if its site file names a broker."""

    def publish(running: RunningSite) -> AbstractContextManager[object]:
        broker = site.broker
        if broker is None:
            return nullcontext()
        return Publisher(running, site, broker)

    return publish


class Publisher:
    """Publishes a running site. A context manager: while it is entered."""

    def __init__(self, running: RunningSite, site: SiteFile, broker: BrokerSettings) -> None:
        self._running = running
        self._settings = broker
        expiry_s = reading_expiry_s(broker.readings_every_s, site.sample_period_s)
        self._topics = Topics(broker.topic, site.known_as, expiry_s)
        self._teller = Teller(site.known_as, site.time_zone)
        self._client_id = broker.client_id or f"fermd-{site.known_as}"
        self._edition = Edition(self._topics, self._teller, broker.readings_every_s)
        self._happenings = Happenings(running.record)
        self._backoff = Backoff()
        self._ending = threading.Event()
        self._thread = threading.Thread(target=self._run, name="broker", daemon=True)
        self._told = ""

    def __enter__(self) -> Self:
        self._thread.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._ending.set()
        self._thread.join(END_WAIT_S)

    def _run(self) -> None:
        try:
            check_library()
            self._happenings.since_last(time.monotonic())
            while not self._ending.is_set():
                self._connect_and_publish()
                self._ending.wait(0.0 if self._ending.is_set() else self._backoff.next_s())
        except BrokerError as error:
            log.error("nothing is published to the MQTT broker: %s", error)
        except Exception:
            log.exception("nothing is published to the MQTT broker any more: a fault of its own")

    def _connect_and_publish(self) -> None:
        """One connection, from its beginning to its end; BrokerError never comes out."""
        # Loaded by whoever has a broker.
        from fermd.broker.connection import Connection

        began_s = float("inf")
        try:
            connection = Connection(
                self._settings,
                self._client_id,
                self._will(),
                lambda: self._availability(True),
                self._ending.is_set,
            )
            began_s = time.monotonic()
            log.info(
                "publishing to the MQTT broker %s:%d as %s, below %s/%s",
                self._settings.host,
                self._settings.effective_port,
                self._client_id,
                self._topics.root,
                self._topics.site,
            )
            self._publish_over(connection)
            connection.close(self._availability(False))
        except BrokerError as error:
            lasted = self._backoff.lasted(time.monotonic() - began_s)
            if not self._ending.is_set():
                self._tell(str(error), again=lasted)

    def _publish_over(self, connection: Connection) -> None:
        self._edition.anew()
        looked_s = float("-inf")
        try:
            while not self._ending.is_set():
                connection.turn(LOOK_EVERY_S)
                now_s = time.monotonic()
                if now_s - looked_s < LEAST_APART_S:
                    continue
                looked_s = now_s
                for row in self._happenings.since_last(now_s):
                    told = self._teller.event(row)
                    connection.publish(self._topics.event(row["chamber"] or None, told))
                for message in self._edition.due(self._running.snapshot(), now_s):
                    connection.publish(message)
        except BrokerError:
            connection.close()
            raise

    def _will(self) -> Message:
        return self._topics.availability(self._teller.lost())

    def _availability(self, online: bool) -> Message:
        now = self._running.now()
        told = self._teller.online(now) if online else self._teller.offline(now)
        return self._topics.availability(told)

    def _tell(self, why: str, *, again: bool) -> None:
        """Put what is wrong into the log, unless that stands there already."""
        if why != self._told or again:
            self._told = why
            log.warning(
                "nothing is published to the MQTT broker, and it is tried again and again: %s", why
            )
