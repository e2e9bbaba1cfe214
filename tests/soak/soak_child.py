"""A daemon forked from a process that has everything imported: the same code, 0.5 s of CPU less.

What stands between such a start and one by a fresh interpreter is imports alone; one life in a few
is begun by a fresh interpreter all the same.
"""

from __future__ import annotations

import os
import signal
import sys
from collections.abc import Mapping
from contextlib import suppress
from multiprocessing import get_context
from multiprocessing.context import ForkServerProcess
from pathlib import Path
from typing import IO

import daemon_on_mock_pins

# Loaded once by the server that forks; in a fresh interpreter they are loaded after the relays
# are off.
import fermd.service.daemon
import fermd.web.serving  # noqa: F401

FORKS = get_context("forkserver")
FORKS.set_forkserver_preload([__name__])


def live(
    what: str, site_path: Path, folder: Path, environment: Mapping[str, str], errors: Path
) -> None:
    """Be the daemon (or the release) in this process."""
    os.environ.update(environment)
    wanted = os.open(errors, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o600)
    os.dup2(wanted, 1)
    os.dup2(wanted, 2)
    os.close(wanted)
    sys.exit(daemon_on_mock_pins.main(what, site_path, folder))


class ForkedDaemon:
    """A forked daemon with the face of a `subprocess.Popen`."""

    def __init__(
        self, what: str, site_path: Path, folder: Path, environment: Mapping[str, str], errors: Path
    ) -> None:
        self._errors = errors
        self._process: ForkServerProcess = FORKS.Process(
            target=live, args=(what, site_path, folder, dict(environment), errors), daemon=True
        )
        self._process.start()
        assert self._process.pid is not None
        self.pid: int = self._process.pid
        errors.touch()
        self.stderr: IO[str] = errors.open(encoding="utf-8", errors="replace")

    def poll(self) -> int | None:
        """The exit code, negative for a signal; None while it lives."""
        return self._process.exitcode

    def wait(self, timeout: float | None = None) -> int:
        """Wait for the end."""
        self._process.join(timeout)
        code = self._process.exitcode
        if code is None:
            raise TimeoutError(f"process {self.pid} lives on")
        return code

    def send_signal(self, number: int) -> None:
        # The forking server has waited for it already when it is gone.
        with suppress(ProcessLookupError):
            os.kill(self.pid, number)

    def kill(self) -> None:
        if self.poll() is None:
            self.send_signal(signal.SIGKILL)
