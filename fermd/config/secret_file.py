"""Files that hold a secret: read only if nobody but their owner can.

What is in them is in no message, log or repr.
"""

from __future__ import annotations

import os
import stat
from pathlib import Path
from typing import Final

LONGEST_BYTES: Final = 4096


class SecretFileError(Exception):
    """A file with a secret cannot be used; the text names it and says what to do."""


def read_secret(path: Path) -> str:
    """Return the text of a file that only its owner may read or change.

    Raises:
        SecretFileError: it is not there, is not the owner's alone, or is no text.

    """
    try:
        descriptor = os.open(path, os.O_RDONLY | os.O_CLOEXEC | os.O_NONBLOCK)
    except OSError as error:
        why = error.strerror or str(error)
        raise SecretFileError(
            f"{path}: cannot be read ({why}); it must be there, belong to the user that the daemon "
            "runs as, and have mode 0600"
        ) from None
    try:
        about = os.fstat(descriptor)
        if not stat.S_ISREG(about.st_mode):
            raise SecretFileError(f"{path}: must be an ordinary file")
        if about.st_mode & 0o077:
            mode = stat.S_IMODE(about.st_mode)
            raise SecretFileError(
                f"{path}: others may read or change it (mode {mode:04o}); `chmod 600 {path}`"
            )
        raw = os.read(descriptor, LONGEST_BYTES + 1)
    finally:
        os.close(descriptor)
    if len(raw) > LONGEST_BYTES:
        raise SecretFileError(f"{path}: must have at most {LONGEST_BYTES} bytes")
    try:
        return raw.decode()
    except UnicodeDecodeError:
        raise SecretFileError(f"{path}: must be text in UTF-8") from None
