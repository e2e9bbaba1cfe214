"""Files that hold a secret: read only if nobody but their owner can.

The one place that opens such a file. What is in it is in no message, log or repr.
"""

from __future__ import annotations

import os
import stat
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

LONGEST_BYTES: Final = 4096

OTHERS: Final = 0o077
"""The permissions of everybody but the owner; none of them may be given ..."""
GROUP_READS: Final = 0o040
"""... but this one, where a caller knows it for the mask of an access control list."""


class SecretFileError(Exception):
    """A file with a secret cannot be used; the text names it and says what to do."""

    def __init__(self, text: str, cause: OSError | None = None) -> None:
        super().__init__(text)
        self.cause: Final = cause
        """Why it could not be opened; None if it was, and will not do."""


@dataclass(frozen=True, slots=True)
class Secret:
    """What is in such a file."""

    raw: bytes = field(repr=False)
    about: os.stat_result
    """Of the file that was read."""


def read_private(path: Path, longest_bytes: int = LONGEST_BYTES, allowed: int = 0) -> Secret:
    """Return the bytes of a file that only its owner may read or change.

    `allowed` are permissions of others that do no harm here (see `GROUP_READS`).

    Raises:
        SecretFileError: it cannot be opened, is not the owner's alone, or is too long.

    """
    try:
        descriptor = os.open(path, os.O_RDONLY | os.O_CLOEXEC | os.O_NONBLOCK)
    except OSError as error:
        why = error.strerror or str(error)
        raise SecretFileError(
            f"{path}: cannot be read ({why}); it must be there, belong to the user that the daemon "
            "runs as, and have mode 0600",
            error,
        ) from None
    try:
        about = os.fstat(descriptor)
        if not stat.S_ISREG(about.st_mode):
            raise SecretFileError(f"{path}: is no ordinary file; it must be one")
        if about.st_mode & OTHERS & ~allowed:
            mode = stat.S_IMODE(about.st_mode)
            raise SecretFileError(
                f"{path}: others may read or change it (mode {mode:04o}); `chmod 600 {path}`"
            )
        with os.fdopen(descriptor, "rb", closefd=False) as file:
            raw = file.read(longest_bytes + 1)
    finally:
        os.close(descriptor)
    if len(raw) > longest_bytes:
        raise SecretFileError(f"{path}: must have at most {longest_bytes} bytes")
    return Secret(raw, about)


def read_secret(path: Path) -> str:
    """Return the text of a file that only its owner may read or change.

    Raises:
        SecretFileError: it is not there, is not the owner's alone, or is no text.

    """
    try:
        return read_private(path).raw.decode()
    except UnicodeDecodeError:
        raise SecretFileError(f"{path}: must be text in UTF-8") from None
