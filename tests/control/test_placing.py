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
    HEAT_GONE,
    KEPT_LIKELY,
    KNOWN_TO,
    LEAST_BY_HEAT_ALONE,
    LEAST_KEPT_BY_HEAT,
    LEAST_OF_HEATER_C,
    LEAST_SHARE,
    LEFT_OVER_C,
    LIKELY,
    LIKELY_NOISE_C,
    MOST_BESIDE_C,
    MOST_SHARE,
    NOISE_WEIGHT,
    SEEN_LESS_BY_HEAT,
    SURE_ERRORS,
    UNCHECKED_WINDOWS,
    WALL_S,
    Placing,
    air_trend_c_per_h,
    beer_c,
    drift_c_per_h,
    observe,
    recalled,
    sums,
)
from fermd.control.settings import ForesightSettings
from fermd.control.windows import WINDOW_S, Means, Window

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
    cools: bool = True
    heats: bool = False
    heats_from_s: float = 3600.0
    heats_for_s: float = 1200.0
    every_s: float = 7200.0
    room_c: float = 16.0
    heated_air_c: float = 16.0
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
            phase = self.mono_s % self.every_s
            cooling = self.cools and phase < 1200.0
            heating = self.heats and 0.0 <= phase - self.heats_from_s < self.heats_for_s
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
        around_c = 2.0 if cooling else self.heated_air_c if heating else self.room_c
        self.air_c += TICK_S / 900.0 * (around_c - self.air_c)
        power_c_per_h = self.power_c_per_h if heating else 0.0
        moves_c_per_h = self.follows_per_h * (self.air_c - self.beer_c) + self.warms_c_per_h
        self.beer_c += tick_h * (moves_c_per_h + power_c_per_h)
        body_c = (1.0 - self.share) * self.beer_c + self.share * self.air_c
        body_c += self.of_heater_c * heating
        self.shown_c += TICK_S / (TICK_S + self.vessel_lag_s) * (body_c - self.shown_c)
        self.air_shown_c += TICK_S / (TICK_S + self.air_lag_s) * (self.air_c - self.air_shown_c)

    def _read(self, temp_c: float, random: Random) -> float:
        return round((temp_c + random.gauss(0.0, self.noise_c)) * 16.0) / 16.0


def test_the_numbers_of_the_fit_are_those_that_its_figures_were_measured_with() -> None:
    """Measured by `tests/holding/compare.py`: whoever changes one of them measures again.

    The tests here and numpy's double go by the names, so they cannot tell.
    """
    shares = (LEAST_SHARE, LEAST_BY_HEAT_ALONE, MOST_SHARE, SURE_ERRORS, SEEN_LESS_BY_HEAT)
    assert shares == (0.03, 0.1, 0.4, 2.0, 0.2)
    assert (WINDOW_S, WALL_S, DRAWN_S) == (300.0, 220.0, 900.0)
    assert (FORGETTING, NOISE_WEIGHT) == (0.995, 0.02)
    assert (COOLED_WINDOWS, UNCHECKED_WINDOWS) == (2.0, 200)
    assert (KNOWN_TO, LEFT_OVER_C, LEAST_OF_HEATER_C, ARRIVED_C) == (0.03, 0.05, 0.1, 0.02)
    assert (LIKELY_NOISE_C, KEPT_LIKELY, HEAT_GONE) == (0.02, 0.05, 0.02)
    assert LIKELY == (0.2, 0.2, 1.0, 1.0, 0.2, 0.5, 1.0)


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
    drift = drift_c_per_h(replace(placing, air_c=10.0), 12.0)
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


def test_how_fast_the_air_moves_is_told_from_two_windows_on() -> None:
    before, now = (12.0, 5.0, 0.0, 9.0, 0.0), (12.0, 5.5, 0.0, 9.0, 0.0)
    assert air_trend_c_per_h(Placing()) is None
    assert air_trend_c_per_h(Placing(means=(now,))) is None
    assert air_trend_c_per_h(Placing(means=(before, now))) == pytest.approx(0.5 * 12)


def test_an_estimate_that_nothing_shows_stays_near_the_probe() -> None:
    known = replace(Placing(), beer_c=15.0)
    assert beer_c(known, FORESIGHT, 12.0) == 12.0 + FORESIGHT.most_c
    assert beer_c(replace(known, beer_c=5.0), FORESIGHT, 12.0) == 12.0 - FORESIGHT.most_c
    assert beer_c(known, ForesightSettings(foresee=False), 12.0) == 12.0


@pytest.mark.parametrize(("air_c", "shown_c"), [(5.0, 11.25), (20.0, 7.5)])
def test_the_estimate_is_bounded_about_the_probe_and_what_it_shows(
    air_c: float, shown_c: float
) -> None:
    """Beside a cold plate a probe reads degrees too low: a bound about it alone would be wrong."""
    known = Placing((0.2, *[0.0] * 6), error_of_share=0.01, air_c=air_c, beer_c=shown_c)
    assert beer_c(known, FORESIGHT, 10.0) == shown_c
    low_c, high_c = min(10.0, shown_c) - FORESIGHT.most_c, max(10.0, shown_c) + FORESIGHT.most_c
    assert beer_c(replace(known, beer_c=30.0), FORESIGHT, 10.0) == pytest.approx(high_c)
    assert beer_c(replace(known, beer_c=-9.0), FORESIGHT, 10.0) == pytest.approx(low_c)


def test_no_probe_is_taken_to_be_further_from_its_beer_than_any_is() -> None:
    """Whatever has been fitted of a heater: here it would warm the probe by 20 °C."""
    known = Placing(
        (0.2, 0.0, 20.0, 0.0, 0.0, 0.0, 0.0), error_of_share=0.01, air_c=10.0, heater=1.0
    )
    for warmer, bound_c in ((1.0, 10.0 - MOST_BESIDE_C), (-1.0, 10.0 + MOST_BESIDE_C)):
        fitted = replace(known, numbers=(0.2, 0.0, warmer * 20.0, *[0.0] * 4), cooled_windows=9.0)
        told_c = 10.0 - warmer * 15.0
        assert beer_c(replace(fitted, beer_c=told_c), FORESIGHT, 10.0) == bound_c
    assert MOST_BESIDE_C == 5.0


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


def test_a_share_that_is_acted_on_is_given_up_only_at_half_of_what_it_takes_to_begin() -> None:
    share = 0.07
    acted_on = Placing(
        (share, *[0.0] * 6),
        error_of_share=(share - LEAST_KEPT_BY_HEAT) / SURE_ERRORS * 0.99,
        beer_c=10.4,
    )
    kept = observe(acted_on, 10.0, 5.0, LONG_S, 1e3, heating=False, cooling=False)
    assert kept.beer_c == pytest.approx((10.0 - share * 5.0) / (1.0 - share), abs=0.001)
    lost = replace(acted_on, error_of_share=acted_on.error_of_share * 1.1)
    seen = observe(lost, 10.0, 5.0, 1e6, 1e3, heating=False, cooling=False)
    assert seen.beer_c is None


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


@pytest.mark.parametrize("way", [1.0, -1.0], ids=["warmer", "colder"])
def test_a_heater_counts_from_the_least_that_is_seen_of_it_either_way(way: float) -> None:
    share, of_heater_c = 0.1, way * LEAST_OF_HEATER_C
    beside = Placing(
        (share, 0.0, of_heater_c, *[0.0] * 4), error_of_share=0.01, cooled_windows=50.0
    )
    # A heater that is on at the first tick is on for a wall as well: less is seen of the air.
    air = share * (1.0 - SEEN_LESS_BY_HEAT)
    seen = observe(beside, 10.0, 5.0, LONG_S, 1000.0, heating=True, cooling=False)
    assert seen.beer_c == pytest.approx((10.0 - air * 5.0 - of_heater_c) / (1.0 - air))
    less = replace(beside, numbers=(share, 0.0, 0.99 * of_heater_c, *[0.0] * 4))
    dim = observe(less, 10.0, 5.0, LONG_S, 1000.0, heating=True, cooling=False)
    assert dim.beer_c == pytest.approx((10.0 - air * 5.0) / (1.0 - air))


def test_air_and_heater_are_followed_by_the_lag_of_a_wall() -> None:
    first = observe(Placing(), 10.0, 8.0, 1e3, 0.0, heating=True, cooling=False)
    assert (first.air_c, first.air_late_c, first.heater, first.heater_late) == (8.0, 8.0, 1.0, 1.0)
    for passed_s in (0.0, TICK_S, WALL_S, 3 * WALL_S):
        way = passed_s / (passed_s + WALL_S)
        next_ = observe(first, 10.0, 5.0, passed_s, passed_s, heating=False, cooling=False)
        assert (next_.air_c, next_.heater) == (5.0, 0.0)
        assert next_.air_late_c == pytest.approx(8.0 - way * 3.0)
        assert next_.heater_late == pytest.approx(1.0 - way)


def test_what_is_seen_at_once_and_late_is_each_taken_from_its_own() -> None:
    """Of the heater no less is seen while it is on, of the air it is, as late as a wall is warm."""
    taped = Placing((0.12, 0.05, 0.7, -0.3, 0.0, 0.0, 0.0), error_of_share=0.01)
    at = replace(taped, air_c=4.0, air_late_c=9.0, heater=1.0, heater_late=0.25)
    seen = observe(at, 10.0, 6.0, WALL_S, 1000.0, heating=True, cooling=False)
    late_c, late = 7.5, 0.625
    less = 1.0 - 0.2 * late
    beside_c = less * (0.12 * 6.0 + 0.05 * late_c) + 0.7 - 0.3 * late
    # Nothing moves by itself here: the estimate begins where the reading shows the beer.
    assert seen.beer_c == pytest.approx((10.0 - beside_c) / (1.0 - less * 0.17))


def test_a_probe_that_sees_none_of_the_air_is_in_the_beer() -> None:
    belt = Placing((0.0, 0.0, 1.0, *[0.0] * 4), error_of_share=0.01)
    assert observe(belt, 10.0, 5.0, LONG_S, 1000.0, heating=True, cooling=False).beer_c is None


def test_a_fit_that_leaves_too_much_over_is_not_believed() -> None:
    """A probe that was moved from the wall into a well, say."""
    good = Placing((0.2, *[0.0] * 6), error_of_share=0.01, noise_c2=LEFT_OVER_C**2)
    assert observe(good, 10.0, 5.0, LONG_S, 1000.0, heating=False, cooling=False).beer_c is not None
    moved = replace(good, noise_c2=LEFT_OVER_C**2 * 1.01)
    assert observe(moved, 10.0, 5.0, LONG_S, 1000.0, heating=False, cooling=False).beer_c is None


def test_a_share_is_known_to_its_error_and_no_further() -> None:
    known = Placing((0.2, *[0.0] * 6), error_of_share=KNOWN_TO, noise_c2=LEFT_OVER_C**2)
    known = replace(known, unchecked_windows=UNCHECKED_WINDOWS)
    assert known.is_known
    assert not replace(known, error_of_share=KNOWN_TO * 1.001).is_known
    assert not replace(known, noise_c2=LEFT_OVER_C**2 * 1.001).is_known
    assert not replace(known, unchecked_windows=UNCHECKED_WINDOWS + 1).is_known


def test_the_estimate_begins_where_the_beer_is_and_goes_without_a_jump() -> None:
    """A beginning at the probe would be wrong by all that it sees of the air, for half an hour."""
    known = Placing((0.2, *[0.0] * 6), error_of_share=0.01)
    seen = observe(known, 10.0, 5.0, TICK_S, 1000.0, heating=False, cooling=False)
    assert seen.beer_c == pytest.approx((10.0 - 0.2 * 5.0) / 0.8)
    goes_on = observe(
        replace(known, beer_c=10.5), 10.0, 5.0, DRAWN_S, 1e3, heating=False, cooling=False
    )
    assert goes_on.beer_c == pytest.approx((10.5 + 11.25) / 2)
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


def test_a_lost_air_probe_ends_the_estimate_and_forgets_nothing_fitted() -> None:
    placing = Vessel(share=0.15).live(Placing(), 36.0)
    lost = observe(placing, 12.0, None, TICK_S, 1e6, heating=True, cooling=False)
    assert (lost.beer_c, lost.window, lost.means) == (None, None, ())
    assert (lost.air_c, lost.air_late_c, lost.heater, lost.heater_late) == (None, 0.0, 0.0, 0.0)
    assert (lost.numbers, lost.squares) == (placing.numbers, placing.squares)
    assert lost.kept_shares == placing.kept_shares is not None
    assert beer_c(lost, FORESIGHT, 12.0) == 12.0
    assert drift_c_per_h(lost, 12.0) is None
    assert observe(lost, 12.0, None, TICK_S, 1e6 + 10.0, heating=False, cooling=False) is lost
    # Found again, its air is new to a wall, too: nothing of the time before is carried on.
    found = observe(lost, 12.0, 7.0, TICK_S, 2e6, heating=True, cooling=False)
    assert (found.air_c, found.air_late_c, found.heater_late) == (7.0, 7.0, 1.0)
    assert found.numbers == placing.numbers


def test_while_the_vessel_probe_is_lost_air_and_heater_are_followed_on() -> None:
    placing = Vessel(share=0.15).live(Placing(), 36.0)
    air_c, late_c = placing.air_c, placing.air_late_c
    assert air_c is not None
    blind = observe(placing, None, air_c + 3.0, WALL_S, 1e6, heating=True, cooling=False)
    assert (blind.beer_c, blind.window, blind.means) == (None, None, ())
    assert (blind.air_c, blind.heater) == (air_c + 3.0, 1.0)
    assert blind.air_late_c == pytest.approx((late_c + air_c + 3.0) / 2)
    assert blind.heater_late == pytest.approx((placing.heater_late + 1.0) / 2)
    assert (blind.numbers, blind.kept_shares) == (placing.numbers, placing.kept_shares)


def test_what_was_fitted_outlives_the_process() -> None:
    placing = Vessel(share=0.15, of_heater_c=0.8, heats=True).live(Placing(), 30.0)
    again = recalled(sums(placing))
    assert again.numbers == pytest.approx(placing.numbers, abs=1e-3)
    assert again.error_of_share == pytest.approx(placing.error_of_share, rel=1e-2)
    assert recalled([]) == Placing()
    assert sums(Placing()) == []


def test_a_fit_of_nothing_knows_nothing() -> None:
    blank = recalled([0.0] * 36)
    assert blank.numbers == (0.0,) * 7
    # Its share may be anything that is likely: two times 0.2, each by itself.
    assert blank.error_of_share == pytest.approx(0.2 * 2**0.5)
    assert not blank.is_known


@pytest.mark.parametrize(
    "given",
    [{0: -((0.02 / 0.2) ** 2)}, {0: -1.0, 7: -1.0}, {35: -1e-9}],
    ids=["not to be solved", "shares that are surer than sure", "noise below nought"],
)
def test_sums_that_no_readings_have_are_refused(given: dict[int, float]) -> None:
    """They would seem to be known without an error, and be acted on."""
    numbers = [given.get(place, 0.0) for place in range(36)]
    with pytest.raises(ValueError, match=r"^sums of no fit$"):
        recalled(numbers)


def test_sums_that_are_not_so_many_are_refused_with_their_number() -> None:
    with pytest.raises(ValueError, match=r"^3 sums of a fit; there are 36$"):
        recalled([1.0, 2.0, 3.0])


# --- one window, by hand -------------------------------------------------------------------------

STILL = (12.0, 9.0, 0.0, 9.0, 0.0)
"""A window in which nothing moves: vessel, air, heater, late air, late heater."""


def closed(
    placing: Placing, now: Means, before: Means = STILL, heater_before: float = 0.0
) -> Placing:
    """Let the window `now` end, after one `before`, and one before that with a heater like this."""
    began = (before[0], before[1], heater_before, before[3], before[4])
    ready = replace(placing, means=(began, before), window=Window(0.0, *now))
    return observe(ready, 12.0, 9.0, TICK_S, WINDOW_S, heating=False, cooling=False)


KNOWN = replace(
    Vessel(share=0.15).live(Placing(), 30.0), kept_shares=(0.1, 0.05), beer_c=None, air_c=None
)
"""A taped probe after a day and more with a fridge."""


def test_a_window_without_heat_teaches_the_shares_and_has_them_kept() -> None:
    """The air goes up by 4 °C at once and by 2 °C late, and the probe by half a degree."""
    after = closed(KNOWN, (12.5, 13.0, 0.0, 11.0, 0.0))
    assert after.is_known
    assert after.kept_shares == after.numbers[:2]
    assert after.squares[0] == pytest.approx(FORGETTING * KNOWN.squares[0] + 16.0)
    assert after.squares[1] == pytest.approx(FORGETTING * KNOWN.squares[1] + 8.0)
    assert after.products[0] == pytest.approx(FORGETTING * KNOWN.products[0] + 2.0)


@pytest.mark.parametrize(
    ("now", "before"),
    [
        ((12.5, 13.0, 1.0, 11.0, 0.5), STILL),
        ((12.5, 13.0, 0.021, 11.0, 0.0), STILL),
        ((12.5, 13.0, 0.0, 11.0, 0.021), STILL),
        ((12.5, 13.0, 0.0, 11.0, 0.0), (12.0, 9.0, 0.021, 9.0, 0.0)),
        ((12.5, 13.0, 0.0, 11.0, 0.0), (12.0, 9.0, 0.0, 9.0, 0.021)),
    ],
    ids=["heated", "a little", "still warm", "a little before", "still warm before"],
)
def test_a_window_with_heat_teaches_nothing_of_shares_that_are_known(
    now: Means, before: Means
) -> None:
    """What the air does to the probe is taken off by the kept shares: the rest is the heater's."""
    after = closed(KNOWN, now, before)
    assert after.kept_shares == (0.1, 0.05)
    for place in (*range(14), *range(14, 49, 7), *range(15, 49, 7)):
        assert after.squares[place] == pytest.approx(FORGETTING * KNOWN.squares[place])
    assert after.products[:2] == pytest.approx([FORGETTING * each for each in KNOWN.products[:2]])
    rest_c = 0.5 - 0.1 * 4.0 - 0.05 * 2.0
    span_h = WINDOW_S / 3600.0
    assert after.squares[40] == pytest.approx(FORGETTING * KNOWN.squares[40] + span_h**2)
    assert after.products[5] == pytest.approx(
        FORGETTING * KNOWN.products[5] + span_h * rest_c, abs=1e-12
    )


def test_a_wall_that_is_as_good_as_cold_counts_as_unheated() -> None:
    cold = (12.5, 13.0, HEAT_GONE, 11.0, HEAT_GONE)
    after = closed(KNOWN, cold, (12.0, 9.0, HEAT_GONE, 9.0, HEAT_GONE), HEAT_GONE)
    assert after.squares[0] == pytest.approx(FORGETTING * KNOWN.squares[0] + 16.0)
    assert after.kept_shares == after.numbers[:2]


def test_shares_that_are_not_known_are_learned_with_heat_as_well_and_not_kept() -> None:
    blank = closed(Placing(), (12.5, 13.0, 1.0, 11.0, 0.5), heater_before=1.0)
    assert blank.squares[0] == pytest.approx(16.0)
    assert not blank.is_known
    assert blank.kept_shares is None
    known = closed(replace(KNOWN, kept_shares=None), (12.5, 13.0, 1.0, 11.0, 0.5))
    assert known.squares[0] == pytest.approx(FORGETTING * KNOWN.squares[0] + 16.0)
    assert known.is_known
    assert known.kept_shares is None


def test_the_shares_are_drawn_to_those_that_are_kept() -> None:
    """Without readings they are them but for the ridge to nought; with readings, hardly drawn."""
    kept = (0.2, 0.1)
    shares = closed(Placing(kept_shares=kept), STILL).numbers[:2]
    kept_weight, ridge = (0.02 / 0.05) ** 2, (0.02 / 0.2) ** 2
    drawn = kept_weight / (kept_weight + ridge)
    assert shares == pytest.approx((drawn * kept[0], drawn * kept[1]))
    free = closed(replace(KNOWN, kept_shares=None), STILL)
    drawn_off = closed(replace(KNOWN, kept_shares=(0.5, 0.5)), STILL)
    assert drawn_off.air_share == pytest.approx(free.air_share, abs=0.03)
    assert drawn_off.air_share > free.air_share


@pytest.mark.parametrize("heater", [0.0, 1.0])
def test_a_fit_that_is_not_known_any_more_lets_go_of_what_it_kept(heater: float) -> None:
    """A probe that was moved: what it saw where it was would be held against all that follows."""
    moved = closed(
        KNOWN, (15.0, 13.0, heater, 11.0, heater), (12.0, 9.0, heater, 9.0, heater), heater
    )
    assert moved.noise_c2 > LEFT_OVER_C**2
    assert moved.kept_shares is None


def test_what_is_left_over_before_and_after_is_multiplied() -> None:
    """By as much does the sum of squares grow; by what was left before, a new fit looks bad."""
    span_h = WINDOW_S / 3600.0
    after = closed(replace(KNOWN, noise_c2=4e-4), (12.3, 10.0, 0.0, 9.5, 0.0))
    x = (1.0, 0.5, 0.0, 0.0, span_h * (-3.0 - 2.3) / 2, span_h, 0.0)
    before_c = 0.3 - sum(n * each for n, each in zip(KNOWN.numbers, x, strict=True))
    after_c = 0.3 - sum(n * each for n, each in zip(after.numbers, x, strict=True))
    assert abs(after_c) < 0.99 * abs(before_c)
    expected = 4e-4 + NOISE_WEIGHT * (before_c * after_c - 4e-4)
    assert after.noise_c2 == pytest.approx(expected, rel=1e-9)
    spread = after.spread_of_share
    assert after.error_of_share == pytest.approx((max(expected, 4e-4) * spread) ** 0.5)


def test_the_error_of_the_share_goes_by_what_probes_can_read_at_least() -> None:
    good = closed(replace(KNOWN, noise_c2=1e-6), STILL)
    assert good.noise_c2 < LIKELY_NOISE_C**2
    assert good.error_of_share == pytest.approx(LIKELY_NOISE_C * good.spread_of_share**0.5)


@pytest.mark.parametrize(
    ("now", "before", "first"), [(1.0, 0.0, 0.0), (0.0, 0.0, 1.0), (0.5, 1.0, 0.5)]
)
def test_while_a_heater_is_switched_nothing_is_held_against_the_fit(
    now: float, before: float, first: float
) -> None:
    """A switched heater is seen late in ways that no window can tell apart."""
    window, window_before = (13.0, 9.0, now, 9.0, 0.0), (12.0, 9.0, before, 9.0, 0.0)
    given = replace(KNOWN, unchecked_windows=3)
    after = closed(given, window, window_before, first)
    assert after.noise_c2 == KNOWN.noise_c2
    assert after.unchecked_windows == 4
    assert after.error_of_share == pytest.approx(
        max(after.noise_c2, LIKELY_NOISE_C**2) ** 0.5 * after.spread_of_share**0.5
    )


@pytest.mark.parametrize("heater", [0.0, 1.0])
def test_while_a_heater_is_not_switched_the_fit_is_checked(heater: float) -> None:
    given = replace(KNOWN, unchecked_windows=3)
    after = closed(given, (12.0, 9.0, heater, 9.0, 1.0), (12.0, 9.0, heater, 9.0, 1.0), heater)
    assert after.noise_c2 != KNOWN.noise_c2
    assert after.unchecked_windows == 0


def test_a_fit_that_was_not_checked_for_as_long_as_is_remembered_is_not_known() -> None:
    switched = (12.0, 9.0, 0.5, 9.0, 0.0)
    last = closed(replace(KNOWN, unchecked_windows=UNCHECKED_WINDOWS - 1), switched)
    assert last.is_known
    assert last.kept_shares == (0.1, 0.05)
    late = closed(replace(KNOWN, unchecked_windows=UNCHECKED_WINDOWS), switched)
    assert not late.is_known
    assert late.kept_shares is None
    assert closed(late, STILL).is_known


# --- a season with heat only ---------------------------------------------------------------------

KNOWN_BELT = Vessel(share=0.2, of_heater_c=0.5, power_c_per_h=0.5)
KNOWN_BY_FRIDGE = KNOWN_BELT.live(Placing(), 36.0)
"""A taped probe that was known when the season began, and its vessel then."""


def cold_room(vessel: Vessel, on_s: float, every_s: float) -> Vessel:
    """The same vessel where a heater alone is switched."""
    return replace(
        vessel,
        cools=False,
        heats=True,
        heats_from_s=0.0,
        heats_for_s=on_s,
        every_s=every_s,
        room_c=10.0,
        heated_air_c=30.0,
    )


def in_a_well(vessel: Vessel) -> Vessel:
    return replace(vessel, share=0.0, of_heater_c=0.0)


def test_through_hours_with_heat_only_the_beer_is_still_told() -> None:
    vessel = cold_room(KNOWN_BELT, 1200.0, 4800.0)
    placing, off_c = KNOWN_BY_FRIDGE, []
    for more in range(48):
        placing = vessel.live(placing, 0.5, seed=more)
        off_c.append(beer_c(placing, FORESIGHT, vessel.shown_c) - vessel.beer_c)
    assert placing.air_share == pytest.approx(0.2, abs=0.03)
    assert np.sqrt(np.mean(np.square(off_c))) < 0.1


def test_a_probe_that_is_moved_into_a_well_while_it_is_only_heated_is_believed_again() -> None:
    """The shares that were kept are let go of within half a day, and learned anew with heat."""
    vessel = cold_room(KNOWN_BELT, 1200.0, 4800.0)
    placing = vessel.live(KNOWN_BY_FRIDGE, 12.0)
    assert placing.is_known
    assert placing.kept_shares is not None
    vessel = in_a_well(vessel)
    placing = vessel.live(placing, 12.0, seed=2)
    assert placing.kept_shares is None
    assert placing.beer_c is None
    placing = vessel.live(placing, 36.0, seed=3)
    assert placing.is_known
    # What was seen on the wall is not quite forgotten, but far below what counts by heat alone.
    assert abs(placing.air_share) < LEAST_BY_HEAT_ALONE / 2
    assert placing.beer_c is None


@pytest.mark.parametrize(("on_s", "every_s"), [(400.0, 1200.0), (300.0, 900.0)])
def test_a_probe_that_is_moved_beside_a_heater_that_is_always_switched_is_not_held_for_long(
    on_s: float, every_s: float
) -> None:
    """No window is without a switching: nothing tells that the fit is wrong but its age."""
    vessel = cold_room(KNOWN_BELT, on_s, every_s)
    placing = vessel.live(KNOWN_BY_FRIDGE, 1.0)
    assert placing.beer_c is not None
    vessel = in_a_well(vessel)
    placing = vessel.live(placing, 20.0, seed=2)
    assert not placing.is_known
    assert placing.kept_shares is None
    assert beer_c(placing, FORESIGHT, vessel.shown_c) == pytest.approx(vessel.beer_c, abs=0.1)


@pytest.mark.parametrize(
    ("on_s", "every_s", "kept_again"), [(1200.0, 4800.0, True), (2400.0, 3600.0, False)]
)
def test_a_restart_while_it_is_only_heated_loses_little_of_what_is_known(
    on_s: float, every_s: float, kept_again: bool
) -> None:
    """What was kept is not remembered: it is kept anew after the first window without heat."""
    vessel = cold_room(KNOWN_BELT, on_s, every_s)
    placing = vessel.live(KNOWN_BY_FRIDGE, 6.0)
    restarted = recalled(sums(placing))
    assert restarted.is_known
    assert restarted.kept_shares is None
    again = replace(vessel)
    placing, restarted = vessel.live(placing, 12.0, seed=2), again.live(restarted, 12.0, seed=2)
    assert restarted.is_known
    assert (restarted.kept_shares is not None) == kept_again
    assert restarted.air_share == pytest.approx(placing.air_share, abs=0.02)
    off_c = beer_c(restarted, FORESIGHT, again.shown_c) - beer_c(placing, FORESIGHT, vessel.shown_c)
    assert abs(off_c) < 0.1


@pytest.mark.parametrize("on_s", [1200.0, 2400.0])
def test_a_probe_in_a_well_that_was_only_ever_heated_is_believed(on_s: float) -> None:
    vessel = cold_room(Vessel(power_c_per_h=0.5), on_s, 4800.0)
    placing = vessel.live(Placing(), 24.0)
    assert placing.is_known
    assert abs(placing.air_share) < LEAST_SHARE
    assert placing.beer_c is None
