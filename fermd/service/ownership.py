"""One daemon owns the hardware; a second one refuses to start and says who holds it.

Rules that hold here:

- What counts is the kernel's lock on the file (flock(2)), not the file: the kernel lets go when
  the holder ends in whatever way, kill -9 and power cut included, so nothing stale is left to
  clean up by hand.
- The file is never removed. Removing it would let two processes each lock a file of that name.
- The text in the file is only for people. It is written after the lock is held, and a disk too
  full to take it does not cost the lock.
- Whoever drives a relay takes this lock first: the daemon, commissioning, and the command that
  releases the relays after the daemon has ended.
"""

from __future__ import annotations

import errno
import fcntl
import json
import logging
import os
import shlex
import socket
import sys
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from pathlib import Path
from types import TracebackType
from typing import Self

log = logging.getLogger(__name__)

LOCK_NAME = "hardware.lock"
"""The lock's file in the state folder."""

_READ_AT_MOST_BYTES = 4096


@dataclass(frozen=True, slots=True)
class Holder:
    """Who holds the hardware, as that process wrote it down."""

    pid: int
    since_utc: str
    """Wall clock at the start, ISO 8601 with zone; no better than the clock was then."""
    host: str
    command: str

    @classmethod
    def this_process(cls, command: Sequence[str]) -> Holder:
        """The process that calls, holding from now on."""
        return cls(
            pid=os.getpid(),
            since_utc=datetime.now(UTC).isoformat(timespec="seconds"),
            host=socket.gethostname(),
            command=shlex.join(command),
        )


class OwnershipError(RuntimeError):
    """The hardware could not be taken; the text says why and what to do.

    `exit_code` is the sysexits code for a command that ends because of it.
    """

    exit_code = os.EX_CANTCREAT


class OwnedElsewhere(OwnershipError):  # noqa: N818 - the fact, not a malfunction
    """Another process owns the hardware; `holder` is None if it has not written its name yet."""

    exit_code = os.EX_TEMPFAIL

    def __init__(self, path: Path, holder: Holder | None) -> None:
        self.path = path
        self.holder = holder
        if holder is None:
            who = "another process, which has not written its name yet"
            stop = f"find it with: fuser -v {shlex.quote(str(path))}"
        else:
            who = (
                f"process {holder.pid} on {holder.host}, since {holder.since_utc} "
                f"({holder.command})"
            )
            stop = (
                "stop it first (systemctl stop fermd if it is the service, "
                f"kill {holder.pid} if not)"
            )
        super().__init__(
            f"the hardware is held by {who}; lock: {path}. "
            f"Two at once would switch the same relays against each other: {stop}"
        )


class Ownership:
    """The lock on the hardware, held between entering and leaving.

        with Ownership(state_folder / LOCK_NAME):
            ...    # relays may be driven

    Entering raises OwnedElsewhere if another process holds it, OwnershipError if the file cannot
    be opened or locked.
    """

    def __init__(self, path: Path, command: Sequence[str] | None = None) -> None:
        self._path = path
        self._command = list(sys.argv if command is None else command)
        self._fd = -1

    def __enter__(self) -> Self:
        fd = self._open()
        try:
            self._lock(fd)
        except BaseException:
            os.close(fd)
            raise
        self._fd = fd
        self._write_down(Holder.this_process(self._command))
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.release()

    def release(self) -> None:
        """Let go; may be called again and again."""
        fd, self._fd = self._fd, -1
        if fd < 0:
            return
        try:
            os.ftruncate(fd, 0)
        except OSError as error:
            log.debug("the name in %s could not be taken out: %s", self._path, error)
        os.close(fd)

    def _open(self) -> int:
        try:
            fd = os.open(
                self._path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC | os.O_NOFOLLOW, mode=0o640
            )
        except OSError as error:
            raise OwnershipError(
                f"{self._path}: cannot open the lock of the hardware ({error.strerror}). "
                f"{_remedy(error, self._path)}"
            ) from error
        if os.geteuid() == 0:
            self._leave_to_the_folders_owner(fd)
        return fd

    def _leave_to_the_folders_owner(self, fd: int) -> None:
        """A lock that root made by hand must not lock the service's user out later."""
        folder = self._path.parent.stat()
        try:
            os.fchown(fd, folder.st_uid, folder.st_gid)
        except OSError as error:
            log.warning("%s stays with root: %s", self._path, error)

    def _lock(self, fd: int) -> None:
        try:
            fcntl.flock(fd, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            raise OwnedElsewhere(self._path, _read_holder(fd)) from None
        except OSError as error:
            raise OwnershipError(
                f"{self._path}: cannot lock the hardware ({error.strerror}). "
                "Keep the state folder on a local disk whose file system knows flock"
            ) from error

    def _write_down(self, holder: Holder) -> None:
        text = json.dumps(asdict(holder), ensure_ascii=False) + "\n"
        try:
            os.ftruncate(self._fd, 0)
            os.pwrite(self._fd, text.encode("utf-8", "replace"), 0)
        except OSError as error:
            log.warning("%s is locked, but the holder's name is not in it: %s", self._path, error)


def _read_holder(fd: int) -> Holder | None:
    try:
        fields = json.loads(os.pread(fd, _READ_AT_MOST_BYTES, 0))
        return Holder(
            pid=int(fields["pid"]),
            since_utc=str(fields["since_utc"]),
            host=str(fields["host"]),
            command=str(fields["command"]),
        )
    except (OSError, ValueError, KeyError, TypeError):
        return None


def _remedy(error: OSError, path: Path) -> str:
    match error.errno:
        case errno.EACCES | errno.EPERM:
            owner = _owner_of(path.parent)
            return f"Run the command as the folder's owner{owner}, or as root"
        case errno.ENOENT:
            return f"Make the folder {path.parent}, or name another state folder in the site file"
        case errno.ELOOP:
            return "It is a symbolic link, which is not followed; remove it"
        case errno.EROFS:
            return "The file system is read-only; mount it for writing"
        case _:
            return "Mend that and start again"


def _owner_of(folder: Path) -> str:
    try:
        return f" ({folder.owner()})"
    except (OSError, KeyError):
        return ""
