"""User and password for the broker: a TOML file that only its owner may read.

    user = "cellar"
    password = "..."

The text of the file is in no message, log or repr.
"""

from __future__ import annotations

import os
import stat
import tomllib
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

from fermd.broker.errors import SecretsError

KEYS: Final = ("user", "password")
LONGEST_FILE_BYTES: Final = 4096
LONGEST_TEXT_BYTES: Final = 1024


@dataclass(frozen=True, slots=True)
class Credentials:
    """Who the board is to the broker."""

    user: str
    password: str | None = field(default=None, repr=False)


def read_credentials(path: Path) -> Credentials:
    """Return what a secrets file holds.

    Raises:
        SecretsError: the file is not there, can be read by others, or is not as it should be.

    """
    text = _read(path)
    try:
        table: dict[str, Any] = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        # Its own text may quote the file.
        place = f"line {error.lineno}" if hasattr(error, "lineno") else "somewhere"
        raise SecretsError(
            f'{path}: is no TOML ({place}); it must have the lines user = "..." and '
            'password = "..."'
        ) from None
    for key in table:
        if key not in KEYS:
            raise SecretsError(f"{path}: {key!r:.60}: unknown key; known here: {', '.join(KEYS)}")
    if "user" not in table:
        raise SecretsError(f'{path}: user: is missing; add the line user = "..."')
    for key, value in table.items():
        if not isinstance(value, str) or not value:
            raise SecretsError(f"{path}: {key}: must be text between quotes, and not empty")
        if len(value.encode()) > LONGEST_TEXT_BYTES or "\0" in value:
            raise SecretsError(
                f"{path}: {key}: must have at most {LONGEST_TEXT_BYTES} bytes and no NUL"
            )
    return Credentials(table["user"], table.get("password"))


def _read(path: Path) -> str:
    try:
        descriptor = os.open(path, os.O_RDONLY | os.O_CLOEXEC | os.O_NONBLOCK)
    except OSError as error:
        why = error.strerror or str(error)
        raise SecretsError(
            f"{path}: cannot be read ({why}); it must belong to the user that the daemon runs as "
            'and have the lines user = "..." and password = "..."'
        ) from None
    with os.fdopen(descriptor, "rb") as file:
        about = os.fstat(file.fileno())
        if not stat.S_ISREG(about.st_mode):
            raise SecretsError(f"{path}: is no ordinary file")
        if about.st_mode & 0o077:
            mode = stat.S_IMODE(about.st_mode)
            raise SecretsError(
                f"{path}: others may read or change it (mode {mode:04o}); `chmod 600 {path}`"
            )
        raw = file.read(LONGEST_FILE_BYTES + 1)
    if len(raw) > LONGEST_FILE_BYTES:
        raise SecretsError(f"{path}: must have at most {LONGEST_FILE_BYTES} bytes")
    try:
        return raw.decode()
    except UnicodeDecodeError:
        raise SecretsError(f"{path}: must be text in UTF-8") from None
