"""A first-order lag, as probes, walls and steadied readings have it."""

from __future__ import annotations


def lagged(before: float, now: float, passed_s: float, lag_s: float) -> float:
    """Return what follows `now` behind a lag of `lag_s` (above 0), `passed_s` after `before`.

    By an implicit step, which is stable however long a tick is.
    """
    return before + passed_s / (passed_s + lag_s) * (now - before)
