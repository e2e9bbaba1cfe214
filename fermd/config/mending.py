"""Checks a file's table, and makes it whole again where it is bad.

A file with one wrong number must still be checked for everything else, so that all of its faults
come out at once. What is bad is replaced by its default or a placeholder, and noted, so that
later checks can keep quiet about what was only put in.
"""

from __future__ import annotations

import copy
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final, cast

from pydantic import ValidationError

from fermd.config.errors import ABSENT, Fault, key_text
from fermd.config.tables import Table
from fermd.config.wording import Key, Misfit, misfits, step_into, value_at

MOST_ROUNDS: Final = 8
"""Mending one thing may uncover the next; tables are only a few levels deep."""


@dataclass(slots=True)
class Checked:
    """A file's table with all that has been found wrong with it so far."""

    data: Mapping[str, Any]
    """As it stands in the file."""
    table: Table | None
    """Made whole; None if that was not possible. Fit for use only while there are no faults."""
    replaced: frozenset[Key]
    """Where something had to be put in for what the file has."""
    found: list[tuple[Key, Fault]] = field(default_factory=list)

    @property
    def faults(self) -> list[Fault]:
        """What has been found wrong, in the order of the file."""
        return [fault for _, fault in sorted(self.found, key=lambda item: self._place(item[0]))]

    def _place(self, path: Key) -> tuple[int, ...]:
        place, here = [], cast("object", self.data)
        for part in path:
            keys = list(here) if isinstance(here, dict) else []
            place.append(part if isinstance(part, int) else [*keys, part].index(part))
            here = step_into(here, part)
        return tuple(place)

    def object_to(self, path: Sequence[str | int], value: object, why: str) -> None:
        """Add a fault, unless it is there already; the value is shown as the file has it."""
        given = value_at(self.data, tuple(path))
        if value is not ABSENT and given is not ABSENT:
            value = given
        fault = Fault(key_text(path), value, why)
        if (tuple(path), fault) not in self.found:
            self.found.append((tuple(path), fault))

    def is_sound(self, *path: str | int) -> bool:
        """Whether a value, and everything that it stands in, is the file's own or a default."""
        return not any(path[: len(bad)] == bad for bad in self.replaced)

    def replaced_below(self, *path: str | int) -> list[Key]:
        """The paths below this one where something was put in."""
        return [bad for bad in self.replaced if bad[: len(path)] == path]


def checked(
    table: type[Table], data: Mapping[str, Any], placeholders: Mapping[str, object]
) -> Checked:
    """The data held against a table; `placeholders` stand in for required keys."""
    whole = copy.deepcopy(dict(data))
    found: list[Misfit] | None = None
    replaced: set[Key] = set()
    for _ in range(MOST_ROUNDS):
        try:
            good = table.model_validate(whole)
        except ValidationError as error:
            now = misfits(error, table, whole)
        else:
            return Checked(
                data, good, frozenset(replaced), [(m.path, m.fault()) for m in found or []]
            )
        found = now if found is None else found
        # Backwards, so that removing an entry of an array moves none that is still to come.
        for misfit in reversed(now):
            replaced.update(_mend(whole, misfit, placeholders))
    return Checked(data, None, frozenset(replaced), [(m.path, m.fault()) for m in found or []])


def _mend(whole: dict[str, Any], misfit: Misfit, placeholders: Mapping[str, object]) -> set[Key]:
    """Put something in at a misfit's place, or take it out; returns where something was put in."""
    path = misfit.path
    owner, key = value_at(whole, path[:-1]), path[-1]
    if isinstance(owner, list) and isinstance(key, int):
        if "[]" in placeholders:
            owner[key] = copy.deepcopy(placeholders["[]"])
            return {path}
        # Of a list of names with a bad entry nothing is kept.
        path = path[:-1]
        owner, key = value_at(whole, path[:-1]), path[-1]
    if not isinstance(owner, dict):  # Removed together with another misfit.
        return set()
    if misfit.kind == "unknown":
        owner.pop(key, None)
        return set()
    if key in placeholders and owner.get(key) != placeholders[str(key)]:
        owner[key] = copy.deepcopy(placeholders[str(key)])
    else:
        owner.pop(key, None)
    return {path}
