"""Sending one message: to an address, or to a command; never longer than the time limit.

What runs is a process of its own in a session of its own, so that it can be ended with all that it
has started. Nothing that could hold an address (its standard error, the library's log) is let out
without every part of the address taken out.
"""

from __future__ import annotations

import contextlib
import json
import os
import signal
import subprocess
import sys
import threading
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import Enum, auto
from pathlib import Path
from typing import Any, Final, Literal

from fermd.config.messages import MessageSettings, RecipientSettings
from fermd.control.events import Severity
from fermd.messages.redaction import reason
from fermd.messages.secret_file import AddressError, SecretFile

_CHILD: Final = Path(__file__).with_name("address_process.py")

_PASSED_ON: Final = ("PATH", "LANG", "LC_ALL", "TZ", "HOME", "USER", "LOGNAME", "SSL_CERT_FILE")
_PASSED_TO_NETWORK: Final = ("http_proxy", "https_proxy", "no_proxy", "HTTPS_PROXY", "NO_PROXY")
"""What of the daemon's environment is handed on: nothing that the service manager gave to it."""


class End(Enum):
    """How an attempt ended."""

    ARRIVED = auto()
    """The other side has taken it."""
    REFUSED = auto()
    """It has not been taken."""
    UNKNOWN = auto()
    """It may have been taken: the time limit ran out, or the process was ended."""


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of an attempt."""

    end: End
    why: str = ""


@dataclass(frozen=True, slots=True)
class Message:
    """What is sent."""

    number: int
    title: str
    text: str
    severity: Severity


class Sending:
    """Sends for a site. Used by several threads; `close()` ends what still runs."""

    def __init__(self, settings: MessageSettings) -> None:
        self._settings = settings
        self._secrets = SecretFile(settings.secrets_file)
        self._running: set[subprocess.Popen[bytes]] = set()
        self._lock = threading.Lock()
        self._closed = False

    def send(self, name: str, recipient: RecipientSettings, message: Message) -> Outcome:
        """Send a message; returns when its end is known or the time limit has run out."""
        if recipient.command:
            return self._run_command(recipient.command, message)
        try:
            url = self._secrets.address(recipient.address or name)
        except AddressError as error:
            return Outcome(End.REFUSED, str(error))
        order = {
            "url": url,
            "title": message.title,
            "text": message.text,
            "severity": message.severity.value,
        }
        return self._ask_child(order, url)

    def check(self, name: str, recipient: RecipientSettings) -> None:
        """Look whether a recipient could be sent to. Raises AddressError with what is wrong."""
        if recipient.command:
            program = Path(recipient.command[0])
            if not program.is_file() or not os.access(program, os.X_OK):
                raise AddressError(f"{program}: is no program that this user may run")
            return
        key = recipient.address or name
        url = self._secrets.address(key)
        outcome = self._ask_child({"url": url, "check": True}, url)
        if outcome.end is not End.ARRIVED:
            raise AddressError(f"{self._secrets.path}: {key}: {outcome.why}")

    def close(self) -> None:
        """End what still runs, and start nothing more."""
        with self._lock:
            self._closed = True
            for process in self._running:
                _end(process)

    def _ask_child(self, order: Mapping[str, Any], url: str) -> Outcome:
        given = json.dumps(order).encode()
        # -P: nothing of this folder hides a module of the library's.
        argv = [sys.executable, "-P", str(_CHILD)]
        code, told = self._run(
            argv, given, _environment(_PASSED_ON + _PASSED_TO_NETWORK), listen_to="stdout"
        )
        if code is None:
            return Outcome(End.UNKNOWN, self._too_long())
        try:
            answer = json.loads(told)
            ok, why = bool(answer["ok"]), reason(str(answer["why"]), url)
        except (ValueError, KeyError, TypeError):
            return Outcome(End.UNKNOWN, f"the sending process ended with {code} and said nothing")
        return Outcome(End.ARRIVED) if ok else Outcome(End.REFUSED, why)

    def _run_command(self, command: Sequence[str], message: Message) -> Outcome:
        environment = _environment(_PASSED_ON) | {
            "FERMD_TITLE": message.title,
            "FERMD_TEXT": message.text,
            "FERMD_SEVERITY": message.severity.value,
            "FERMD_NUMBER": str(message.number),
        }
        given = f"{message.title}\n\n{message.text}\n".encode("utf-8", "replace")
        try:
            code, complaint = self._run(command, given, environment, listen_to="stderr")
        except OSError as error:
            return Outcome(End.REFUSED, f"{command[0]}: {error.strerror or error}")
        if code is None:
            return Outcome(End.UNKNOWN, f"{command[0]}: {self._too_long()}")
        if code < 0:
            return Outcome(End.UNKNOWN, f"{command[0]} was ended by signal {-code}")
        if code > 0:
            last = (complaint.decode("utf-8", "replace").strip().splitlines() or [""])[-1]
            return Outcome(
                End.REFUSED, reason(f"{command[0]} ended with {code}: {last}".rstrip(": "))
            )
        return Outcome(End.ARRIVED)

    def _too_long(self) -> str:
        return f"no end within {self._settings.time_limit_s:g} s; it may have arrived"

    def _run(
        self,
        argv: Sequence[str],
        given: bytes,
        environment: Mapping[str, str],
        listen_to: Literal["stdout", "stderr"],
    ) -> tuple[int | None, bytes]:
        """Run a program with this input; return its exit code and what it said.

        The code is None if it was ended. Raises OSError if it cannot be started.
        """
        with self._lock:
            if self._closed:
                return None, b""
            process = subprocess.Popen(  # noqa: S603 - no shell; the brewer names the program
                list(argv),
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE if listen_to == "stdout" else subprocess.DEVNULL,
                stderr=subprocess.PIPE if listen_to == "stderr" else subprocess.DEVNULL,
                env=dict(environment),
                cwd="/",
                start_new_session=True,
            )
            self._running.add(process)
        try:
            said = process.communicate(given, timeout=self._settings.time_limit_s)
        except subprocess.TimeoutExpired:
            _end(process)
            process.wait()
            return None, b""
        finally:
            with self._lock:
                self._running.discard(process)
            # What has left the session may hold the other ends open for ever.
            for pipe in (process.stdin, process.stdout, process.stderr):
                if pipe is not None:
                    pipe.close()
        return process.returncode, said[0] if listen_to == "stdout" else said[1]


def _end(process: subprocess.Popen[bytes]) -> None:
    with contextlib.suppress(ProcessLookupError, PermissionError):
        os.killpg(process.pid, signal.SIGKILL)


def _environment(names: Sequence[str]) -> dict[str, str]:
    found = {name: os.environ[name] for name in names if name in os.environ}
    return {"PATH": "/usr/local/bin:/usr/bin:/bin"} | found
