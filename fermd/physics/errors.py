"""The one kind of error that this room raises: a value that physics cannot take."""

from __future__ import annotations

import math


class PhysicsError(ValueError):
    """A value outside of what a formula or a model holds for; the message names value and range."""


def require(name: str, value: float, low: float, high: float) -> float:
    """Return `value` if it is a number from `low` to `high`, both included.

    Raises:
        PhysicsError: naming the quantity, the value, and what is allowed.

    """
    if math.isfinite(value) and low <= value <= high:
        return value
    raise PhysicsError(f"{name} = {value!r}: must be from {low:g} to {high:g}")
