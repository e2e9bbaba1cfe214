"""What the vessel probe sees beside the beer: fitted to a vessel whose truth is known.

The vessel of these tests is the equation in `placing.py` itself, stepped by 10 s, with probes that
lag, scatter and count in 12-bit steps; in `tests/holding` the whole chamber model takes its place.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from random import Random

import numpy as np
import pytest

from fermd.control.placing import (
    ARRIVED_C,
    COOLED_WINDOWS,
    DRAWN_S,
    FORGETTING,
    KNOWN_TO,
    LEAST_BY_HEAT_ALONE,
    LEAST_OF_HEATER_C,
    LEAST_SHARE,
    LEFT_OVER_C,
    MOST_SHARE,
    SURE_ERRORS,
    WINDOW_S,
    Placing,
    beer_c,
    drift_c_per_h,
    observe,
    recalled,
    solve,
    sums,
)
from fermd.control.settings import ForesightSettings

FORESIGHT = ForesightSettings()
TICK_S = 10.0


@dataclass
class Vessel:
    """Beer that follows the air, and two probes."""

    share: float = 0.0
    of_heater_c: float = 0.0
    follows_per_h: float = 0.1
    warms_c_per_h: float = 0.1
    power_c_per_h: float = 1.0
    vessel_lag_s: float = 60.0
    air_lag_s: float = 120.0
    noise_c: float = 0.03
    heats: bool = False
    beer_c: float = 12.0
    air_c: float = 12.0
    shown_c: float = 12.0
    air_shown_c: float = 12.0
    mono_s: float = 5000.0

    def live(self, placing: Placing, hours: float, seed: int = 1) -> Placing:
        """Let a fridge (and a heater) switch every few quarters of an hour."""
        random = Random(seed)
        for _ in range(round(hours * 360)):
            self.mono_s += TICK_S
            phase = self.mono_s % 7200.0
            cooling = phase < 1200.0
            heating = self.heats and 3600.0 <= phase < 4800.0
            self._pass(cooling, heating)
            placing = observe(
                placing,
                self._read(self.shown_c, random),
                self._read(self.air_shown_c, random),
                TICK_S,
                self.mono_s,
                heating=heating,
                cooling=cooling,
            )
        return placing

    def _pass(self, cooling: bool, heating: bool) -> None:
        tick_h = TICK_S / 3600.0
        self.air_c += TICK_S / 900.0 * ((2.0 if cooling else 16.0) - self.air_c)
        power_c_per_h = self.power_c_per_h if heating else 0.0
        moves_c_per_h = self.follows_per_h * (self.air_c - self.beer_c) + self.warms_c_per_h
        self.beer_c += tick_h * (moves_c_per_h + power_c_per_h)
        body_c = (1.0 - self.share) * self.beer_c + self.share * self.air_c
        body_c += self.of_heater_c * heating
        self.shown_c += TICK_S / (TICK_S + self.vessel_lag_s) * (body_c - self.shown_c)
        self.air_shown_c += TICK_S / (TICK_S + self.air_lag_s) * (self.air_c - self.air_shown_c)

    def _read(self, temp_c: float, random: Random) -> float:
        return round((temp_c + random.gauss(0.0, self.noise_c)) * 16.0) / 16.0


def test_a_probe_in_a_well_is_found_to_see_nothing_but_the_beer() -> None:
    placing = Vessel().live(Placing(), 24.0)
    assert placing.is_known
    assert placing.air_share == pytest.approx(0.0, abs=0.01)
    assert placing.beer_c is None
    assert beer_c(placing, FORESIGHT, 12.3) == 12.3


@pytest.mark.parametrize(("vessel_lag_s", "within"), [(20.0, 0.01), (160.0, 0.01), (400.0, 0.04)])
def test_a_taped_probe_is_found_to_see_its_share_of_the_air(
    vessel_lag_s: float, within: float
) -> None:
    vessel = Vessel(share=0.15, vessel_lag_s=vessel_lag_s)
    placing = vessel.live(Placing(), 36.0)
    assert placing.air_share == pytest.approx(0.15, abs=within)
    assert beer_c(placing, FORESIGHT, vessel.shown_c) == pytest.approx(vessel.beer_c, abs=0.1)


def test_the_vessels_time_constant_and_its_fermentation_are_found() -> None:
    placing = Vessel(share=0.1, follows_per_h=0.08, warms_c_per_h=0.25).live(Placing(), 36.0)
    assert placing.follows_per_h == pytest.approx(0.08, rel=0.1)
    assert placing.warms_c_per_h == pytest.approx(0.25, rel=0.1)
    drift = drift_c_per_h(replace(placing, air_seen_c=10.0), 12.0)
    assert drift == pytest.approx(0.25 - 0.08 * 2.0, abs=0.03)


def test_what_the_heater_adds_to_a_taped_probe_is_found() -> None:
    vessel = Vessel(share=0.1, of_heater_c=1.2, heats=True)
    placing = vessel.live(Placing(), 48.0)
    assert placing.of_heater_c == pytest.approx(1.2, abs=0.15)
    assert placing.air_share == pytest.approx(0.1, abs=0.03)


def test_the_estimate_stays_on_the_beer_while_heater_and_fridge_pull_the_probe_about() -> None:
    vessel = Vessel(share=0.1, of_heater_c=1.2, heats=True)
    placing = vessel.live(Placing(), 48.0)
    off_c = []
    for more in range(48):
        placing = vessel.live(placing, 0.25, seed=more)
        off_c.append(beer_c(placing, FORESIGHT, vessel.shown_c) - vessel.beer_c)
    assert np.sqrt(np.mean(np.square(off_c))) < 0.12


def test_a_fermentation_that_changes_is_followed() -> None:
    vessel = Vessel(warms_c_per_h=0.3)
    placing = vessel.live(Placing(), 48.0)
    vessel.warms_c_per_h = 0.0
    placing = vessel.live(placing, 48.0)
    assert placing.warms_c_per_h == pytest.approx(0.0, abs=0.04)


def test_nothing_is_acted_on_before_it_is_known() -> None:
    vessel = Vessel(share=0.2)
    placing = vessel.live(Placing(), 0.2)
    assert not placing.is_known
    assert beer_c(placing, FORESIGHT, 12.3) == 12.3
    assert drift_c_per_h(placing, 12.0) is None
    assert drift_c_per_h(Placing(), 12.0) is None


def test_the_estimate_is_never_further_from_the_probe_than_is_allowed() -> None:
    known = replace(Placing(), beer_c=15.0)
    assert beer_c(known, FORESIGHT, 12.0) == 12.0 + FORESIGHT.most_c
    assert beer_c(replace(known, beer_c=5.0), FORESIGHT, 12.0) == 12.0 - FORESIGHT.most_c
    assert beer_c(known, ForesightSettings(foresee=False), 12.0) == 12.0


LONG_S = 1e12
"""A tick so long that the estimate is drawn to the reading in it."""


def test_a_probe_that_sees_more_air_than_a_vessel_probe_can_is_not_believed() -> None:
    most = Placing((MOST_SHARE, *[0.0] * 6), error_of_share=KNOWN_TO / 2)
    seen = observe(most, 10.0, 5.0, LONG_S, 1000.0, heating=False, cooling=False)
    assert seen.beer_c == pytest.approx((10.0 - MOST_SHARE * 5.0) / (1.0 - MOST_SHARE))
    wild = replace(most, numbers=(MOST_SHARE + 0.01, *[0.0] * 6))
    assert observe(wild, 10.0, 5.0, LONG_S, 1000.0, heating=False, cooling=False).beer_c is None


def test_a_share_counts_from_the_least_that_is_surely_one() -> None:
    share = 0.05
    surely = Placing(
        (share, *[0.0] * 6),
        error_of_share=(share - LEAST_SHARE) / SURE_ERRORS,
        cooled_windows=COOLED_WINDOWS,
    )
    seen = observe(surely, 10.0, 5.0, LONG_S, 1000.0, heating=False, cooling=False)
    assert seen.beer_c == pytest.approx((10.0 - share * 5.0) / (1.0 - share))
    perhaps = replace(surely, error_of_share=surely.error_of_share + 0.001)
    assert observe(perhaps, 10.0, 5.0, LONG_S, 1000.0, heating=False, cooling=False).beer_c is None


def test_where_nothing_was_cooled_lately_a_small_share_is_the_heaters_doing() -> None:
    share = 0.12
    heated = Placing(
        (share, *[0.0] * 6), error_of_share=(share - LEAST_BY_HEAT_ALONE) / SURE_ERRORS * 0.99
    )
    assert observe(heated, 10.0, 5.0, LONG_S, 1000.0, heating=False, cooling=False).beer_c
    perhaps = replace(heated, error_of_share=heated.error_of_share * 1.1)
    assert observe(perhaps, 10.0, 5.0, LONG_S, 1e3, heating=False, cooling=False).beer_c is None
    cooled = replace(perhaps, cooled_windows=COOLED_WINDOWS)
    assert observe(cooled, 10.0, 5.0, LONG_S, 1e3, heating=False, cooling=False).beer_c
    barely = replace(perhaps, cooled_windows=COOLED_WINDOWS - 0.01)
    assert observe(barely, 10.0, 5.0, LONG_S, 1e3, heating=False, cooling=False).beer_c is None


def test_windows_with_the_fridge_running_are_counted_and_slowly_forgotten() -> None:
    placing, counted = Placing(), []
    for tick in range(round(4 * WINDOW_S / TICK_S) + 1):
        at_s = tick * TICK_S
        # The fridge runs for the last tick of the first window, and through the second.
        cooling = WINDOW_S - TICK_S <= at_s < 2 * WINDOW_S
        placing = observe(placing, 12.0, 9.0, TICK_S, at_s, heating=False, cooling=cooling)
        counted.append(placing.cooled_windows)
    each = counted[:: round(WINDOW_S / TICK_S)]
    assert each == pytest.approx(
        [
            0.0,
            1.0,
            FORGETTING + 1.0,
            FORGETTING * (FORGETTING + 1.0),
            FORGETTING**2 * (FORGETTING + 1.0),
        ]
    )


def test_a_heater_counts_from_the_least_warmth_that_is_seen() -> None:
    share = 0.1
    beside = Placing(
        (share, 0.0, LEAST_OF_HEATER_C, *[0.0] * 4), error_of_share=0.01, cooled_windows=50.0
    )
    seen = observe(beside, 10.0, 5.0, LONG_S, 1000.0, heating=True, cooling=False)
    assert seen.beer_c == pytest.approx((10.0 - share * 5.0 - LEAST_OF_HEATER_C) / (1.0 - share))
    less = replace(beside, numbers=(share, 0.0, 0.09, *[0.0] * 4))
    dim = observe(less, 10.0, 5.0, LONG_S, 1000.0, heating=True, cooling=False)
    assert dim.beer_c == pytest.approx((10.0 - share * 5.0) / (1.0 - share))


def test_a_probe_that_sees_none_of_the_air_is_in_the_beer() -> None:
    belt = Placing((0.0, 0.0, 1.0, *[0.0] * 4), error_of_share=0.01)
    assert observe(belt, 10.0, 5.0, LONG_S, 1000.0, heating=True, cooling=False).beer_c is None


def test_a_fit_that_leaves_too_much_over_is_not_believed() -> None:
    """A probe that was moved from the wall into a well, say."""
    good = Placing((0.2, *[0.0] * 6), error_of_share=0.01, noise_c2=LEFT_OVER_C**2)
    assert observe(good, 10.0, 5.0, LONG_S, 1000.0, heating=False, cooling=False).beer_c is not None
    moved = replace(good, noise_c2=LEFT_OVER_C**2 * 1.01)
    assert observe(moved, 10.0, 5.0, LONG_S, 1000.0, heating=False, cooling=False).beer_c is None


def test_the_estimate_comes_and_goes_without_a_jump() -> None:
    known = Placing((0.2, *[0.0] * 6), error_of_share=0.01)
    seen = observe(known, 10.0, 5.0, TICK_S, 1000.0, heating=False, cooling=False)
    assert seen.beer_c == pytest.approx(10.0, abs=0.02)
    gone = replace(known, beer_c=11.0, error_of_share=1.0)
    back = observe(gone, 10.0, 5.0, TICK_S, 1000.0, heating=False, cooling=False)
    assert back.beer_c == pytest.approx(11.0, abs=0.02)
    there = observe(
        replace(gone, beer_c=10.0 + ARRIVED_C), 10.0, 5.0, TICK_S, 1e3, heating=False, cooling=False
    )
    assert there.beer_c is None
    near = replace(gone, beer_c=2 * ARRIVED_C)
    assert observe(near, 0.0, 5.0, DRAWN_S, 1000.0, heating=False, cooling=False).beer_c is None


def test_a_time_in_which_the_loop_did_not_run_belongs_to_no_window() -> None:
    placing = Vessel(share=0.15).live(Placing(), 12.0)
    assert placing.window is not None
    later_s = placing.window.since_mono_s + 2 * WINDOW_S
    kept = observe(placing, 12.0, 12.0, TICK_S, later_s, heating=False, cooling=False)
    assert kept.squares != placing.squares
    gap = observe(placing, 12.0, 12.0, TICK_S, later_s + 1.0, heating=False, cooling=False)
    assert (gap.window, gap.means, gap.squares) == (None, (), placing.squares)


@pytest.mark.parametrize("numbers", [(0.2, 0.0), (0.0, 0.2), (-0.1, 0.2)], ids=str)
@pytest.mark.parametrize("passed_s", [0.0, TICK_S])
def test_air_that_is_not_seen_in_two_parts_is_seen_at_once(
    numbers: tuple[float, float], passed_s: float
) -> None:
    given = Placing((*numbers, *[0.0] * 5), error_of_share=0.01, air_seen_c=10.0)
    assert (
        observe(given, 10.0, 5.0, passed_s, 1000.0, heating=False, cooling=False).air_seen_c == 5.0
    )


def test_a_lost_air_probe_ends_the_estimate_and_forgets_nothing_fitted() -> None:
    placing = Vessel(share=0.15).live(Placing(), 36.0)
    lost = observe(placing, 12.0, None, TICK_S, 1e6, heating=False, cooling=False)
    assert (lost.beer_c, lost.window, lost.means, lost.air_seen_c) == (None, None, (), None)
    assert lost.heater_seen == 0.0
    assert lost.numbers == placing.numbers
    assert observe(lost, 12.0, None, TICK_S, 1e6 + 10.0, heating=False, cooling=False) is lost
    blind = observe(placing, None, 11.0, TICK_S, 1e6, heating=True, cooling=False)
    assert (blind.beer_c, blind.means) == (None, ())
    # Air and heater are still followed.
    assert blind.air_seen_c is not None
    assert 0.0 < blind.heater_seen <= 1.0


def test_what_was_fitted_outlives_the_process() -> None:
    placing = Vessel(share=0.15, of_heater_c=0.8, heats=True).live(Placing(), 30.0)
    again = recalled(sums(placing))
    assert again.numbers == pytest.approx(placing.numbers, abs=1e-3)
    assert again.error_of_share == pytest.approx(placing.error_of_share, rel=1e-2)
    assert recalled([]) == Placing()
    assert sums(Placing()) == []


@pytest.mark.parametrize("numbers", [[1.0], [0.0] * 35, [-(2.25e-2**2)] * 36], ids=str)
def test_sums_that_are_none_are_refused_or_harmless(numbers: list[float]) -> None:
    try:
        placing = recalled(numbers)
    except ValueError:
        return
    assert all(abs(each) < 1e6 for each in placing.numbers)


def test_sums_that_cannot_be_solved_are_refused() -> None:
    numbers = [0.0] * 36
    numbers[0] = -((0.02 / 0.2) ** 2)
    with pytest.raises(ValueError, match=r"^sums of no fit$"):
        recalled(numbers)


def test_sums_that_are_not_so_many_are_refused_with_their_number() -> None:
    with pytest.raises(ValueError, match=r"^3 sums of a fit; there are 36$"):
        recalled([1.0, 2.0, 3.0])


def test_the_elimination_agrees_with_numpy() -> None:
    random = np.random.default_rng(1)
    for _ in range(20):
        root = random.normal(size=(7, 7))
        matrix = root @ root.T + np.eye(7)
        sides = random.normal(size=(7, 2))
        found = solve(matrix.tolist(), (sides[:, 0].tolist(), sides[:, 1].tolist()))
        assert np.allclose(np.array(found).T, np.linalg.solve(matrix, sides))
