"""The machine's two clocks, and the loop's only way of waiting.

Rules that hold here:

- `mono_s` is CLOCK_BOOTTIME: nobody can set it, and it goes on through suspend.
- A wait is counted on that clock and nothing else; a step of the wall clock neither shortens nor
  lengthens it.
- The wall clock is not trusted until the kernel says that it is synchronised or a person has
  vouched for it. Where the kernel cannot be asked (some containers refuse), it is not trusted.
- `wake()` takes no lock, so a signal handler may call it at any point of the program. (The lock
  inside threading.Event is not re-entrant: a handler that sets an event which the interrupted
  code is just waiting on can block for ever.)
"""

from __future__ import annotations

import ctypes
import logging
import os
import select
import time
import uuid
from collections.abc import Callable
from pathlib import Path
from types import TracebackType
from typing import Self

from fermd.control.moment import Moment

log = logging.getLogger(__name__)

LONGEST_SLICE_S = 5.0
"""poll() counts on CLOCK_MONOTONIC, which stands still during suspend while CLOCK_BOOTTIME goes
on. Looking again at least this often bounds how late a wait can end after a resume."""

BOOT_ID_PATH = Path("proc/sys/kernel/random/boot_id")

STA_UNSYNC = 0x40
"""Bit of timex.status: the clock is unsynchronised (linux/timex.h)."""


class SystemClock:
    """The `Clock` port on the real machine.

        with SystemClock() as clock:
            due_s = clock.now().mono_s + 10.0
            woken = clock.wait_until(due_s)

    `root` is where /proc is looked for; `kernel_is_synchronised` is asked at each `now()`.
    """

    def __init__(
        self,
        root: Path = Path("/"),
        kernel_is_synchronised: Callable[[], bool] | None = None,
    ) -> None:
        self._boot_id = _read_boot_id(root)
        self._kernel_is_synchronised = kernel_is_synchronised or KernelSyncFlag()
        self._vouched_for = False
        self._wake_fd = os.eventfd(0, os.EFD_CLOEXEC | os.EFD_NONBLOCK)
        self._poll = select.poll()
        self._poll.register(self._wake_fd, select.POLLIN)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        """Give the descriptor back; a later `wake()` does nothing."""
        fd, self._wake_fd = self._wake_fd, -1
        if fd >= 0:
            os.close(fd)

    def now(self) -> Moment:
        """The present on both clocks."""
        return Moment(
            mono_s=time.clock_gettime(time.CLOCK_BOOTTIME),
            wall_utc_s=time.time(),
            wall_trusted=self._vouched_for or self._kernel_is_synchronised(),
        )

    def boot_id(self) -> str:
        """The kernel's id of this boot (random(4)).

        Where it cannot be read: an id never seen before, so that times kept from earlier are
        taken as those of another boot. That errs to the safe side, a compressor waits.
        """
        return self._boot_id

    def vouch_for_wall(self, is_set: bool) -> None:
        """A person's word that the wall clock is set; it holds until taken back or a restart."""
        self._vouched_for = is_set

    def wait_until(self, mono_s: float) -> bool:
        """Wait until then; True if woken early by `wake()`, which is thereby used up."""
        while True:
            left_s = mono_s - time.clock_gettime(time.CLOCK_BOOTTIME)
            slice_s = min(max(left_s, 0.0), LONGEST_SLICE_S)
            if self._poll.poll(slice_s * 1000.0):
                os.eventfd_read(self._wake_fd)
                return True
            if left_s <= LONGEST_SLICE_S and time.clock_gettime(time.CLOCK_BOOTTIME) >= mono_s:
                return False

    def wake(self) -> None:
        """End the present (or next) wait now; may be called from a signal handler or a thread."""
        fd = self._wake_fd
        if fd >= 0:
            os.eventfd_write(fd, 1)


class KernelSyncFlag:
    """Whether the kernel's clock discipline says that the wall clock is synchronised.

    Reads adjtimex(2) with no mode bits set, which needs no privilege. Time services (NTP, PTP,
    GPS) clear STA_UNSYNC; the kernel sets it again when nobody has disciplined the clock for
    hours.
    """

    def __init__(
        self, adjtimex: Callable[[ctypes.Array[ctypes.c_char]], int] | None = None
    ) -> None:
        self._adjtimex = adjtimex or _adjtimex_of_libc()
        self._told_of_refusal = False

    def __call__(self) -> bool:
        """True only if the kernel answered and STA_UNSYNC is clear."""
        if self._adjtimex is None:
            return self._refused("this C library has no adjtimex")
        buffer = ctypes.create_string_buffer(_TIMEX_ROOM_BYTES)
        if self._adjtimex(buffer) < 0:
            return self._refused(os.strerror(ctypes.get_errno()))
        return not _TimexHead.from_buffer(buffer).status & STA_UNSYNC

    def _refused(self, why: str) -> bool:
        if not self._told_of_refusal:
            self._told_of_refusal = True
            log.warning(
                "the kernel does not say whether the wall clock is set (%s): it is not trusted, "
                "and calendar steps wait until a person vouches for it",
                why,
            )
        return False


class _TimexHead(ctypes.Structure):
    """The first fields of struct timex (adjtimex(2)); no more are needed."""

    _fields_ = (
        ("modes", ctypes.c_uint),
        ("offset", ctypes.c_long),
        ("freq", ctypes.c_long),
        ("maxerror", ctypes.c_long),
        ("esterror", ctypes.c_long),
        ("status", ctypes.c_int),
    )


_TIMEX_ROOM_BYTES = 512
"""struct timex takes 208 bytes on 64-bit Linux and less on 32-bit; room to spare."""


def _adjtimex_of_libc() -> Callable[[ctypes.Array[ctypes.c_char]], int] | None:
    function = getattr(ctypes.CDLL(None, use_errno=True), "adjtimex", None)
    if function is None:
        return None

    def adjtimex(buffer: ctypes.Array[ctypes.c_char]) -> int:
        return int(function(buffer))

    return adjtimex


def _read_boot_id(root: Path) -> str:
    path = root / BOOT_ID_PATH
    try:
        boot_id = path.read_text(encoding="ascii").strip()
    except (OSError, UnicodeDecodeError) as error:
        log.warning("cannot read %s (%s): this start counts as a new boot", path, error)
        boot_id = ""
    return boot_id or f"unknown-{uuid.uuid4()}"
