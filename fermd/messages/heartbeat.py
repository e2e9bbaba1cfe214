"""The heartbeat: a request to a URL at an interval, for as long as control does its rounds.

Whoever listens there knows that the board, its network and its control are alive, and sounds the
alarm when nothing comes. A board whose loop stands still is silent too, whatever else of it runs.

The standard library asks: the client that the command line uses takes 10 MB, for one request.
"""

from __future__ import annotations

import logging
import threading
import time
import urllib.error
import urllib.request
from http import HTTPStatus
from typing import Final, Protocol
from urllib.parse import urlsplit

from fermd import __version__
from fermd.config.messages import HeartbeatSettings
from fermd.control.moment import Moment
from fermd.messages.redaction import reason
from fermd.messages.secret_file import AddressError, SecretFile
from fermd.service.snapshot import Snapshot

log = logging.getLogger(__name__)

PATIENCE_S: Final = 10.0
"""How long the other side may take to answer, s."""
LOOK_EVERY_S: Final = 5.0
OLDEST_TICK_S: Final = 180.0
"""A tick older than this is none, s: three times the longest sample period."""


class HeartbeatSite(Protocol):
    """What the heartbeat looks at."""

    def snapshot(self) -> Snapshot | None:
        """The newest copy in memory."""
        ...

    def now(self) -> Moment:
        """The present on both clocks."""
        ...


class Heartbeat:
    """Beats in a thread of its own, which nobody waits for. A context manager."""

    def __init__(
        self,
        site: HeartbeatSite,
        settings: HeartbeatSettings,
        secrets: SecretFile,
        look_every_s: float = LOOK_EVERY_S,
    ) -> None:
        self._site = site
        self._settings = settings
        self._secrets = secrets
        self._look_every_s = min(look_every_s, settings.every_s)
        self._end = threading.Event()
        # A name that does not resolve holds up its thread for as long as it likes.
        self._thread = threading.Thread(target=self._run, name="heartbeat", daemon=True)
        self._beaten_tick = 0
        self._failing = ""

    def __enter__(self) -> Heartbeat:
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._end.set()
        self._thread.join(timeout=1.0)

    def _run(self) -> None:
        due_s = time.monotonic()
        while not self._end.wait(self._look_every_s):
            if time.monotonic() < due_s or not self._is_controlling():
                continue
            due_s = time.monotonic() + self._settings.every_s
            try:
                self._note(self.beat())
            except Exception:
                # Whatever comes of it, the next beat is due.
                log.exception("heartbeat: an error of fermd's own")

    def _is_controlling(self) -> bool:
        """Whether a tick has been completed since the last beat, and lately."""
        snapshot = self._site.snapshot()
        if snapshot is None or snapshot.tick <= self._beaten_tick:
            return False
        if self._site.now().mono_s - snapshot.moment.mono_s > OLDEST_TICK_S:
            return False
        self._beaten_tick = snapshot.tick
        return True

    def beat(self) -> str:
        """Make one request; returns why it failed, empty if it did not."""
        try:
            url = self._secrets.address(self._settings.address)
        except AddressError as error:
            return str(error)
        try:
            if urlsplit(url).scheme not in ("http", "https"):
                where = f"{self._secrets.path}: {self._settings.address}"
                return f"{where}: must be an http or https URL"
            request = urllib.request.Request(  # noqa: S310 - the scheme is looked at above
                url,
                data=b"" if self._settings.method == "POST" else None,
                method=self._settings.method,
                headers={"User-Agent": f"fermd/{__version__}"},
            )
            with urllib.request.urlopen(request, timeout=PATIENCE_S) as answer:  # noqa: S310
                answer.read(1024)
        except urllib.error.HTTPError as error:
            error.close()
            return f"HTTP status {error.code} {_phrase(error.code)}".rstrip()
        except urllib.error.URLError as error:
            return reason(str(error.reason), url)
        except (OSError, ValueError) as error:
            return reason(str(error) or type(error).__name__, url)
        return ""

    def _note(self, why: str) -> None:
        """Say what has changed, once."""
        before, self._failing = self._failing, why
        if why and not before:
            log.warning("heartbeat: it does not get through: %s", why)
        if before and not why:
            log.info("heartbeat: it gets through again")


def _phrase(code: int) -> str:
    try:
        return HTTPStatus(code).phrase
    except ValueError:
        return ""
