"""The file with the addresses: a key and a URL a line, readable by its owner alone.

It is looked at again for every message, so that a new address needs no restart. No value of it ever
stands in an error.
"""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path
from typing import Final

from fermd.config.errors import ConfigError
from fermd.config.secret_file import GROUP_READS, SecretFileError, read_private
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
        allowed = GROUP_READS if self._is_credential() else 0
        try:
            raw = read_private(self.path, LARGEST_FILE_BYTES, allowed).raw
            found = parse_toml(raw.decode("utf-8"), self.path)
        except SecretFileError as error:
            raise self._address_error(error) from None
        except UnicodeDecodeError:
            raise AddressError(f"{self.path}: is not UTF-8; save it as UTF-8") from None
        except ConfigError as error:
            raise AddressError(str(error)) from None
        for key, value in found.items():
            if not isinstance(value, str) or "://" not in value:
                why = 'must be a URL in quotes, such as "mailtos://..." (its value is not shown)'
                raise AddressError(f"{self.path}: {key}: {why}")
        return found

    def _address_error(self, error: SecretFileError) -> AddressError:
        match error.cause:
            case None:
                return AddressError(str(error))
            case PermissionError():
                why = "may not be read by this user; it must belong to the user that the daemon"
                return AddressError(f"{self.path}: {why} runs as", unreadable=True)
            case cause:
                why = f"cannot be read ({cause.strerror or cause})"
                return AddressError(f"{self.path}: {why}; make it: see fermd/messages/README.md")

    def _is_credential(self) -> bool:
        """Whether the service manager keeps it (systemd.exec(5), LoadCredential=).

        Such a file belongs to root, and an access control list lets the service read it; the list's
        mask shows as a permission of the group.
        """
        folder = os.environ.get("CREDENTIALS_DIRECTORY", "")
        return bool(folder) and self.path.parent == Path(folder)
