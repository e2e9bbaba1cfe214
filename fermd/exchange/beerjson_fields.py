"""Reading the fields of BeerJSON that a fermentation has, each with its units.

Field names, units and what is required: BeerJSON's schema files `fermentation.json`,
`fermentation_step.json` and `measureable_units.json`, npm package @beerjson/beerjson 1.0.2.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Final

from fermd.config.durations import DAY_S
from fermd.config.errors import ABSENT, Fault, any_of, value_text
from fermd.exchange.carried import LONGEST_S, LeftOut, temperature_fault, tidy

UNIT_S: Final[Mapping[str, float]] = {
    "sec": 1.0,
    "min": 60.0,
    "hr": 3600.0,
    "day": DAY_S,
    "week": 7 * DAY_S,
}
"""BeerJSON's units of time (TimeUnitType), in seconds."""

TEMPERATURE_UNITS: Final = ("C", "F")

KEPT_DIGITS: Final = 4
"""Of a temperature given in °F, behind the point in °C: finer than any probe shows."""


@dataclass(slots=True)
class Fields:
    """Takes fields out of objects; what is wrong and what is left out gathers in here."""

    faults: list[Fault] = field(default_factory=list)
    left_out: list[LeftOut] = field(default_factory=list)

    def fault(self, where: str, value: object, why: str) -> None:
        """List something as wrong."""
        self.faults.append(Fault(where, value, why))

    def leave(self, where: str, value: object, why: str) -> None:
        """List something as not carried over, with its value as the document has it."""
        self.left_out.append(LeftOut(where, plain(value), why))

    def text(
        self, holder: Mapping[str, Any], key: str, where: str, longest: int, *, required: bool
    ) -> str:
        """A text; empty if there is none, or if it is none."""
        place = f"{where}.{key}"
        if key not in holder:
            if required:
                self.fault(place, ABSENT, "is missing; must be text, BeerJSON requires it")
            return ""
        value = holder[key]
        if not isinstance(value, str):
            self.fault(place, value, "must be text in quotes")
            return ""
        short = tidy(value, longest)
        if len(short) == longest and short.endswith("…"):
            self.leave(place, value, f"cut to {longest} characters")
        return short

    def temperature_c(self, holder: Mapping[str, Any], key: str, where: str) -> float | None:
        """A temperature in °C; None if there is none, or none that can be used."""
        place = f"{where}.{key}"
        found = self._measured(holder, key, place, TEMPERATURE_UNITS)
        if found is None:
            return None
        number, unit = found
        temp_c = number if unit == "C" else round((number - 32) * 5 / 9, KEPT_DIGITS)
        if why := temperature_fault(temp_c):
            self.fault(f"{place}.value", holder[key]["value"], why)
            return None
        return temp_c + 0.0

    def time_s(self, holder: Mapping[str, Any], key: str, where: str) -> float | None:
        """A time in s; None if there is none, or none that can be used."""
        place = f"{where}.{key}"
        found = self._measured(holder, key, place, tuple(UNIT_S))
        if found is None:
            return None
        number, unit = found
        if number != int(number):
            why = 'must be a whole number; take a smaller unit: 1.5 "day" is 36 "hr"'
            self.fault(f"{place}.value", holder[key]["value"], why)
            return None
        seconds = number * UNIT_S[unit]
        if not 0 <= seconds <= LONGEST_S:
            why = f"must be from 0 to {LONGEST_S / UNIT_S[unit]:g} {unit}, a step's greatest length"
            self.fault(f"{place}.value", holder[key]["value"], why)
            return None
        return seconds

    def yes(self, holder: Mapping[str, Any], key: str, where: str) -> bool:
        """A boolean; no if there is none."""
        value = holder.get(key, False)
        if not isinstance(value, bool):
            self.fault(f"{where}.{key}", value, "must be true or false")
            return False
        return value

    def _measured(
        self, holder: Mapping[str, Any], key: str, place: str, units: tuple[str, ...]
    ) -> tuple[float, str] | None:
        if key not in holder:
            return None
        measured = holder[key]
        example = f'{{"unit": "{units[0]}", "value": 20}}'
        if not isinstance(measured, dict):
            self.fault(place, measured, f"must be an object with unit and value, like {example}")
            return None
        missing = [name for name in ("unit", "value") if name not in measured]
        for name in missing:
            self.fault(f"{place}.{name}", ABSENT, f"is missing; must be like {example}")
        for name in measured:
            if name not in ("unit", "value"):
                why = "not known to BeerJSON beside a unit and its value"
                self.leave(f"{place}.{tidy(name, 40)}", measured[name], why)
        if missing:
            return None
        unit = measured["unit"]
        if unit not in units:
            self.fault(f"{place}.unit", unit, f"must be {any_of(units)}")
            return None
        number = finite(measured["value"])
        if number is None:
            self.fault(f"{place}.value", measured["value"], "must be a number")
            return None
        return number, unit


def finite(value: object) -> float | None:
    """A number from JSON as a float; None for anything else, and for one without end."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    try:
        number = float(value)
    except OverflowError:
        return None
    return number if math.isfinite(number) else None


def plain(value: object) -> str:
    """A value for people: a measurement as `1.046 sg`, anything else as messages have it."""
    if isinstance(value, dict) and value.keys() == {"unit", "value"}:
        number, unit = value["value"], value["unit"]
        if finite(number) is not None and isinstance(unit, str):
            return f"{value_text(number)} {tidy(unit, 20)}"
    return value_text(value)
