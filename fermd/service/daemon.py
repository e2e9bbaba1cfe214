"""The daemon: everything that `fermd run` starts, in the order in which it must be started.

    lock → relays off (hold.py) → journal → probes → loop → interface → calendar → ready

The hardware is locked before a line is touched, and every relay is off before anything that can
fail or take time. At the end everything goes down in the opposite order, relays first of all.
"""

from __future__ import annotations

import contextlib
import logging
import signal
import threading
from collections.abc import Callable, Sequence
from contextlib import AbstractContextManager
from types import FrameType
from typing import Any, Final

from fermd import __version__
from fermd.config.errors import ConfigError
from fermd.config.site import SiteFile
from fermd.config.site_file import load_site
from fermd.control import wording
from fermd.control.moment import Moment
from fermd.control.wording import Unit
from fermd.hardware.ports import Clock
from fermd.journal.reader import JournalReader
from fermd.journal.rows import BrewerNote, MessageEnded, ProfileKept
from fermd.journal.settings import JournalSettings
from fermd.journal.writer import SqliteJournal
from fermd.review.telling import tell
from fermd.service.calendar import Calendar, CalendarThread
from fermd.service.hold import Ports
from fermd.service.loop import ControlLoop, Wiring
from fermd.service.notify import ServiceManager
from fermd.service.requests import Requests
from fermd.service.snapshot import Snapshot
from fermd.service.upkeep import Upkeep

log = logging.getLogger(__name__)


WATCHDOG_PERIODS = 3
"""Shorter than so many sample periods, the service manager's watchdog bites a healthy loop."""

RUN_MARKER = "run-not-ended"
"""Beside the socket, on a disk that the boot clears: see fermd.journal.marker."""


class RunningSite:
    """A site in charge, as the interface and the command line see it."""

    def __init__(
        self,
        loop: ControlLoop,
        clock: Clock,
        journal: SqliteJournal,
        site_file: SiteFile | None = None,
        reload: Callable[[], None] | None = None,
    ) -> None:
        self._loop = loop
        self._clock = clock
        self._journal = journal
        self._reload = reload
        self.site_file = site_file
        """The site file in force."""

    @property
    def requests(self) -> Requests:
        """Where commands are left."""
        return self._loop.requests

    def snapshot(self) -> Snapshot | None:
        """The newest copy in memory."""
        return self._loop.snapshot

    def now(self) -> Moment:
        """The present on both clocks."""
        return self._clock.now()

    def boot_id(self) -> str:
        """Which boot the monotonic clock belongs to."""
        return self._clock.boot_id()

    @property
    def record(self) -> JournalReader:
        """What reads the journal."""
        return JournalReader(self._journal.path)

    def note(self, chamber: str, note: BrewerNote) -> None:
        """Put a note by the brewer into the journal."""
        self._journal.write_down(self._clock.now(), chamber, note)

    def profile_kept(self, kept: ProfileKept) -> None:
        """Put into the journal that a profile of the site's own was saved or deleted."""
        self._journal.profile_kept(self._clock.now(), kept)

    def tell_of_message(self, recipient: str, number: int, title: str, failed: str) -> None:
        """Put into the journal what became of a message; `failed` is empty if it was accepted."""
        outcome = MessageEnded(recipient, number, title, failed)
        self._journal.message_ended(self._clock.now(), outcome)

    def written(self) -> bool:
        """Wait until the journal has written what it was given; whether it has."""
        return self._journal.flush(timeout_s=5.0)

    def events(self, limit: int, unit: Unit = Unit.CELSIUS) -> Sequence[dict[str, Any]]:
        """What happened last, newest first, worded."""
        # Who has just given a command finds it here, though it was answered before it was on disk.
        self._journal.settle(timeout_s=SETTLES_WITHIN_S)
        rows = self.record.last_events(limit)
        return [tell(row, unit).plain() for row in reversed(rows)]

    def reload(self) -> None:
        """Have the site file read again; may be called from any thread."""
        if self._reload is not None:
            self._reload()


SETTLES_WITHIN_S: Final = 1.0
"""A disk that is slower than this does not keep anybody from what it has."""

Interface = Callable[[RunningSite], AbstractContextManager[object]]
"""Serves a running site while it is entered: the HTTP interface, from the room above."""


class Daemon:
    """One site file, from start to stop."""

    def __init__(
        self,
        site: SiteFile,
        ports: Ports,
        manager: ServiceManager,
        interfaces: Sequence[Interface] = (),
    ) -> None:
        self._site = site
        self._ports = ports
        self._manager = manager
        self._interfaces = interfaces
        self._loop: ControlLoop | None = None
        self._running: RunningSite | None = None
        self._reload_asked = False

    def run(self) -> None:
        """Be in charge until told to stop; within `hold`, which owns the hardware."""
        site, ports = self._site, self._ports
        self._warn_of_short_watchdog()
        with contextlib.ExitStack() as stack:
            with contextlib.suppress(OSError):
                # For the marker; whoever makes the socket says what is wrong with the folder.
                site.socket_path.parent.mkdir(parents=True, exist_ok=True)
            journal = SqliteJournal(
                site.journal_path,
                boot_id=ports.clock.boot_id(),
                moment=ports.clock.now(),
                version=__version__,
                marker=site.socket_path.parent / RUN_MARKER,
                settings=JournalSettings(thinning=site.keeping),
            )
            stopped = _Stopped(journal, ports.clock)
            stack.enter_context(stopped)
            stack.enter_context(ports.probes)
            upkeep = Upkeep(journal, site.zone, site.keeping)
            loop = ControlLoop(
                site.settings,
                wiring(site),
                ports.clock,
                ports.probes,
                ports.relays,
                journal,
                self._after_tick,
                upkeep.wrong,
            )
            self._loop = loop
            stack.enter_context(self._signals())
            running = RunningSite(loop, ports.clock, journal, site, self._ask_to_reload)
            self._running = running
            for interface in self._interfaces:
                stack.enter_context(interface(running))
            calendar = Calendar(upkeep.jobs(), since=journal.outage().last)
            stack.enter_context(CalendarThread(calendar, ports.clock.now))
            log.info("in charge of %s; the journal is %s", _names(site), site.journal_path)
            loop.run()
            stopped.cleanly = True
            self._manager.stopping("relays are off")

    def stop(self) -> None:
        """Ask for the end; may be called from any thread."""
        if self._loop is not None:
            self._loop.stop()

    def _ask_to_reload(self) -> None:
        """Have the site file read again after the next tick; may be called from any thread."""
        self._reload_asked = True
        self._ports.clock.wake()

    def _warn_of_short_watchdog(self) -> None:
        watchdog_s, period_s = self._manager.watchdog_s, self._site.sample_period_s
        if watchdog_s is not None and watchdog_s < WATCHDOG_PERIODS * period_s:
            log.warning(
                "the watchdog (WatchdogSec=%g) is shorter than %d sample periods of %g s: a slow "
                "tick may end the daemon; raise it in the unit",
                watchdog_s,
                WATCHDOG_PERIODS,
                period_s,
            )

    def _after_tick(self, snapshot: Snapshot) -> None:
        """Feed the watchdog: a tick has come to its end."""
        if snapshot.tick == 1:
            self._manager.ready(status_line(snapshot))
        self._manager.alive(status_line(snapshot))
        if self._reload_asked:
            self._reload_asked = False
            self._reload()

    def _reload(self) -> None:
        """Read the site file again; whatever is wrong with it, the old settings stay in force."""
        self._manager.reloading("reading the site file again")
        try:
            site = load_site(self._site.path)
        except ConfigError as error:
            log.error("the site file was not taken over, the settings before stay: %s", error)
            self._manager.ready("the site file has errors; the settings before stay in force")
            return
        if fixed(site) != fixed(self._site):
            log.error(
                "the site file was not taken over: probes, outputs and what they do, files and how "
                "they are kept, the page, messages and the sample period change only with a "
                "restart "
                "(systemctl restart fermd)"
            )
            self._manager.ready("a restart is needed for the new site file")
            return
        self._site = site
        if self._loop is not None:
            self._loop.reload(site.settings, wiring(site))
        if self._running is not None:
            self._running.site_file = site
        log.info("the site file was read again")
        self._manager.ready("the site file was read again")

    @contextlib.contextmanager
    def _signals(self) -> Any:
        """SIGTERM and SIGINT end the loop; SIGHUP has the site file read again."""
        if threading.current_thread() is not threading.main_thread():
            # Only the main thread can take signals; whoever runs a daemon in another stops it.
            yield
            return

        def end(_number: int, _frame: FrameType | None) -> None:
            self.stop()

        def reload(_number: int, _frame: FrameType | None) -> None:
            self._ask_to_reload()

        wanted = {signal.SIGTERM: end, signal.SIGINT: end, signal.SIGHUP: reload}
        before = {number: signal.signal(number, handler) for number, handler in wanted.items()}
        try:
            yield
        finally:
            for number, handler in before.items():
                signal.signal(number, handler)


class _Stopped:
    """Closes the journal at the very end, and says whether the end was an orderly one."""

    def __init__(self, journal: SqliteJournal, clock: Clock) -> None:
        self._journal = journal
        self._clock = clock
        self.cleanly = False

    def __enter__(self) -> _Stopped:
        return self

    def __exit__(self, *_: object) -> None:
        self._journal.close(self._clock.now(), cleanly=self.cleanly)


def wiring(site: SiteFile) -> Wiring:
    """Return what the loop needs of a site file beside the settings."""
    return Wiring(site.probe_ids, site.sample_period_s, site.lease_s)


def fixed(site: SiteFile) -> tuple[object, ...]:
    """Return what of a site file cannot change while the daemon runs."""
    return (
        dict(site.probe_ids),
        site.relays,
        # A line that changes its duty or its chamber while it is on could meet its opposite.
        {
            output.line: (chamber.name, output.duty, output.kind)
            for chamber in site.settings.chambers
            for output in chamber.outputs
        },
        site.sample_period_s,
        site.journal_path,
        site.socket_path,
        site.web,
        site.broker,
        site.known_as,
        site.keeping,
        site.messages,
        site.w1_root,
        site.pin_factory,
        site.chip,
        site.simulated,
    )


def status_line(snapshot: Snapshot) -> str:
    """Tell the whole site in one line, for the service manager."""
    told = []
    for name, view in snapshot.chambers.items():
        beer = wording.reading(view.decision.vessel, snapshot.moment.mono_s)
        on = [output.name for output in view.decision.outputs if output.on]
        target = wording.target(view.decision.target)
        told.append(f"{name}: {beer}, target {target}, {' and '.join(on) or 'nothing'} on")
    return "; ".join(told)


def _names(site: SiteFile) -> str:
    return ", ".join(chamber.name for chamber in site.settings.chambers)
