"""The scale that people of a house read, as files and questions name it."""

from __future__ import annotations

from typing import Final, Literal

from fermd.control.wording import Unit

UnitName = Literal["C", "F"]

UNITS: Final[dict[str, Unit]] = {"C": Unit.CELSIUS, "F": Unit.FAHRENHEIT}
"""The scale by its name."""
