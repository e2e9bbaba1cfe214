"""Durations as a brewer writes them: "14 d", "36 h", "1 d 12 h", "90 min"."""

from __future__ import annotations

import re
from typing import Final

from pydantic import BeforeValidator
from pydantic_core import PydanticCustomError

DAY_S: Final = 86400.0

KEPT_DIGITS_OF_S: Final = 6
"""Of a second: what is written in minutes comes back as the same number."""

DURATION_WORDS: Final = (
    'a duration in d, h and min, largest unit first, like "14 d", "36 h", "1 d 12 h" or "90 min"'
)

_NUMBER = r"([0-9]{1,9}(?:\.[0-9]{1,9})?)"
_DURATION = re.compile(rf"(-)?\s*(?:{_NUMBER}\s*d)?\s*(?:{_NUMBER}\s*h)?\s*(?:{_NUMBER}\s*min)?")
DURATION_PATTERN: Final = (
    r"^\s*(?=[0-9])(?:[0-9.]+\s*d)?\s*(?:[0-9.]+\s*h)?\s*(?:[0-9.]+\s*min)?\s*$"
)
"""The same for a JSON Schema."""

_UNIT_S = (DAY_S, 3600.0, 60.0)


class Duration(BeforeValidator):
    """Marks a number of seconds that stands in the file as a duration."""


def seconds_of(text: object) -> float:
    """How many seconds a duration has, to the microsecond: "0.766666667 min" is 46 s.

    Raises:
        ValueError: it is not one; the text of the error says how one is written.

    """
    found = _DURATION.fullmatch(text.strip()) if isinstance(text, str) else None
    if found is None or not any(found.groups()[1:]):
        raise ValueError(f"must be {DURATION_WORDS}")
    sign, *amounts = found.groups()
    total_s = sum(
        float(amount) * unit_s
        for amount, unit_s in zip(amounts, _UNIT_S, strict=True)
        if amount is not None
    )
    total_s = round(total_s, KEPT_DIGITS_OF_S)
    return -total_s if sign else total_s


def duration_text(seconds: float) -> str:
    """Seconds as a duration, to the minute: 129600 is "1 d 12 h"."""
    minutes = round(seconds / 60)
    parts = ((minutes // 1440, "d"), (minutes // 60 % 24, "h"), (minutes % 60, "min"))
    return " ".join(f"{amount} {unit}" for amount, unit in parts if amount) or "0 min"


def _checked(text: object) -> float:
    try:
        return seconds_of(text)
    except ValueError:
        raise PydanticCustomError("duration", "not a duration") from None


DURATION: Final = Duration(_checked)
