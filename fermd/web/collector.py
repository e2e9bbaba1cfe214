"""The token by which a collector of figures is known: for /metrics, and for nothing else.

It is shown as RFC 6750, 2.1, has it: `Authorization: Bearer ...`. The file is read again for each
request, so that a new token counts at once and a removed one no more.
"""

from __future__ import annotations

import hmac
import logging
from pathlib import Path
from typing import Final

from starlette.datastructures import Headers

from fermd.config.errors import Fault
from fermd.config.secret_file import SecretFileError, read_secret

log = logging.getLogger(__name__)

SHORTEST_CHARS: Final = 20
"""Of any alphabet, chosen by chance: some 100 bits, so that no limit on tries is needed."""


class CollectorToken:
    """The token as it is now; without a file there is none, and nobody shows it."""

    def __init__(self, path: Path | None) -> None:
        self._path = path
        self._told = ""

    def is_shown(self, headers: Headers) -> bool:
        """Whether these headers bring it."""
        scheme, _, given = headers.get("authorization", "").partition(" ")
        if self._path is None or scheme.lower() != "bearer":
            return False
        try:
            token = read_token(self._path)
        except SecretFileError as error:
            if str(error) != self._told:
                self._told = str(error)
                log.warning("no token opens /metrics: %s", error)
            return False
        return hmac.compare_digest(given.strip().encode("utf-8", "replace"), token.encode())


def read_token(path: Path) -> str:
    """Return the token in a file; SecretFileError if there is none that could be used."""
    token = read_secret(path).strip()
    if len(token) < SHORTEST_CHARS or len(token.split()) != 1:
        raise SecretFileError(
            f"{path}: must hold one word of {SHORTEST_CHARS} characters or more; "
            f"`openssl rand -hex 32` makes one"
        )
    return token


def token_faults(path: Path) -> tuple[Fault, ...]:
    """Return what is wrong with the file, for `fermd check`."""
    try:
        read_token(path)
    except SecretFileError as error:
        return (Fault("web.metrics_token_file", str(path), str(error)),)
    return ()
