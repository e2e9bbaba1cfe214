"""Compressor protection against what makers of compressors and appliances publish.

Sources:

- Danfoss, Performer SH scroll compressors, application guidelines FRCC.PC.007, "Cycle rate limit":
  at least 2 min of running time, at most 12 starts an hour, a time-out of 3 min recommended.
- Carrier, 50FC service manual, section 12.1 "Compressor timing": 120 s minimum on, 180 s minimum
  off, 300 s from start to start.
- Hoshizaki, RH1-SSE-FG reach-in refrigerator service manual, p. 23: start-up delay, minimum on and
  minimum off of 2.5 min each.
- Emerson (Liebert), DH environmental unit manual, section 5.3.1: 3 min from off to on.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import pytest

from fermd.control.protection import (
    Surroundings,
    history_after_restart,
    protect,
    unknown_history,
)
from fermd.control.settings import (
    HOUR_S,
    MOST_COMPRESSOR_STARTS_PER_HOUR,
    PROTECTION_BY_KIND,
    SHORTEST_COMPRESSOR_OFF_S,
    SHORTEST_COMPRESSOR_RUN_S,
    Duty,
    OutputKind,
    OutputSettings,
    ProtectionSettings,
)

DEFAULT = PROTECTION_BY_KIND[OutputKind.COMPRESSOR]


@dataclass(frozen=True)
class Published:
    """What one source asks for; None where it says nothing."""

    source: str
    off_s: float | None = None
    run_s: float | None = None
    start_to_start_s: float | None = None
    starts_per_hour: float | None = None
    power_up_s: float | None = None


SOURCES = [
    Published("Danfoss FRCC.PC.007", off_s=180.0, run_s=120.0, starts_per_hour=12.0),
    Published("Carrier 50FC", off_s=180.0, run_s=120.0, start_to_start_s=300.0),
    Published("Hoshizaki RH1-SSE-FG", off_s=150.0, run_s=150.0, power_up_s=150.0),
    Published("Emerson Liebert DH", off_s=180.0),
]


def starts_s(
    protection: ProtectionSettings, for_s: float, *, run_s: float, restart_every_s: float = 0.0
) -> list[float]:
    """When a compressor starts whose call comes back as soon as it may, after runs of `run_s`.

    Restarts are kills: nothing that was before is proven.
    """
    output = OutputSettings("fridge", "17", Duty.COOL, OutputKind.COMPRESSOR, protection)
    history = unknown_history(protection, -HOUR_S * 2)
    starts: list[float] = []
    for second in range(round(for_s)):
        now_s = float(second)
        if restart_every_s and second and second % restart_every_s == 0:
            history = history_after_restart(history, protection, now_s, proven=False)
        ran_s = now_s - starts[-1] if history.on else 0.0
        made = protect(history, output, ran_s < run_s, Surroundings(), now_s)
        if made.on and not history.on:
            starts.append(now_s)
        history = made.history
    return starts


def most_within_an_hour(starts: list[float]) -> int:
    return max(sum(first <= start < first + HOUR_S for start in starts) for first in starts)


@pytest.mark.parametrize("published", SOURCES, ids=lambda published: published.source)
def test_the_defaults_are_on_the_safe_side_of_every_published_figure(published: Published) -> None:
    if published.off_s is not None:
        assert DEFAULT.minimum_off_s >= published.off_s
    if published.run_s is not None:
        assert DEFAULT.minimum_run_s >= published.run_s
    if published.start_to_start_s is not None:
        apart_s = DEFAULT.minimum_off_s + DEFAULT.minimum_run_s
        assert apart_s >= published.start_to_start_s
    if published.starts_per_hour is not None:
        assert 1 <= DEFAULT.starts_per_hour <= published.starts_per_hour
    if published.power_up_s is not None:
        assert DEFAULT.power_up_delay_s >= published.power_up_s


def test_what_is_accepted_for_a_compressor_ends_at_the_figures_of_danfoss() -> None:
    danfoss = SOURCES[0]
    assert danfoss.off_s == SHORTEST_COMPRESSOR_OFF_S
    assert danfoss.run_s == SHORTEST_COMPRESSOR_RUN_S
    assert danfoss.starts_per_hour == MOST_COMPRESSOR_STARTS_PER_HOUR


@pytest.mark.parametrize(
    ("off_s", "run_s", "an_hour"),
    [(180.0, 120.0, 12.0), (300.0, 120.0, 8.571), (600.0, 300.0, 4.0)],
)
def test_off_and_run_times_alone_give_the_starts_an_hour_that_arithmetic_gives(
    off_s: float, run_s: float, an_hour: float
) -> None:
    """Off 180 s and on 120 s is a period of 300 s, which is exactly Danfoss's 12 an hour."""
    protection = ProtectionSettings(minimum_off_s=off_s, minimum_run_s=run_s)
    starts = starts_s(protection, 10 * HOUR_S, run_s=run_s)
    periods = [after - before for before, after in pairwise(starts)]
    assert set(periods) == {off_s + run_s}
    assert HOUR_S / periods[0] == pytest.approx(an_hour, abs=0.001)


def test_the_shortest_accepted_times_never_give_more_than_twelve_starts_in_any_hour() -> None:
    shortest = ProtectionSettings(SHORTEST_COMPRESSOR_OFF_S, SHORTEST_COMPRESSOR_RUN_S)
    assert most_within_an_hour(starts_s(shortest, 5 * HOUR_S, run_s=1.0)) == 12


@pytest.mark.parametrize("run_s", [1.0, 180.0, 400.0])
@pytest.mark.parametrize("restart_every_s", [0.0, 1000.0, 5000.0])
def test_two_starts_are_never_closer_than_minimum_off_and_minimum_run_together(
    run_s: float, restart_every_s: float
) -> None:
    starts = starts_s(DEFAULT, 12 * HOUR_S, run_s=run_s, restart_every_s=restart_every_s)
    if restart_every_s == 1000.0:
        # Unknown starts may have been used up for 20 minutes: killed more often, it never starts.
        assert starts
        assert max(starts) < restart_every_s
        return
    assert len(starts) > 10
    apart_s = min(after - before for before, after in pairwise(starts))
    assert apart_s >= DEFAULT.minimum_off_s + DEFAULT.minimum_run_s
    assert most_within_an_hour(starts) <= DEFAULT.starts_per_hour


def test_a_defect_of_one_second_in_the_minimum_off_time_would_be_seen() -> None:
    """Twelve periods of 299 s are less than an hour, and so a thirteenth start falls into it."""
    hasty = ProtectionSettings(SHORTEST_COMPRESSOR_OFF_S - 1.0, SHORTEST_COMPRESSOR_RUN_S)
    assert most_within_an_hour(starts_s(hasty, 5 * HOUR_S, run_s=1.0)) == 13
