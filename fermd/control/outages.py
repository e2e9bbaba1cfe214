"""How much of an outage counts for a step: the time that the beer was where it should be."""

from __future__ import annotations

from dataclasses import replace

from fermd.control.progress import Progress
from fermd.control.steps import FreeRise, Hold, Soak

HOLD_WITHIN_C = 1.0
"""During an outage a hold's time counts while the beer was no further than this from its target,
°C. Common practice, no source; a soak has its own."""


def credit(
    progress: Progress, lasted_s: float, before_c: float, after_c: float
) -> tuple[Progress, float]:
    """Count the part of an outage in which the beer was at its temperature.

    The drift is taken as even between the readings before and after. A ramp gets nothing: it goes
    on from where it was. Returns the seconds that count, too.
    """
    step = progress.step
    match step:
        case Hold():
            low_c, high_c = step.target_c - HOLD_WITHIN_C, step.target_c + HOLD_WITHIN_C
        case Soak() if progress.reached:
            low_c, high_c = step.target_c - step.within_c, step.target_c + step.within_c
        case FreeRise():
            low_c, high_c = step.floor_c - HOLD_WITHIN_C, step.ceiling_c + HOLD_WITHIN_C
        case _:
            return progress, 0.0
    left_s = max(0.0, step.for_s + progress.extra_s - progress.elapsed_s)
    # What is more than the step needed is nobody's: the next step's target was never held.
    counted_s = min(left_s, lasted_s * _share_within(before_c, after_c, low_c, high_c))
    return replace(progress, elapsed_s=progress.elapsed_s + counted_s), counted_s


def _share_within(from_c: float, to_c: float, low_c: float, high_c: float) -> float:
    """Return the share of an even way from one temperature to another that lies in a range."""
    first_c, last_c = min(from_c, to_c), max(from_c, to_c)
    if last_c == first_c:
        return 1.0 if low_c <= first_c <= high_c else 0.0
    inside_c = min(last_c, high_c) - max(first_c, low_c)
    return max(0.0, inside_c) / (last_c - first_c)
