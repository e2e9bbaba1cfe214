"""Taking the parts of an address out of a text: they hold passwords and tokens."""

from __future__ import annotations

import re
from typing import Final
from urllib.parse import parse_qsl, unquote, urlsplit

SHORTEST: Final = 3
"""Shorter parts are left: a text without any "a" cannot be read, and no secret is so short."""

LONGEST_REASON: Final = 200

_PUBLIC: Final = frozenset({"true", "false", "yes", "not", "and", "the", "post", "get"})
"""Settings in an address, which are no secret: without them a reason could not be read."""


def redact(text: str, *addresses: str) -> str:
    """Return the text with every part of these addresses replaced by dots."""
    parts = {part for address in addresses for part in _parts(address)}
    # The longest first: a part may hold another.
    for part in sorted(parts, key=len, reverse=True):
        text = re.sub(re.escape(part), "…", text, flags=re.IGNORECASE)
    return text


def reason(text: str, *addresses: str) -> str:
    """Return the same as one short line that may stand in a log."""
    line = " ".join("".join(c if c.isprintable() else " " for c in text).split())
    shown = redact(line, *addresses)
    return shown if len(shown) <= LONGEST_REASON else shown[:LONGEST_REASON] + "…"


def _parts(address: str) -> set[str]:
    """Every part of an address in which a secret could stand, as it is and as it is meant."""
    raw = {address, *re.split(r"[:/?#@&=+,;]+", address.partition("://")[2])}
    try:
        split = urlsplit(address)
        raw |= {split.netloc, split.path, split.query, split.fragment, split.username or ""}
        raw |= {split.password or "", split.hostname or ""}
        raw |= {value for _, value in parse_qsl(split.query)}
    except ValueError:
        # It is no URL; the pieces above are what there is.
        pass
    parts = raw | {unquote(part) for part in raw}
    return {part for part in parts if len(part) >= SHORTEST and part.lower() not in _PUBLIC}
