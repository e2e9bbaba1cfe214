"""Whatever the probes read: what is learned stays within its bounds, and can be switched off."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from math import isfinite

import numpy as np
import pytest
from chamber_bench import Bench, settings, unprotected
from hypothesis import given
from hypothesis import strategies as st
from placing_by_numpy import Fit, Late, Read, by_reading

from fermd.control.bands import Call, Called, call, plain_edges
from fermd.control.commands import SetTarget, SwitchOff
from fermd.control.decision import Decision
from fermd.control.edges import Sight, edges
from fermd.control.placing import Placing, beer_c, recalled
from fermd.control.reading import Trusted
from fermd.control.settings import (
    BandSettings,
    ChamberSettings,
    CoolBandSettings,
    Duty,
    ForesightSettings,
    HeatBandSettings,
)
from fermd.control.steps import Target
from fermd.control.swing import Learned, Swing, Turn

pytestmark = pytest.mark.slow

JUST_C = 1e-9
"""What floating point makes of two equal temperatures, °C."""


@dataclass(frozen=True)
class Stretch:
    """A while in which beer and air go to and fro in straight lines; None: the probe is lost."""

    vessel_c: tuple[float, float] | None
    air_c: tuple[float, float] | None
    teeth: int
    ticks: int
    """For each way there and each way back."""
    every_s: float
    target_c: float | None


STRETCHES = st.lists(
    st.builds(
        Stretch,
        vessel_c=st.sampled_from([(9.0, 10.4), (9.6, 11.0), (9.7, 10.3), (9.9, 14.0), None])
        | st.tuples(st.floats(7.0, 13.0), st.floats(7.0, 13.0)),
        air_c=st.sampled_from([(2.0, 10.0), (9.0, 30.0), None])
        | st.tuples(st.floats(-4.0, 39.0), st.floats(-4.0, 39.0)),
        teeth=st.integers(1, 6),
        ticks=st.integers(3, 9),
        every_s=st.sampled_from([30.0, 120.0, 240.0, 1000.0]),
        target_c=st.sampled_from([10.0, 10.0, 10.0, 9.5, 12.0, None]),
    ),
    min_size=2,
    max_size=4,
)
BANDS_C = (st.floats(0.05, 1.0), st.floats(0.05, 2.0), st.floats(0.05, 1.5))
FORESIGHTS = st.builds(
    ForesightSettings,
    first_share=st.floats(0.0, 0.3),
    most_c=st.floats(0.0, 3.0),
    largest_error_c=st.floats(0.01, 3.0),
)
CHAMBERS = st.builds(
    lambda made, heat, cool, foresight: made(heat=heat, cool=cool, foresight=foresight),
    st.sampled_from([settings, unprotected]),
    st.builds(HeatBandSettings, *BANDS_C),
    st.builds(CoolBandSettings, *BANDS_C),
    FORESIGHTS,
)


def lead(bench: Bench, stretches: list[Stretch], seen: Callable[[Decision], None]) -> None:
    """Lead a chamber through the stretches, and look at every decision."""
    for stretch in stretches:
        command = SwitchOff() if stretch.target_c is None else SetTarget(stretch.target_c)
        seen(bench.tick(command, after_s=stretch.every_s))
        there = [number / stretch.ticks for number in range(stretch.ticks)]
        back = [1.0 - share for share in there]
        for share in (there + back) * stretch.teeth:
            bench.vessel_c = between(stretch.vessel_c, share)
            bench.air_c = between(stretch.air_c, share)
            seen(bench.tick(after_s=stretch.every_s))


def between(ends: tuple[float, float] | None, share: float) -> float | None:
    return None if ends is None else ends[0] + share * (ends[1] - ends[0])


def within_its_bounds(chamber: ChamberSettings, duty: Duty, known: Learned) -> None:
    band: BandSettings = chamber.cool if duty is Duty.COOL else chamber.heat
    assert 0.0 <= known.coast_c <= chamber.foresight.most_c + JUST_C
    assert abs(known.centre_c) <= band.band_c / 2
    assert -band.band_c / 2 <= known.lag_c <= band.after_the_other_c
    assert 0.0 <= known.error_c <= 3 * chamber.foresight.most_c + 0.3
    assert known.least_swing_c >= 0.0
    assert known.difference_c >= 0.0
    assert known.run_s >= 0.0
    assert all(isfinite(each) for each in (known.least_swing_c, known.difference_c, known.run_s))


def shown(placing: Placing, read_c: float) -> float:
    """What this reading alone shows of the beer, °C: without what is seen of air and heater."""
    if placing.air_c is None:
        return read_c
    fit = Fit(
        np.array(placing.numbers),
        placing.noise_c2,
        placing.error_of_share,
        cooled=placing.cooled_windows,
        unchecked=placing.unchecked_windows,
    )
    read = Read(read_c, placing.air_c, placing.heater > 0, 0.0, 0.0)
    late = Late(placing.air_late_c, placing.heater_late)
    shown_c = by_reading(fit, read, late, acted_on=placing.beer_c is not None)
    return read_c if shown_c is None else shown_c


NUMBERS = st.tuples(*(st.floats(-bound, bound) for bound in (0.6, 0.6, 3.0, 3.0, 2.0, 2.0, 5.0)))


def fitted(numbers: tuple[float, ...]) -> Placing:
    """A vessel that is known well to have these numbers, as a process before this one saw it."""
    root = 30.0 * np.random.default_rng(1).normal(size=(7, 7))
    squares = root @ root.T
    half = [squares[one, other] for one in range(7) for other in range(one, 7)]
    return recalled([*half, *(squares @ numbers), 1e-4])


@given(CHAMBERS, STRETCHES, st.none() | NUMBERS)
def test_whatever_is_read_what_is_learned_stays_within_its_bounds(
    chamber: ChamberSettings, stretches: list[Stretch], numbers: tuple[float, ...] | None
) -> None:
    bench = Bench(chamber, vessel_c=10.0, air_c=10.0).knows_its_past()
    if numbers is not None:
        bench.state = replace(bench.state, placing=fitted(numbers))

    def look(decision: Decision) -> None:
        for duty, known in decision.learned.items():
            within_its_bounds(chamber, duty, known)
        if isinstance(decision.vessel, Trusted):
            read_c = decision.vessel.temp_c
            estimate_c = beer_c(decision.placing, chamber.foresight, read_c)
            shown_c = shown(decision.placing, read_c)
            most_c = chamber.foresight.most_c + JUST_C
            assert min(read_c, shown_c) - most_c <= estimate_c <= max(read_c, shown_c) + most_c

    lead(bench, stretches, look)


@given(
    vessel_c=st.floats(-5.0, 40.0),
    estimate_c=st.none() | st.floats(-1e6, 1e6),
    foresight=FORESIGHTS,
    foresee=st.booleans(),
)
def test_an_estimate_that_nothing_shows_is_never_further_from_the_probe_than_is_allowed(
    vessel_c: float, estimate_c: float | None, foresight: ForesightSettings, foresee: bool
) -> None:
    given_ = replace(foresight, foresee=foresee)
    off_c = abs(beer_c(replace(Placing(), beer_c=estimate_c), given_, vessel_c) - vessel_c)
    assert off_c <= (given_.most_c if foresee else 0.0) + JUST_C


@given(
    vessel_c=st.floats(-5.0, 40.0),
    air_c=st.floats(-20.0, 60.0),
    late_c=st.floats(-20.0, 60.0),
    heater_late=st.floats(0.0, 1.0),
    heating=st.booleans(),
    estimate_c=st.floats(-1e6, 1e6),
    numbers=NUMBERS,
    most_c=st.floats(0.0, 3.0),
)
def test_the_estimate_is_never_further_than_is_allowed_from_what_is_read_and_shown(
    vessel_c: float,
    air_c: float,
    late_c: float,
    heater_late: float,
    heating: bool,
    estimate_c: float,
    numbers: tuple[float, ...],
    most_c: float,
) -> None:
    placing = Placing(
        numbers,
        error_of_share=0.001,
        air_c=air_c,
        air_late_c=late_c,
        heater=float(heating),
        heater_late=heater_late,
        beer_c=estimate_c,
    )
    told_c = beer_c(placing, ForesightSettings(most_c=most_c), vessel_c)
    ends_c = (vessel_c, shown(placing, vessel_c))
    assert min(ends_c) - most_c - JUST_C <= told_c <= max(ends_c) + most_c + JUST_C
    # Within them it is told as it is.
    if min(ends_c) - most_c <= estimate_c <= max(ends_c) + most_c:
        assert told_c == pytest.approx(estimate_c)


# --- edges ---------------------------------------------------------------------------------------

BOTH = st.sampled_from([Duty.HEAT, Duty.COOL])
NEAR_C = st.floats(5.0, 15.0)
LEARNED = st.builds(
    Learned,
    runs=st.integers(0, 20),
    coast_c=st.floats(0.0, 3.0),
    difference_c=st.floats(0.0, 30.0),
    run_s=st.floats(0.0, 9000.0),
    lag_c=st.floats(-1.0, 1.5),
    least_swing_c=st.floats(0.0, 4.0),
    centre_c=st.floats(-0.5, 0.5),
    error_c=st.floats(0.0, 1.0),
)
TURNS = st.builds(
    Turn,
    duty=BOTH,
    at_mono_s=st.floats(0.0, 1e4),
    beer_c=NEAR_C,
    furthest_c=NEAR_C,
    foreseen_c=st.floats(0.0, 3.0),
)
SWINGS = st.builds(
    Swing,
    learned=st.dictionaries(BOTH, LEARNED),
    last=st.none() | BOTH,
    after_stop=st.none() | TURNS,
    afar=st.booleans(),
    stands_in=st.booleans(),
)
SIGHTS = st.builds(
    Sight,
    mono_s=st.floats(1e4, 2e4),
    beer_c=NEAR_C,
    air_c=st.none() | st.floats(-4.0, 40.0),
    running=st.none() | BOTH,
    run_s=st.floats(0.0, 9000.0),
    drift_c_per_h=st.none() | st.floats(-1.0, 1.0),
)
CALLS = st.sampled_from([Call.HEAT, Call.COOL, Call.IDLE])


@given(CHAMBERS, SWINGS, SIGHTS, CALLS)
def test_no_call_is_ever_made_where_it_would_end(
    chamber: ChamberSettings, swing: Swing, sight: Sight, before: Call
) -> None:
    """Whatever was learned: beer at or beyond the end of a call is not heated or cooled."""
    lines = edges(swing, chamber, Target.at(10.0), sight)
    for edge_c in (lines.cool_from_c, lines.cool_until_c, lines.heat_from_c, lines.heat_until_c):
        called = call(lines, edge_c, before).call
        assert called is not Call.COOL or lines.cool_until_c < edge_c
        assert called is not Call.HEAT or edge_c < lines.heat_until_c
    begins = call(lines, lines.cool_from_c, Call.IDLE).call is Call.COOL
    assert begins == (lines.cool_until_c < lines.cool_from_c)


@given(CHAMBERS, SWINGS, SIGHTS)
def test_whatever_was_remembered_the_edges_stay_near_the_bands(
    chamber: ChamberSettings, swing: Swing, sight: Sight
) -> None:
    """Learned under other bands, or by other software: it moves an edge so far and no further."""
    lines = edges(replace(swing, after_stop=None), chamber, Target.at(10.0), sight)
    for band, from_c, until_c in (
        (chamber.cool, lines.cool_from_c - 10.0, lines.cool_until_c - 10.0),
        (chamber.heat, 10.0 - lines.heat_from_c, 10.0 - lines.heat_until_c),
    ):
        middle_c, back_c = band.band_c / 2, band.band_c - band.differential_c
        assert -middle_c - JUST_C <= from_c <= band.after_the_other_c + band.band_c + JUST_C
        assert until_c >= min(0.0, back_c) - middle_c - JUST_C
        assert until_c <= max(0.0, back_c) + middle_c + chamber.foresight.most_c + JUST_C


@given(
    st.builds(HeatBandSettings, *BANDS_C),
    st.builds(CoolBandSettings, *BANDS_C),
    st.floats(0.0, 30.0),
    st.floats(0.0, 10.0),
    st.none() | BOTH,
)
def test_plain_bands_leave_room_between_what_one_side_ends_and_the_other_begins(
    heat: HeatBandSettings, cool: CoolBandSettings, heat_c: float, free_c: float, last: Duty | None
) -> None:
    plain = plain_edges(Target(heat_c, heat_c + free_c), heat, cool, last)
    assert plain.heat_from_c < plain.cool_until_c < plain.cool_from_c
    assert plain.heat_from_c < plain.heat_until_c < plain.cool_from_c


# --- switched off --------------------------------------------------------------------------------


@given(CHAMBERS, STRETCHES, st.dictionaries(BOTH, LEARNED), NUMBERS, st.none() | BOTH)
def test_without_foresight_the_plain_bands_decide_whatever_was_learned(
    chamber: ChamberSettings,
    stretches: list[Stretch],
    learned: dict[Duty, Learned],
    numbers: tuple[float, ...],
    last: Duty | None,
) -> None:
    chamber = replace(chamber, foresight=ForesightSettings(foresee=False))
    bench = Bench(chamber, vessel_c=10.0, air_c=10.0).knows_its_past()
    bench.state = replace(bench.state, swing=Swing(learned, last), placing=fitted(numbers))
    before, ran_last = Call.IDLE, last

    def look(decision: Decision) -> None:
        nonlocal before, ran_last
        if isinstance(decision.vessel, Trusted) and decision.target is not None:
            plain = plain_edges(decision.target, chamber.heat, chamber.cool, ran_last)
            decided = Called(decision.call, decision.call_reason)
            assert decided == call(plain, decision.vessel.temp_c, before)
        before = decision.call
        ran_last = next((output.duty for output in decision.outputs if output.on), ran_last)

    lead(bench, stretches, look)
