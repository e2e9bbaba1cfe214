"""Who is logged in: ids drawn at random, kept in memory, and gone after a while or a restart.

An id is a secret of 256 bits; here only its hash is kept, so that looking one up takes no more time
for a guess that begins right. As many sessions are kept as a household has phones; one more sends
the one away that was idle the longest.
"""

from __future__ import annotations

import hashlib
import secrets
import threading
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

IDLE_S: Final = 30 * 86400.0
"""A session that nobody has used for so long is over, s: the phone of whoever brews once a month
stays logged in ..."""
LONGEST_S: Final = 180 * 86400.0
"""... and every session is over after this, s."""
MOST: Final = 100


@dataclass(slots=True)
class Session:
    """One log-in."""

    who: str
    csrf: str
    began_s: float
    used_s: float


class Sessions:
    """The log-ins that hold. Times are those of a clock that nobody can set."""

    def __init__(self, clock: Callable[[], float]) -> None:
        self._clock = clock
        self._lock = threading.Lock()
        self._by_hash: dict[bytes, Session] = {}

    def begin(self, who: str) -> str:
        """Log somebody in; returns the id that the cookie holds."""
        secret, now_s = secrets.token_urlsafe(32), self._clock()
        session = Session(who, secrets.token_urlsafe(24), now_s, now_s)
        with self._lock:
            self._drop_over(now_s)
            if len(self._by_hash) >= MOST:
                del self._by_hash[min(self._by_hash, key=lambda one: self._by_hash[one].used_s)]
            self._by_hash[_hash(secret)] = session
        return secret

    def find(self, secret: str) -> Session | None:
        """Return the log-in with this id, if it holds, and count it as used."""
        with self._lock:
            session = self._held(secret)
            if session is not None:
                session.used_s = self._clock()
            return session

    def holds(self, secret: str) -> bool:
        """Whether a log-in still holds, without counting as use."""
        with self._lock:
            return self._held(secret) is not None

    def end(self, secret: str) -> None:
        """Log out."""
        with self._lock:
            self._by_hash.pop(_hash(secret), None)

    def end_all(self) -> None:
        """Log everybody out: the password has been changed."""
        with self._lock:
            self._by_hash.clear()

    def __len__(self) -> int:
        with self._lock:
            return len(self._by_hash)

    def _held(self, secret: str) -> Session | None:
        session = self._by_hash.get(_hash(secret))
        return None if session is None or _is_over(session, self._clock()) else session

    def _drop_over(self, now_s: float) -> None:
        for key in [key for key, one in self._by_hash.items() if _is_over(one, now_s)]:
            del self._by_hash[key]


def _is_over(session: Session, now_s: float) -> bool:
    return now_s - session.used_s > IDLE_S or now_s - session.began_s > LONGEST_S


def _hash(secret: str) -> bytes:
    return hashlib.sha256(secret.encode("utf-8", "replace")).digest()
