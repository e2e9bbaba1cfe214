"""What is taken together of the readings of five minutes."""

from __future__ import annotations

from fermd.control.windows import Means, longer, means_of

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
