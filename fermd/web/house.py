"""What the interface needs of the daemon, and what all of its endpoints share."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any, Final, Protocol, TypeVar

from anyio import CapacityLimiter, to_thread

from fermd.config.house_unit import UNITS, UnitName
from fermd.config.site import SiteFile
from fermd.control.moment import Moment
from fermd.control.wording import Unit
from fermd.journal.reader import JournalReader, JournalUnreadable
from fermd.journal.rows import BrewerNote, ProfileKept
from fermd.service.requests import Requests
from fermd.service.snapshot import ChamberView, Snapshot
from fermd.web.endpoint import Call, Shape
from fermd.web.orders import Readers
from fermd.web.refusals import RefusedError, shown


class Site(Protocol):
    """The running daemon."""

    @property
    def requests(self) -> Requests:
        """Where commands are left for the loop."""
        ...

    @property
    def record(self) -> JournalReader:
        """What reads the journal; not in the thread that serves."""
        ...

    @property
    def site_file(self) -> SiteFile | None:
        """The site file in force; None if the daemon was not told one."""
        ...

    def snapshot(self) -> Snapshot | None:
        """The newest copy in memory."""
        ...

    def now(self) -> Moment:
        """The present on both clocks."""
        ...

    def note(self, chamber: str, note: BrewerNote) -> None:
        """Put a note by the brewer into the journal."""
        ...

    def profile_kept(self, kept: ProfileKept) -> None:
        """Put into the journal that a profile of the site's own was saved or deleted."""
        ...

    def written(self) -> bool:
        """Wait until the journal has written what it was given; whether it has."""
        ...

    def events(self, limit: int, unit: Unit = Unit.CELSIUS) -> Sequence[dict[str, Any]]:
        """What happened last, newest first, worded; read from the journal."""
        ...

    def reload(self) -> None:
        """Have the site file read again."""
        ...


T = TypeVar("T")

READERS_AT_ONCE: Final = 2
"""So many questions to the journal are answered at once; each takes a thread and memory."""
WAITING_AT_ONCE: Final = 16
"""So many commands wait for the loop at once."""


class InUnit(Shape):
    """The scale of temperatures in words; numbers are always °C."""

    units: UnitName = "C"

    @property
    def unit(self) -> Unit:
        """The scale itself."""
        return UNITS[self.units]


@dataclass(frozen=True, slots=True)
class House:
    """What all endpoints share."""

    site: Site
    readers: Readers
    time_zone: str
    """The IANA name of the zone that the site lives by."""
    _reading: CapacityLimiter = field(default_factory=lambda: CapacityLimiter(READERS_AT_ONCE))
    _waiting: CapacityLimiter = field(default_factory=lambda: CapacityLimiter(WAITING_AT_ONCE))
    _working: CapacityLimiter = field(default_factory=lambda: CapacityLimiter(1))

    async def read(self, question: Callable[[], T]) -> T:
        """Ask the journal something, in a thread beside; refused if it cannot be read."""
        try:
            return await to_thread.run_sync(question, limiter=self._reading)
        except JournalUnreadable as error:
            raise RefusedError(503, str(error)) from error

    async def wait(self, answer: Callable[[], T]) -> T:
        """Wait for the loop, in a thread beside."""
        return await to_thread.run_sync(answer, limiter=self._waiting)

    async def work(self, out: Callable[[], T]) -> T:
        """Work something out that takes a while, in a thread beside and one at a time."""
        return await to_thread.run_sync(out, limiter=self._working)

    def snapshot(self) -> Snapshot:
        """Return the newest copy in memory; refused while there is none."""
        snapshot = self.site.snapshot()
        if snapshot is None:
            raise RefusedError(503, "the control loop has not completed a tick yet")
        return snapshot

    def view(self, call: Call) -> ChamberView:
        """Return the chamber in the path as it stands; refused if there is none."""
        snapshot = self.snapshot()
        view = snapshot.chambers.get(call.chamber)
        if view is None:
            raise no_chamber(call.chamber, snapshot)
        return view

    def site_file(self) -> SiteFile:
        """Return the site file in force."""
        found = self.site.site_file
        if found is None:
            raise RefusedError(503, "the daemon runs without a site file")
        return found


def no_chamber(name: str, snapshot: Snapshot) -> RefusedError:
    """Return the refusal of a chamber that there is not."""
    known = ", ".join(snapshot.chambers)
    return RefusedError(404, f"no chamber {shown(name)}; there are: {known}")
