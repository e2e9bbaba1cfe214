"""A quick `dataclasses.replace` for the few values that every tick replaces.

A simulated month has fifty thousand ticks, and `replace` looks up every field of a class anew each
time. Here the fields are looked up once, when the module is read. No field can be forgotten: they
all come from the class itself.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import fields
from operator import attrgetter
from typing import Any, TypeVar

T = TypeVar("T")


def replacer(kind: type[T], *names: str) -> Callable[..., T]:
    """Return a function of a value and the new values of these fields, in this order.

    >>> from fermd.control.steps import Target
    >>> replacer(Target, "cool_c")(Target(10.0, 12.0), 20.0)
    Target(heat_c=10.0, cool_c=20.0)
    """
    known = [field.name for field in fields(kind) if field.init]  # type: ignore[arg-type]
    read = attrgetter(*known)
    places = tuple(known.index(name) for name in names)

    if len(places) == 1:
        (only,) = places

        def replaced_one(value: T, new: Any) -> T:
            values = list(read(value))
            values[only] = new
            return kind(*values)

        return replaced_one

    def replaced(value: T, *new: Any) -> T:
        values = list(read(value))
        for place, one in zip(places, new, strict=True):
            values[place] = one
        return kind(*values)

    return replaced
