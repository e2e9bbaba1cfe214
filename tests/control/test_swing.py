"""What is learned of the beer's swing: coast, lag, least swing, middle; and how it is bounded."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import pytest
from chamber_bench import settings, unprotected

from fermd.control.learning import CUT_SHORT, WATCHED_S, Look, learn
from fermd.control.settings import ChamberSettings, Duty, ForesightSettings
from fermd.control.steps import Target
from fermd.control.swing import (
    FIRST_C,
    LEAST_DIFFERENCE_C,
    MOST_TIMES,
    Learned,
    Swing,
    coast_c,
    fits,
)

FORESIGHT = ForesightSettings()
PLAIN = ForesightSettings(foresee=False)
AT_10 = Target.at(10.0)


@dataclass
class Ride:
    """Beer that is led along straight lines, a tick every 10 s, under one chamber's settings."""

    beer_c: float = 10.0
    air_c: float | None = 10.0
    target: Target | None = AT_10
    given: ChamberSettings = field(default_factory=unprotected)
    mono_s: float = 1000.0
    swing: Swing = field(default_factory=Swing)
    running: Duty | None = None
    started_s: float = 0.0
    ran_s: float = 0.0

    def tick(self, beer_c: float | None, running: Duty | None) -> None:
        self.mono_s += 10.0
        was = self.running
        if running is not None and was is None:
            self.started_s = self.mono_s
        if running is not None or was is not None:
            self.ran_s = self.mono_s - self.started_s
        self.swing = learn(
            self.swing,
            self.given,
            Look(self.mono_s, 10.0, beer_c, self.air_c, running, was, self.ran_s, self.target),
        )
        self.running = running

    def to(self, beer_c: float, within_s: float, running: Duty | None = None) -> Ride:
        """Lead the beer in a straight line."""
        ticks = round(within_s / 10.0)
        before_c = self.beer_c
        for number in range(1, ticks + 1):
            self.beer_c = before_c + (beer_c - before_c) * number / ticks
            self.tick(self.beer_c, running)
        return self

    @property
    def cool(self) -> Learned:
        return self.swing.learned[Duty.COOL]

    def run(self, *, air_c: float | None, coast_c: float, cooled_c: float = 0.3) -> Ride:
        """Drift up, cool for 10 min, coast for an hour, come back."""
        self.air_c = None if air_c is None else 10.0
        self.to(10.2, 3600.0)
        self.air_c = air_c
        self.to(10.2 - cooled_c, 600.0, Duty.COOL)
        self.to(10.2 - cooled_c - coast_c, 3600.0)
        return self.to(10.2 - cooled_c - coast_c + 0.1, 3600.0)


def test_how_far_the_beer_goes_on_after_a_stop_is_learned() -> None:
    ride = Ride().run(air_c=2.0, coast_c=0.4)
    assert ride.cool.runs == 1
    # The stop is seen a tick after the beer has begun to coast, and smoothing rounds the turn off.
    assert ride.cool.coast_c == pytest.approx(0.4, abs=0.02)
    assert ride.cool.difference_c == pytest.approx(7.9, abs=0.02)
    assert ride.cool.run_s == pytest.approx(600.0, abs=10.0)


def test_later_runs_count_three_tenths_each() -> None:
    ride = Ride()
    for _ in range(20):
        ride.run(air_c=2.0, coast_c=0.4)
    before_c = ride.cool.coast_c
    ride.run(air_c=2.0, coast_c=0.1)
    assert ride.cool.coast_c == pytest.approx(before_c - 0.3 * (before_c - 0.1), abs=0.02)


def test_the_coast_is_foreseen_in_proportion_to_the_cold_of_the_air() -> None:
    known = Learned(runs=5, coast_c=0.4, difference_c=8.0, run_s=600.0)
    assert coast_c(known, FORESIGHT, Duty.COOL, 10.0, 2.0, 600.0) == pytest.approx(0.4)
    assert coast_c(known, FORESIGHT, Duty.COOL, 10.0, -6.0, 600.0) == pytest.approx(0.8)
    assert coast_c(known, FORESIGHT, Duty.COOL, 10.0, 12.0, 600.0) == 0.0
    far = coast_c(replace(known, coast_c=0.1), FORESIGHT, Duty.COOL, 10.0, -60.0, 600.0)
    assert far == pytest.approx(0.1 * MOST_TIMES)


def test_after_a_shorter_run_than_usual_it_is_foreseen_by_the_root_of_the_airs_cold() -> None:
    known = Learned(runs=5, coast_c=0.4, difference_c=8.0, run_s=600.0)
    assert coast_c(known, FORESIGHT, Duty.COOL, 10.0, 8.0, 600.0) == pytest.approx(0.2)
    assert coast_c(known, FORESIGHT, Duty.HEAT, 10.0, 12.0, 600.0) == pytest.approx(0.2)
    assert coast_c(known, FORESIGHT, Duty.COOL, 10.0, 9.5, 600.0) == pytest.approx(0.1)


def test_without_an_air_probe_it_is_foreseen_by_how_long_the_output_ran() -> None:
    known = Learned(runs=5, coast_c=0.4, run_s=600.0)
    for air_c in (None, 9.5):
        assert coast_c(known, FORESIGHT, Duty.COOL, 10.0, air_c, 300.0) == pytest.approx(0.2)
        assert coast_c(known, FORESIGHT, Duty.COOL, 10.0, air_c, 6000.0) == pytest.approx(0.4)
    at_once = replace(known, run_s=0.0)
    assert coast_c(at_once, FORESIGHT, Duty.COOL, 10.0, None, 0.0) == pytest.approx(0.4)


def test_air_that_hardly_moved_in_short_runs_tells_of_a_long_one() -> None:
    """A heater that had been on for minutes only, and now for half an hour."""
    known = Learned(runs=2, coast_c=0.1, difference_c=1.0, run_s=120.0)
    warmer = coast_c(known, FORESIGHT, Duty.HEAT, 10.0, 10.0 + 2 * LEAST_DIFFERENCE_C, 900.0)
    assert warmer == pytest.approx(0.2)
    hot = coast_c(known, FORESIGHT, Duty.HEAT, 10.0, 30.0, 900.0)
    assert hot == pytest.approx(0.1 * MOST_TIMES)


def test_a_first_run_is_taken_to_coast_as_far_as_any_chamber_may() -> None:
    assert coast_c(Learned(), FORESIGHT, Duty.COOL, 12.0, 2.0, 60.0) == pytest.approx(0.6)
    assert coast_c(Learned(), FORESIGHT, Duty.COOL, 12.0, None, 60.0) == FIRST_C
    assert coast_c(Learned(), FORESIGHT, Duty.COOL, 12.0, 11.0, 60.0) == pytest.approx(0.06)
    assert coast_c(Learned(), FORESIGHT, Duty.COOL, 40.0, 0.0, 60.0) == FORESIGHT.most_c


def test_the_first_run_of_a_heater_coasts_by_its_air_but_as_a_belt_does_at_the_least() -> None:
    """A belt warms the beer and not the air; a tube in the air warms that first."""
    assert coast_c(Learned(), FORESIGHT, Duty.HEAT, 12.0, 22.0, 60.0) == pytest.approx(0.6)
    assert coast_c(Learned(), FORESIGHT, Duty.HEAT, 12.0, 13.0, 60.0) == FIRST_C
    assert coast_c(Learned(), FORESIGHT, Duty.HEAT, 12.0, 2.0, 60.0) == FIRST_C
    assert coast_c(Learned(), FORESIGHT, Duty.HEAT, 12.0, None, 60.0) == FIRST_C
    assert coast_c(Learned(), FORESIGHT, Duty.HEAT, 12.0, 60.0, 60.0) == FORESIGHT.most_c
    little = replace(FORESIGHT, most_c=0.1)
    assert coast_c(Learned(), little, Duty.HEAT, 12.0, None, 60.0) == 0.1


def test_nothing_is_ever_foreseen_beyond_its_bound() -> None:
    ride = Ride()
    for _ in range(5):
        ride.run(air_c=2.0, coast_c=3.0)
    assert ride.cool.coast_c <= FORESIGHT.most_c
    wild = Learned(runs=9, coast_c=0.9, difference_c=2.0)
    assert coast_c(wild, FORESIGHT, Duty.COOL, 20.0, 0.0, 60.0) == FORESIGHT.most_c


def test_what_was_foreseen_wrongly_is_not_acted_on_until_it_is_right_again() -> None:
    ride = Ride()
    for _ in range(4):
        ride.run(air_c=2.0, coast_c=0.1)
    assert fits(ride.cool, FORESIGHT)
    assert not fits(ride.cool, PLAIN)
    for coast in (1.0, 0.0, 1.0, 0.0, 1.0):
        ride.run(air_c=2.0, coast_c=coast)
    assert not fits(ride.cool, FORESIGHT)
    for _ in range(12):
        ride.run(air_c=2.0, coast_c=0.2)
    assert fits(ride.cool, FORESIGHT)


def test_the_lag_after_a_start_is_learned_from_beer_that_drifted_there() -> None:
    ride = Ride().run(air_c=2.0, coast_c=0.3)
    for _ in range(30):
        ride.to(10.2, 3600.0)
        # It goes on up by a tenth of a degree for 10 min, and only then comes down.
        ride.to(10.3, 600.0, Duty.COOL)
        ride.to(9.9, 600.0, Duty.COOL)
        ride.to(9.7, 3600.0)
        ride.to(9.8, 3600.0)
    assert ride.cool.lag_c == pytest.approx(0.1, abs=0.03)


def test_a_start_that_a_new_target_brought_teaches_nothing_of_the_lag() -> None:
    ride = Ride(beer_c=18.0).to(18.0, 3600.0)
    ride.to(18.3, 600.0, Duty.COOL)
    ride.to(17.0, 3600.0, Duty.COOL)
    ride.to(16.5, 3600.0).to(16.7, 3600.0)
    assert ride.cool.lag_c == 0.0
    assert ride.swing.peak_c == pytest.approx(18.3, abs=0.1)


def test_a_run_that_the_minimum_run_time_held_teaches_the_least_swing() -> None:
    ride = Ride(given=settings())
    minimum_s = ride.given.by_duty[Duty.COOL].protection.minimum_run_s
    ride.run(air_c=2.0, coast_c=0.3)
    assert ride.cool.least_swing_c == 0.0
    for _ in range(20):
        ride.to(10.2, 3600.0)
        ride.to(9.9, minimum_s, Duty.COOL)
        ride.to(9.4, 3600.0).to(9.5, 3600.0)
    assert ride.cool.least_swing_c == pytest.approx(0.8, abs=0.1)
    ride.run(air_c=2.0, coast_c=0.3)
    assert ride.cool.least_swing_c == pytest.approx(0.7 * 0.8, abs=0.1)


def test_the_middle_of_the_swing_moves_until_its_mean_is_the_target() -> None:
    ride = Ride(beer_c=10.1)
    for _ in range(3):
        ride.to(10.2, 1800.0)
        ride.to(9.9, 600.0, Duty.COOL)
        ride.to(9.8, 7200.0).to(9.9, 3600.0)
    low_c = ride.cool.centre_c
    assert low_c < -0.02
    for _ in range(30):
        ride.to(10.2, 1800.0)
        ride.to(9.9, 600.0, Duty.COOL)
        ride.to(9.8, 7200.0).to(9.9, 3600.0)
    assert ride.cool.centre_c == -ride.given.cool.band_c / 2


@pytest.mark.parametrize("target", [None, Target.at(12.0)], ids=["switched off", "moved"])
def test_a_cycle_in_which_the_target_went_does_not_count(target: Target | None) -> None:
    ride = Ride(beer_c=10.2).to(9.9, 600.0, Duty.COOL).to(9.8, 3600.0)
    ride.to(9.9, 3600.0).to(10.2, 3600.0).to(9.9, 600.0, Duty.COOL)
    known = ride.swing.learned
    ride.target = target
    ride.to(9.9, 60.0)
    ride.target = AT_10
    ride.to(10.2, 3600.0).to(9.9, 600.0, Duty.COOL)
    assert ride.cool.centre_c == known[Duty.COOL].centre_c


def test_the_other_side_called_for_before_the_turn_shows_how_far_it_went_at_least() -> None:
    ride = Ride(beer_c=10.2).to(9.9, 600.0, Duty.COOL).to(9.2, 1800.0)
    ride.to(9.3, 600.0, Duty.HEAT)
    # The smoothed beer, three minutes behind, was 0.63 °C on its way.
    assert ride.cool.coast_c == pytest.approx(0.63 * CUT_SHORT, abs=0.02)
    assert ride.swing.stands_in
    assert ride.swing.last is Duty.HEAT


def test_a_restart_before_the_turn_teaches_nothing() -> None:
    ride = Ride(beer_c=10.2).to(9.9, 600.0, Duty.COOL).to(9.7, 1800.0).to(9.6, 600.0, Duty.COOL)
    assert ride.cool.runs == 0


def test_a_restart_just_after_the_turn_teaches_as_well() -> None:
    ride = Ride(beer_c=10.2).to(9.9, 600.0, Duty.COOL).to(9.6, 1800.0).to(9.635, 1800.0)
    ride.to(9.6, 600.0, Duty.COOL)
    assert ride.cool.runs == 1


def test_beer_that_never_turns_has_coasted_for_three_hours_at_the_most() -> None:
    ride = Ride(beer_c=10.2).to(9.9, 600.0, Duty.COOL).to(9.8, WATCHED_S)
    assert ride.swing.after_stop is not None
    ride.to(9.79, 60.0)
    assert ride.swing.after_stop is None
    assert ride.cool.coast_c == pytest.approx(0.1, abs=0.02)


def test_beer_that_still_warms_three_hours_after_a_start_teaches_no_lag() -> None:
    ride = Ride(beer_c=10.2).to(10.5, WATCHED_S + 60.0, Duty.COOL)
    assert ride.swing.after_start is None
    assert ride.swing.peak_c is None


def test_a_run_from_afar_teaches_only_who_knows_nothing_yet() -> None:
    ride = Ride(beer_c=14.0, air_c=2.0).to(10.0, 7200.0, Duty.COOL)
    assert ride.swing.afar
    ride.to(9.4, 3600.0).to(9.5, 3600.0)
    assert ride.cool.coast_c == pytest.approx(0.6, abs=0.05)
    assert not ride.swing.afar
    ride.to(14.0, 3600.0).to(10.0, 7200.0, Duty.COOL).to(9.9, 3600.0).to(10.0, 3600.0)
    assert ride.cool.runs == 1
    # But that it was foreseen wrongly counts, or a wrong belief could last for ever.
    assert ride.cool.error_c == pytest.approx(0.3 * 0.5, abs=0.03)


def test_without_foresight_a_run_from_afar_teaches_no_more_than_with_it() -> None:
    ride = Ride(given=unprotected(foresight=PLAIN)).run(air_c=2.0, coast_c=0.4)
    known = ride.cool
    ride.air_c = 10.0
    ride.to(14.0, 3600.0).to(10.0, 7200.0, Duty.COOL).to(9.4, 3600.0).to(9.5, 3600.0)
    assert ride.cool.runs == known.runs == 1
    assert ride.cool.coast_c == known.coast_c


def test_a_heater_is_learned_in_the_same_way_with_the_sign_turned() -> None:
    ride = Ride(beer_c=9.8, air_c=9.0).to(10.1, 600.0, Duty.HEAT).to(10.25, 1200.0)
    ride.to(10.1, 3600.0)
    assert ride.swing.learned[Duty.HEAT].coast_c == pytest.approx(0.15, abs=0.02)
    assert ride.swing.learned[Duty.HEAT].difference_c == 0.0


def test_a_lost_probe_ends_what_was_being_watched_and_forgets_nothing_learned() -> None:
    ride = Ride().run(air_c=2.0, coast_c=0.4)
    ride.to(10.2, 3600.0).to(9.9, 600.0, Duty.COOL)
    known = ride.swing.learned
    ride.tick(None, Duty.COOL)
    assert ride.swing == Swing(known, Duty.COOL)
    ride.tick(None, Duty.COOL)
    assert ride.swing == Swing(known, Duty.COOL)
    lost, ride.air_c = ride.swing, None
    ride.tick(None, Duty.COOL)
    assert ride.swing is lost


def test_nothing_is_learned_of_a_target_that_there_is_not() -> None:
    ride = Ride(target=None).to(10.2, 600.0).to(10.3, 600.0, Duty.COOL).to(9.9, 3600.0, Duty.COOL)
    assert not ride.swing.afar
    assert ride.swing.cycle is None
