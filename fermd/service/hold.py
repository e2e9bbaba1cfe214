"""Taking hold of the hardware: the lock first, then every relay off, before anything else.

Small on purpose: what is imported here stands between the start of the process and the first safe
outputs. All that takes time to load (journal, interface, calendar) comes afterwards.
"""

from __future__ import annotations

import contextlib
import logging
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from fermd.config.site import SiteFile
from fermd.hardware.ports import Clock, ProbeBus, RelayBank
from fermd.service.ownership import LOCK_NAME, OwnedElsewhere, Ownership, OwnershipError

log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class Ports:
    """What the loop is plugged into."""

    clock: Clock
    probes: ProbeBus
    relays: RelayBank


@contextlib.contextmanager
def hold(site: SiteFile, ports: Ports) -> Iterator[None]:
    """Own the hardware with every relay off at the start, and off again at the end.

    Raises OwnershipError if another process owns it, RelayError if a line cannot be claimed.
    """
    with contextlib.suppress(OSError):
        # Whoever makes the lock says what is wrong with the folder.
        lock_path(site).parent.mkdir(parents=True, exist_ok=True)
    with Ownership(lock_path(site)), _owned_journal(site), ports.relays:
        yield


@contextlib.contextmanager
def _owned_journal(site: SiteFile) -> Iterator[None]:
    """Own the journal, too: what a restart must know of the relays is in it.

    A folder that cannot be written to (a card that has become read-only) is no reason not to
    control; another process that owns it is.
    """
    beside_journal = site.journal_path.parent / LOCK_NAME
    if beside_journal == lock_path(site):
        yield
        return
    lock = Ownership(beside_journal)
    try:
        lock.__enter__()
    except OwnedElsewhere:
        raise
    except OwnershipError as error:
        log.warning("%s; control goes on", error)
    try:
        yield
    finally:
        lock.release()


def lock_path(site: SiteFile) -> Path:
    """Return where the lock on the hardware is: beside the socket.

    That is a disk in memory, which can be written when the card has become read-only.
    """
    return site.socket_path.parent / LOCK_NAME
