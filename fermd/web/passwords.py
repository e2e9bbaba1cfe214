"""The password of the page: kept as a hash by Argon2id (RFC 9106) in a file of its owner alone.

Parameters: 9 MiB, 4 passes, 1 lane, which OWASP's Password Storage Cheat Sheet gives as equal to
its first choice of 19 MiB; a daemon that must stay below 80 MB cannot spare the 64 MiB of
RFC 9106's second choice.
"""

from __future__ import annotations

import contextlib
import os
import tempfile
from pathlib import Path
from typing import Final

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError

from fermd.config.secret_file import SecretFileError, read_private

SHORTEST_CHARS: Final = 8
"""NIST SP 800-63B, 5.1.1.2: at least 8 characters, and no rules on what they are."""
LONGEST_CHARS: Final = 256

FILE_MODE: Final = 0o600
_LONGEST_FILE_BYTES: Final = 1024

_HASHER: Final = PasswordHasher(time_cost=4, memory_cost=9216, parallelism=1)


class PasswordError(Exception):
    """There is no password that could be used; the text says what to do."""


def write_password(path: Path, password: str) -> None:
    """Put the hash of a password into a file, in place of what was there.

    Run by root, the file gets the owner of its folder: that is the daemon's user.

    Raises:
        ValueError: the password is too short or too long.
        OSError: the file cannot be written.

    """
    if not SHORTEST_CHARS <= len(password) <= LONGEST_CHARS:
        raise ValueError(f"must have {SHORTEST_CHARS} to {LONGEST_CHARS} characters")
    text = _HASHER.hash(password) + "\n"
    # Made with mode 0600, and the old one stays until the new one is whole.
    descriptor, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}-")
    try:
        with os.fdopen(descriptor, "w", encoding="ascii") as file:
            os.fchmod(file.fileno(), FILE_MODE)
            if os.geteuid() == 0:
                owner = path.parent.stat()
                os.fchown(file.fileno(), owner.st_uid, owner.st_gid)
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        Path(name).replace(path)
    except BaseException:
        with contextlib.suppress(FileNotFoundError):
            Path(name).unlink()
        raise


class PasswordFile:
    """The password as it is now: the file is looked at again for every question."""

    def __init__(self, path: Path) -> None:
        self._path = path

    def stamp(self) -> object:
        """Return what differs when the password has been changed; None without a usable one."""
        try:
            _, about = self._read()
        except PasswordError:
            return None
        return about.st_mtime_ns, about.st_ino

    def check(self) -> None:
        """Raise PasswordError if there is no password that could be used."""
        self._read()

    def is_right(self, password: str) -> bool:
        """Whether this is the password; takes as long as the hash is meant to take."""
        if len(password) > LONGEST_CHARS:
            return False
        text, _ = self._read()
        try:
            return _HASHER.verify(text, password)
        except (VerificationError, InvalidHashError):
            return False

    def _read(self) -> tuple[str, os.stat_result]:
        set_it = "set one with `fermd password`"
        try:
            found = read_private(self._path, _LONGEST_FILE_BYTES)
        except SecretFileError as error:
            if isinstance(error.cause, FileNotFoundError):
                raise PasswordError(f"{self._path}: there is no password yet; {set_it}") from None
            raise PasswordError(f"{error}, or {set_it}") from None
        text = found.raw.decode("ascii", "replace").strip()
        if not text.startswith("$argon2id$"):
            raise PasswordError(f"{self._path}: holds no hash by Argon2id; {set_it}")
        return text, found.about
