"""Temperatures and spans of time as people read them: °C or °F, two units of time.

All else inside is °C and s. A sentence that was made in °C, or that the record has so, is put into
°F by `rescaled`.
"""

from __future__ import annotations

import re
from enum import StrEnum
from typing import Final


class Unit(StrEnum):
    """The scale that a reader prefers."""

    CELSIUS = "°C"
    FAHRENHEIT = "°F"


def temperature(temp_c: float, unit: Unit = Unit.CELSIUS, digits: int = 1) -> str:
    """A temperature with its unit."""
    # Not "-0.0": that reads as colder than it is.
    return f"{round(_shown(temp_c, unit), digits) + 0.0:.{digits}f} {unit.value}"


def difference(temp_k: float, unit: Unit = Unit.CELSIUS, digits: int = 1) -> str:
    """A difference of temperatures with its unit."""
    return f"{round(_apart(temp_k, unit), digits) + 0.0:.{digits}f} {unit.value}"


def span(seconds: float) -> str:
    """A span of time in its two largest units."""
    left = max(0, round(seconds))
    parts: list[str] = []
    for size, name in ((86400, "d"), (3600, "h"), (60, "min"), (1, "s")):
        if left >= size or (size == 1 and not parts):
            parts.append(f"{left // size} {name}")
            left %= size
        elif parts:
            break
        if len(parts) == 2:
            break
    return " ".join(parts)


_NUMBER: Final = r"-?\d+(?:\.\d+)?"
_IN_CELSIUS: Final = re.compile(
    rf"(margin of )?(?:({_NUMBER})( to | and at most | and below ))?({_NUMBER}) °C"
)
"""A number of °C, or two that share the unit ("from -10 to 45 °C")."""


def rescaled(words: str, unit: Unit, *, differences: bool = False) -> str:
    """Put the numbers of °C of a sentence into a scale, to a hundredth at the most.

    `differences` tells that they are differences or rates; a margin always is one.
    """
    if unit is Unit.CELSIUS:
        return words

    def put(found: re.Match[str]) -> str:
        margin, low, joint, high = (part or "" for part in found.groups())
        scale = _apart if margin or differences else _shown
        numbers = [
            f"{round(scale(float(one), unit), 2) + 0.0:g}" if one else "" for one in (low, high)
        ]
        return f"{margin}{numbers[0]}{joint}{numbers[1]} {unit.value}"

    return _IN_CELSIUS.sub(put, words)


def _shown(temp_c: float, unit: Unit) -> float:
    return temp_c if unit is Unit.CELSIUS else temp_c * 9 / 5 + 32


def _apart(temp_k: float, unit: Unit) -> float:
    return temp_k if unit is Unit.CELSIUS else temp_k * 9 / 5
