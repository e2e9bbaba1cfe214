"""What is said to `fermd review` with numbers in it: watts by output, and moments."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import datetime, tzinfo

import click

from fermd.cli.catalogue import printable

MOST_WATTS = 100_000.0


def watts_of(given: Sequence[str]) -> dict[str, float]:
    """Read `fridge=90` and the like. Raises UsageError."""
    found: dict[str, float] = {}
    for one in given:
        name, equals, number = one.partition("=")
        try:
            value = float(number)
        except ValueError:
            value = math.nan
        if not equals or not name.strip() or not 0.0 <= value <= MOST_WATTS:
            raise click.UsageError(
                f"--watts {printable(one)}: must be an output's name and its watts (0 to "
                f"{MOST_WATTS:g}), such as fridge=90"
            )
        found[name.strip()] = value
    return found


def moment_of(option: str, given: str | None, zone: tzinfo) -> float | None:
    """Read a moment in a time zone as POSIX seconds. Raises UsageError."""
    if given is None:
        return None
    try:
        read = datetime.fromisoformat(given.strip())
        at_s = (read if read.tzinfo is not None else read.replace(tzinfo=zone)).timestamp()
    except (ValueError, OverflowError, OSError) as error:
        raise click.UsageError(
            f"{option} {printable(given)}: must be a date or a date and time, such as 2026-03-06 "
            "or 2026-03-06T18:00"
        ) from error
    return at_s
