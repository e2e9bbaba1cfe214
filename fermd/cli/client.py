"""Talking to the daemon: HTTP over its Unix socket. What goes wrong says why and what to do."""

from __future__ import annotations

import errno
import os
import socket
from collections.abc import Mapping
from dataclasses import fields
from pathlib import Path
from typing import Any, Final
from urllib.parse import quote

import click
import httpx

from fermd.cli.exits import Failure
from fermd.config.errors import ConfigError, Fault
from fermd.config.site import BoardSettings
from fermd.config.toml_file import read_toml

PATIENCE_S: Final = 10.0
"""The daemon gives up on its own loop after 5 s and says so; what takes longer is not coming, s."""

USUAL_SOCKET: Final = next(
    Path(str(field.default)) for field in fields(BoardSettings) if field.name == "socket_path"
)

Plain = dict[str, Any]


class Refused(Failure):
    """The daemon took the question and said no."""

    def __init__(self, why: str) -> None:
        super().__init__(f"refused: {why}", os.EX_TEMPFAIL)
        self.why = why


def socket_path(given: Path | None, site: Path | None) -> Path:
    """Return the socket to use: the one given, the one that the site file names, or the usual one.

    Raises ConfigError if the site file cannot be read. Only this key of it is looked at: the
    daemon may well be running while somebody edits the rest.
    """
    if given is not None:
        return given
    if site is None:
        return USUAL_SOCKET
    named = read_toml(site).get("socket_path", str(USUAL_SOCKET))
    if not isinstance(named, str) or not named:
        raise ConfigError(site, [Fault("socket_path", named, "must be a path in quotes")])
    return Path(named)


class Daemon:
    """The running daemon. Every method raises `Failure` if it cannot be reached or says no."""

    def __init__(self, path: Path, timeout_s: float = PATIENCE_S) -> None:
        self.socket: Final = path
        self._timeout_s = timeout_s
        self._client: httpx.Client | None = None

    def status(self) -> Plain:
        """Return everything at a glance."""
        answer = self._ask("GET", "/api/status")
        if not isinstance(answer, dict) or not isinstance(answer.get("chambers"), dict):
            raise self._not_understood("a status without chambers")
        return answer

    def probes(self) -> list[Plain]:
        """Return every probe with its health and counters."""
        return self._listed("/api/probes")

    def events(self, limit: int) -> list[Plain]:
        """Return what happened last, newest first."""
        return self._listed(f"/api/events?limit={limit}")

    def order(self, chamber: str, command: Mapping[str, Any]) -> Plain:
        """Have a chamber take a command; the empty name is the board itself."""
        place = f"/api/chambers/{quote(chamber, safe='')}" if chamber else "/api/site"
        answer: Plain = self._ask("POST", f"{place}/commands", command)
        return answer

    def note(
        self, chamber: str, who: str, text: str, more: Mapping[str, Any] | None = None
    ) -> Plain:
        """Put a note into the journal; `more` has its kind, its value and its time."""
        place = f"/api/chambers/{quote(chamber, safe='')}/notes"
        answer: Plain = self._ask("POST", place, {"who": who, "text": text, **(more or {})})
        return answer

    def calibrate(self, probe: str, offset_c: float | None) -> Plain:
        """Set a probe's offset (K): by what it reads in ice water now, or to this."""
        place = f"/api/probes/{quote(probe, safe='')}/calibrate"
        body = {} if offset_c is None else {"offset_c": offset_c}
        answer: Plain = self._ask("POST", place, body)
        return answer

    def _listed(self, place: str) -> list[Plain]:
        answer = self._ask("GET", place)
        if not isinstance(answer, list):
            raise self._not_understood(f"{place} is not a list")
        return answer

    def _ask(self, method: str, place: str, body: Mapping[str, Any] | None = None) -> Any:
        if self._client is None:
            self._reach()
            self._client = httpx.Client(
                transport=httpx.HTTPTransport(uds=str(self.socket)),
                base_url="http://fermd",
                timeout=self._timeout_s,
                # A proxy of the environment is not for a socket on this machine.
                trust_env=False,
            )
            context = click.get_current_context(silent=True)
            if context is not None:
                context.call_on_close(self._client.close)
        try:
            answer = self._client.request(method, place, json=body)
        except httpx.TimeoutException as error:
            raise Failure(
                f"{self.socket}: the daemon does not answer within {self._timeout_s:g} s; look at "
                "`systemctl status fermd`",
                os.EX_UNAVAILABLE,
            ) from error
        except httpx.HTTPError as error:
            raise self._not_understood(str(error)) from error
        return self._read(answer)

    def _read(self, answer: httpx.Response) -> Any:
        try:
            body = answer.json()
        except (ValueError, RecursionError) as error:
            raise self._not_understood("the answer is not JSON") from error
        if answer.is_success:
            return body
        why = str(body.get("why", "no reason given")) if isinstance(body, dict) else str(body)
        match answer.status_code:
            case 409:
                raise Refused(why)
            case 422 | 413:
                raise Failure(f"not understood by the daemon: {why}", os.EX_DATAERR)
            case 404 if isinstance(body, dict) and "why" in body:
                raise Failure(why, os.EX_USAGE)
            case 503:
                raise Failure(f"{self.socket}: {why}; try again in a moment", os.EX_UNAVAILABLE)
        raise self._not_understood(f"HTTP status {answer.status_code}")

    def _reach(self) -> None:
        """Connect once, only to learn from the system itself why it cannot be done."""
        with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as trial:
            trial.settimeout(self._timeout_s)
            try:
                trial.connect(str(self.socket))
            except (OSError, ValueError) as error:
                raise self._unreachable(error) from error

    def _unreachable(self, error: OSError | ValueError) -> Failure:
        """Say why there is no connection, by the system's own error."""
        number = error.errno if isinstance(error, OSError) else None
        start = "start it with `systemctl start fermd` or `fermd run`"
        match number:
            case errno.ENOENT | errno.ENOTDIR:
                why = f"does not exist: the daemon is not running; {start}"
                why += ", or name its socket with --socket or its site file with --site"
            case errno.ECONNREFUSED | errno.ENOTSOCK:
                why = f"nobody listens there: the daemon is not running; {start}"
            case errno.EACCES | errno.EPERM:
                why = "this user may not talk to the daemon; add the user to its group "
                why += "(`sudo adduser $USER fermd`) and log in again, or use sudo"
                return Failure(f"{self.socket}: {why}", os.EX_NOPERM)
            case _:
                why = f"the daemon cannot be reached ({error}); look at "
                why += "`systemctl status fermd`"
        return Failure(f"{self.socket}: {why}", os.EX_UNAVAILABLE)

    def _not_understood(self, what: str) -> Failure:
        return Failure(
            f"{self.socket}: the answer cannot be understood ({what}); is it fermd that listens "
            "there, and of the same version?",
            os.EX_PROTOCOL,
        )
