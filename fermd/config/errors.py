"""What is wrong with a file: all of its faults at once, a line each.

A fault is data (key, value, why) so that a program can show it beside the key; its text is for
people: `fermd.toml: chamber.lager.cool.band_c = 0.0: must be above 0 °C and at most 5 °C; ...`.
"""

from __future__ import annotations

import datetime as dt
import json
import math
import os
import re
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from typing import Final

LONGEST_VALUE_SHOWN: Final = 60
"""Characters of a value that a message shows; a whole page in a message helps nobody."""

_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")


class Absent(StrEnum):
    """Stands in a fault for a value that the file does not have."""

    ABSENT = "absent"


ABSENT: Final = Absent.ABSENT


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing that is wrong."""

    key: str
    """Dotted path in the file, entries of an array counted from 1: `step[2].target_c`. Empty for
    what concerns the file as a whole."""
    value: object
    """As it stands in the file; `ABSENT` if there is none."""
    why: str
    """What is allowed and what to do."""

    def __str__(self) -> str:
        # The reason may name what else is in the file, as it stands there.
        why = _printable(self.why)
        if not self.key:
            return why
        if self.value is ABSENT:
            return f"{self.key}: {why}"
        return f"{self.key} = {value_text(self.value)}: {why}"


class ConfigError(Exception):
    """A file that cannot be used, with all that is wrong with it.

    `exit_code` is what a command that fails for this reason ends with (sysexits).
    """

    def __init__(
        self, file: Path | str, faults: Sequence[Fault], exit_code: int = os.EX_CONFIG
    ) -> None:
        super().__init__(file, tuple(faults), exit_code)
        self.file: Final = str(file)
        self.faults: Final = tuple(faults)
        self.exit_code: Final = exit_code

    def __str__(self) -> str:
        name = _printable(self.file)
        return "\n".join(f"{name}: {fault}" for fault in self.faults)


def key_text(path: Sequence[str | int]) -> str:
    """A path of keys and array indices as it stands in messages, entries counted from 1."""
    text = ""
    for part in path:
        if isinstance(part, int):
            text += f"[{part + 1}]"
            continue
        short = len(part) <= LONGEST_VALUE_SHOWN
        shown = part if short and _BARE_KEY.fullmatch(part) else _quoted(part)
        text += f".{shown}" if text else shown
    return text


def value_text(value: object) -> str:
    """A value as TOML has it, shortened; never raises, whatever the value."""
    match value:
        case bool():
            return "true" if value else "false"
        case int() if value.bit_length() > 128:
            return f"a whole number of about {int(value.bit_length() * math.log10(2)) + 1} digits"
        case int():
            return str(value)
        case float():
            return str(value)
        case str():
            return _quoted(value)
        case dict():
            return "a table"
        case list() | tuple():
            return _shortened("[" + ", ".join(value_text(item) for item in value[:8]) + "]")
        case dt.datetime() | dt.date() | dt.time():
            return value.isoformat()
        case _:
            return _quoted(str(value))


def any_of(values: Sequence[str]) -> str:
    """`"a", "b" or "c"`, for messages."""
    quoted = [_quoted(value) for value in values]
    return " or ".join([", ".join(quoted[:-1]), quoted[-1]] if len(quoted) > 1 else quoted)


def _quoted(text: str) -> str:
    shown = text if len(text) <= LONGEST_VALUE_SHOWN else text[:LONGEST_VALUE_SHOWN] + "…"
    return json.dumps(_printable(shown, keep="\n\t"), ensure_ascii=False)


def _printable(text: str, keep: str = "") -> str:
    """Without what could garble a terminal or a log line."""
    return "".join(c if c.isprintable() or c in keep else "\ufffd" for c in text)


def _shortened(text: str) -> str:
    return text if len(text) <= 2 * LONGEST_VALUE_SHOWN else text[: 2 * LONGEST_VALUE_SHOWN] + "…"
