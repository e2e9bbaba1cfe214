"""A command that cannot be taken, and the checks that more than one command needs."""

from __future__ import annotations

from fermd.control.settings import ChamberSettings

HIGHEST_TARGET_C = 45.0
"""No yeast wants more, °C."""


class RefusedError(Exception):
    """A command that cannot be taken; the text says what is allowed and what to do."""


def refuse_target(target_c: float, settings: ChamberSettings) -> None:
    """Raise RefusedError for a target (°C) that this chamber may not have."""
    lowest_c = settings.limits.coldest_beer_c
    if not lowest_c <= target_c <= HIGHEST_TARGET_C:
        raise RefusedError(
            f"target {target_c:g} °C: must be from {lowest_c:g} °C (freezing point of the "
            f"beer and its margin) to {HIGHEST_TARGET_C:g} °C"
        )
