"""The script of a world: what is done to it, and when. Plain, so that a file or a flag can hold it.

Every entry is whole by itself: a fault says for how long it lasts and carries its own seed, so that
any part of a script is a script. That is what shrinking rests on.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any


@dataclass(frozen=True, slots=True)
class Entry:
    """One fault, or one command of the brewer's."""

    at_s: float
    """Since the world began, s."""
    kind: str
    args: dict[str, Any] = field(default_factory=dict)

    def __str__(self) -> str:
        said = ", ".join(f"{key}={_short(value)}" for key, value in self.args.items())
        return f"day {self.at_s / 86400:8.3f}  {self.kind}  {said}"


Script = tuple[Entry, ...]


def to_json(script: Sequence[Entry]) -> str:
    """Return a script as a JSON list, one entry a line."""
    entries = [json.dumps([one.at_s, one.kind, one.args]) for one in script]
    return "[\n" + ",\n".join(entries) + "\n]\n"


def from_json(text: str) -> Script:
    """Read a script. Raises ValueError, TypeError or KeyError if it is none."""
    return tuple(Entry(float(at_s), str(kind), dict(args)) for at_s, kind, args in json.loads(text))


def read(path: Path) -> Script:
    """Read a script from a file. Raises OSError, or as `from_json`."""
    return from_json(path.read_text(encoding="utf-8"))


def only(script: Sequence[Entry], numbers: Sequence[int]) -> Script:
    """Return these entries of a script, counted from 0."""
    return tuple(script[number] for number in numbers)


def _short(value: Any) -> str:
    text = f"{value:g}" if isinstance(value, float) else str(value)
    return text if len(text) <= 60 else text[:57] + "..."
