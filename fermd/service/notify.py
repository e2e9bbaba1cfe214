"""Talking to the service manager: ready, status, reload, stop, and the watchdog's food.

The protocol is one datagram of `KEY=value` lines to the socket named in NOTIFY_SOCKET
(sd_notify(3)), and is documented as stable. It is written out here because no package on PyPI
does what a control loop needs: sdnotify (0.3.2, 2017) and sd-notify (0.1.0, 2020) have not been
touched for years, leave the socket blocking and know no watchdog; systemd-watchdog rations
keep-alives by itself and knows no reload time; cysystemd and systemd-python are compiled against
libsystemd.

Rules that hold here:

- Nothing raises and nothing blocks: a service manager that does not listen must not stop a
  compressor's guard. Each call says whether the datagram went out.
- The watchdog is fed by the control loop itself after a completed tick, never by a thread or
  timer of its own: a stuck loop must starve it.
"""

from __future__ import annotations

import logging
import os
import socket
import time
from collections.abc import Mapping

log = logging.getLogger(__name__)

LONGEST_STATUS_CHARS = 200
"""What `systemctl status` shows on a line of a wide terminal; longer text is cut."""


class ServiceManager:
    """The service manager that started this process, or none.

    manager = ServiceManager.from_environment(os.environ)
    manager.ready("holding 18.0 °C")
    ...
    manager.alive()    # at the end of each completed tick
    """

    def __init__(self, address: str | None, watchdog_s: float | None = None) -> None:
        self.watchdog_s = watchdog_s
        """The service manager acts when it has not heard `alive()` for so long; None: never."""
        self._address = address
        self._socket: socket.socket | None = None
        self._told_of_silence = False

    @classmethod
    def from_environment(
        cls, environment: Mapping[str, str] = os.environ, pid: int | None = None
    ) -> ServiceManager:
        """Read NOTIFY_SOCKET, WATCHDOG_USEC and WATCHDOG_PID (sd_watchdog_enabled(3)).

        A watchdog meant for another process (WATCHDOG_PID) is not ours. Text that is not a
        number is told in the log and counts as no watchdog.
        """
        return cls(
            address=_checked_address(environment.get("NOTIFY_SOCKET", "")),
            watchdog_s=_watchdog_s(environment, os.getpid() if pid is None else pid),
        )

    @property
    def listens(self) -> bool:
        """True if a service manager asked to be told."""
        return self._address is not None

    def ready(self, status: str | None = None) -> bool:
        """Start (or a reload) is finished: outputs are safe and the loop is running."""
        return self._send("READY=1", *_status_lines(status))

    def status(self, text: str) -> bool:
        """One line for `systemctl status`."""
        return self._send(*_status_lines(text))

    def alive(self, status: str | None = None) -> bool:
        """Feed the watchdog; only after a completed tick."""
        if self.watchdog_s is None:
            return self._send(*_status_lines(status)) if status is not None else False
        return self._send("WATCHDOG=1", *_status_lines(status))

    def reloading(self, status: str | None = None) -> bool:
        """The site file is being read again; `ready()` must follow."""
        now_us = time.clock_gettime_ns(time.CLOCK_MONOTONIC) // 1000
        return self._send("RELOADING=1", f"MONOTONIC_USEC={now_us}", *_status_lines(status))

    def stopping(self, status: str | None = None) -> bool:
        """The stop has begun."""
        return self._send("STOPPING=1", *_status_lines(status))

    def extend_timeout(self, seconds: float) -> bool:
        """Ask for more time to start or stop: so long from now until the next sign of life."""
        return self._send(f"EXTEND_TIMEOUT_USEC={max(1, round(seconds * 1e6))}")

    def close(self) -> None:
        """Give the socket back; a later call opens it again."""
        if self._socket is not None:
            self._socket.close()
            self._socket = None

    def _send(self, *lines: str) -> bool:
        if self._address is None or not lines:
            return False
        try:
            if self._socket is None:
                self._socket = socket.socket(
                    socket.AF_UNIX, socket.SOCK_DGRAM | socket.SOCK_CLOEXEC | socket.SOCK_NONBLOCK
                )
            self._socket.sendto("\n".join(lines).encode(), _kernel_address(self._address))
        except (OSError, UnicodeError) as error:
            if not self._told_of_silence:
                self._told_of_silence = True
                log.warning(
                    "the service manager could not be told %s at %s: %s (told once)",
                    lines[0],
                    self._address,
                    error,
                )
            return False
        self._told_of_silence = False
        return True


def _status_lines(text: str | None) -> tuple[str, ...]:
    if text is None:
        return ()
    one_line = " ".join(text.split())
    if len(one_line) > LONGEST_STATUS_CHARS:
        one_line = one_line[: LONGEST_STATUS_CHARS - 1] + "…"
    return (f"STATUS={one_line}",)


def _checked_address(address: str) -> str | None:
    if not address:
        return None
    if address[0] not in "/@" or len(address) == 1:
        log.warning(
            "NOTIFY_SOCKET = %r: must be an absolute path or begin with @; "
            "the service manager will not be told anything",
            address,
        )
        return None
    return address


def _kernel_address(address: str) -> str:
    """An abstract name is written with @ and begins, for the kernel, with a zero byte."""
    return "\0" + address[1:] if address[0] == "@" else address


def _watchdog_s(environment: Mapping[str, str], pid: int) -> float | None:
    text = environment.get("WATCHDOG_USEC", "")
    if not text:
        return None
    owner = environment.get("WATCHDOG_PID", "")
    try:
        period_us, owner_pid = int(text), int(owner) if owner else pid
    except ValueError:
        log.warning(
            "WATCHDOG_USEC = %r, WATCHDOG_PID = %r: both must be whole numbers; no watchdog is fed",
            text,
            owner,
        )
        return None
    if period_us <= 0 or owner_pid != pid:
        return None
    return period_us / 1e6
