"""User and password for the broker: a TOML file that only its owner may read.

    user = "cellar"
    password = "..."

The text of the file is in no message, log or repr.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

from fermd.broker.errors import SecretsError
from fermd.config.secret_file import SecretFileError, read_secret

KEYS: Final = ("user", "password")
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
    try:
        text = read_secret(path)
    except SecretFileError as error:
        raise SecretsError(str(error)) from None
    try:
        table: dict[str, Any] = tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        # Its own text may quote the file.
        raise SecretsError(
            f'{path}: is no TOML; it must have the lines user = "..." and password = "..."'
        ) from None
    if not set(table) <= set(KEYS):
        # Not which: a password without its key would be one.
        raise SecretsError(f"{path}: has a key beside {' and '.join(KEYS)}; take it out")
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
