"""The file with the addresses: a key and a URL a line, readable by its owner alone.

It is looked at again for every message, so that a new address needs no restart. No value of it ever
stands in an error.
"""

from __future__ import annotations

import os
import stat
from collections.abc import Mapping
from pathlib import Path
from typing import Final

from fermd.config.errors import ConfigError
from fermd.config.toml_file import LARGEST_FILE_BYTES, parse_toml


class AddressError(Exception):
    """There is no address that could be used; the text says what to do."""

    def __init__(self, text: str, *, unreadable: bool = False) -> None:
        super().__init__(text)
        self.unreadable: Final = unreadable
        """This user may not look; another may."""


class SecretFile:
    """The file as it is now."""

    def __init__(self, path: Path) -> None:
        self.path: Final = path

    def address(self, key: str) -> str:
        """Return the address under a key. Raises AddressError."""
        addresses = self.read()
        if key not in addresses:
            raise AddressError(f'{self.path}: {key}: is missing; add a line: {key} = "URL"')
        return addresses[key]

    def read(self) -> Mapping[str, str]:
        """Return all addresses by their keys. Raises AddressError."""
        try:
            descriptor = os.open(self.path, os.O_RDONLY | os.O_CLOEXEC | os.O_NONBLOCK)
        except PermissionError:
            why = "may not be read by this user; it must belong to the user that the daemon runs as"
            raise AddressError(f"{self.path}: {why}", unreadable=True) from None
        except OSError as error:
            why = (
                f"cannot be read ({error.strerror or error}); make it: see fermd/messages/README.md"
            )
            raise AddressError(f"{self.path}: {why}") from None
        with os.fdopen(descriptor, "rb") as file:
            self._check(os.fstat(file.fileno()))
            raw = file.read(LARGEST_FILE_BYTES)
        try:
            found = parse_toml(raw.decode("utf-8"), self.path)
        except UnicodeDecodeError:
            raise AddressError(f"{self.path}: is not UTF-8; save it as UTF-8") from None
        except ConfigError as error:
            raise AddressError(str(error)) from None
        for key, value in found.items():
            if not isinstance(value, str) or "://" not in value:
                why = 'must be a URL in quotes, such as "mailtos://..." (its value is not shown)'
                raise AddressError(f"{self.path}: {key}: {why}")
        return found

    def _check(self, about: os.stat_result) -> None:
        if not stat.S_ISREG(about.st_mode):
            raise AddressError(f"{self.path}: is no ordinary file; put the addresses into one")
        allowed = 0o7700 | (0o040 if self._is_credential() else 0)
        if about.st_mode & 0o7777 & ~allowed:
            mode = stat.S_IMODE(about.st_mode)
            raise AddressError(
                f"{self.path}: others may read or change it (mode {mode:04o}); "
                f"`chmod 600 {self.path}`"
            )

    def _is_credential(self) -> bool:
        """Whether the service manager keeps it (systemd.exec(5), LoadCredential=).

        Such a file belongs to root, and an access control list lets the service read it; the list's
        mask shows as a permission of the group.
        """
        folder = os.environ.get("CREDENTIALS_DIRECTORY", "")
        return bool(folder) and self.path.parent == Path(folder)
