"""What is taken together of the readings of five minutes."""

from __future__ import annotations

from fermd.control.placing import Placing, observe
from fermd.control.windows import WINDOW_S, Means, longer, means_of

FIRST: Means = (12.0, 8.0, 1.0, 9.0, 0.5)
SECOND: Means = (12.5, 9.0, 0.0, 8.0, 0.25)


def test_a_window_was_cooled_if_the_fridge_ran_in_any_of_its_ticks() -> None:
    for first in (False, True):
        begun = longer(None, 60.0, FIRST, cooling=first)
        assert begun.cooled is first
        assert begun.since_mono_s == 60.0
        for second in (False, True):
            assert longer(begun, 70.0, SECOND, cooling=second).cooled is (first or second)


def test_the_means_of_a_window_are_those_of_its_ticks() -> None:
    window = longer(longer(None, 60.0, FIRST, cooling=False), 70.0, SECOND, cooling=False)
    assert window.since_mono_s == 60.0
    assert means_of(window) == (12.25, 8.5, 0.5, 8.5, 0.375)


def test_the_tick_that_ends_a_window_counts_as_cooled_for_the_next_one() -> None:
    placing, every_s = Placing(), WINDOW_S / 3.0
    for tick in range(7):
        placing = observe(
            placing, 12.0, 8.0, every_s, every_s * tick, heating=False, cooling=tick == 3
        )
    assert placing.cooled_windows == 1.0
