"""Which of several fermentations in one document is meant."""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path
from typing import Final

from fermd.config.errors import value_text
from fermd.exchange.carried import whole

MOST_LISTED: Final = 20
"""Names in a message."""


def chosen(names: Sequence[str], wanted: str | None, file: Path | str, nothing: str) -> int:
    """The index of the name that is wanted; without a wish that of the only one.

    A wish may also be the number of a fermentation, counted from 1, for those that share a name.
    `nothing` is what to say if there is none at all.

    Raises:
        ConfigError: there is none, not that one, or more than one.

    """
    if not names:
        raise whole(file, nothing)
    if wanted is None:
        if len(names) == 1:
            return 0
        raise whole(
            file, f"has {len(names)} fermentations; say which with --name: {_listed(names)}"
        )
    exact = [index for index, name in enumerate(names) if name == wanted]
    same = exact or [i for i, name in enumerate(names) if name.casefold() == wanted.casefold()]
    if len(same) == 1:
        return same[0]
    if not same and wanted.isascii() and wanted.isdigit() and len(wanted) < 7:
        number = int(wanted)
        if 1 <= number <= len(names):
            return number - 1
    if same:
        numbers = " or ".join(str(index + 1) for index in same[:MOST_LISTED])
        why = f"is the name of {len(same)} fermentations; say which by its number: {numbers}"
    else:
        why = f"is not in the file; there is {_listed(names)}"
    # What was asked for is wrong, not the file.
    raise whole(file, f"{value_text(wanted)} {why}", os.EX_USAGE)


def _listed(names: Sequence[str]) -> str:
    listed = [f"{number}. {value_text(name)}" for number, name in enumerate(names, 1)]
    more = f" and {len(listed) - MOST_LISTED} more" if len(listed) > MOST_LISTED else ""
    return ", ".join(listed[:MOST_LISTED]) + more
