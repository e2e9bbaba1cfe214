"""The running fit and its estimate are, to the last digits, what numpy makes of all readings."""

from __future__ import annotations

from random import Random

import numpy as np
import pytest
from placing_by_numpy import RIDGE, SHARES, Fit, Read, estimates, fits

from fermd.control.placing import LIKELY_NOISE_C, Placing, observe, recalled, sums

WALL_LAG_S = 260.0
"""Of the wall of these tests, s: not what `placing.py` takes it to be."""


def taped_probe(
    hours: float,
    *,
    seed: int,
    share: float,
    late: float,
    of_heater_c: float,
    noise_c: float = 0.01,
    heats: bool = True,
    cools: bool = True,
    unheated_from_h: float = 1e9,
) -> list[Read]:
    """Readings of a probe that sees its vessel's air and heater, at ticks of uneven length.

    The room is cold enough for the air to go to and fro without a fridge as well.
    """
    random, mono_s, beer_c, air_c, late_air_c, late_on = Random(seed), 4000.0, 12.0, 14.0, 14.0, 0.0
    reads = []
    while mono_s < 4000.0 + hours * 3600.0:
        passed_s = random.choice((5.0, 10.0, 30.0, 55.0))
        mono_s += passed_s
        unheated = mono_s >= 4000.0 + unheated_from_h * 3600.0
        heating = heats and not unheated and mono_s % 5400.0 < 1500.0
        cold = 2700.0 < mono_s % 7200.0 < 4200.0
        air_c += passed_s / 700.0 * ((3.0 if cold else 17.0) - air_c)
        late_air_c += passed_s / (passed_s + WALL_LAG_S) * (air_c - late_air_c)
        late_on += passed_s / (passed_s + WALL_LAG_S) * (heating - late_on)
        beer_c += passed_s / 3600.0 * (0.09 * (air_c - beer_c) + 0.12 + 0.7 * heating)
        seen_air_c = share * ((1.0 - late) * air_c + late * late_air_c)
        seen_heater_c = of_heater_c * ((1.0 - late) * heating + late * late_on)
        vessel_c = (1.0 - share) * beer_c + seen_air_c + seen_heater_c
        vessel_c += random.gauss(0.0, noise_c)
        reads.append(Read(vessel_c, air_c, heating, passed_s, mono_s, cooling=cools and cold))
    return reads


def every_number(placing: Placing) -> list[float]:
    return [
        *placing.numbers,
        *placing.squares,
        *placing.products,
        placing.noise_c2,
        placing.error_of_share,
        placing.cooled_windows,
        placing.unchecked_windows,
        *(placing.kept_shares or (np.nan, np.nan)),
    ]


def every_number_of(fit: Fit) -> list[float]:
    kept = (np.nan, np.nan) if fit.kept is None else fit.kept[:2]
    squares = fit.squares.ravel()
    known = (fit.noise_c2, fit.error_of_share, fit.cooled, fit.unchecked)
    return [*fit.numbers, *squares, *fit.products, *known, *kept]


def observed(placing: Placing, read: Read) -> Placing:
    return observe(
        placing,
        read.vessel_c,
        read.air_c,
        read.passed_s,
        read.mono_s,
        heating=read.heating,
        cooling=read.cooling,
    )


@pytest.mark.parametrize(
    ("share", "late", "of_heater_c", "heats", "cools", "unheated_from_h"),
    [
        (0.0, 0.0, 0.0, True, True, 1e9),
        (0.2, 0.4, 0.0, False, True, 1e9),
        (0.2, 0.4, 0.0, True, True, 1e9),
        (0.2, 0.4, 1.0, True, True, 1e9),
        (0.2, 0.4, -1.0, True, True, 1e9),
        (0.2, 0.4, 1.0, True, False, 1e9),
        (0.2, 0.4, 1.0, True, False, 4.0),
        (0.0, 0.3, 1.0, True, True, 1e9),
    ],
    ids=[
        "in a well",
        "taped, without heat",
        "taped",
        "taped beside a belt",
        "taped opposite a belt",
        "taped beside a belt, nothing cooled",
        "taped beside a belt that is taken away",
        "in a well beside a belt",
    ],
)
def test_every_number_of_the_fit_and_every_estimate_is_numpys(
    share: float, late: float, of_heater_c: float, heats: bool, cools: bool, unheated_from_h: float
) -> None:
    reads = taped_probe(
        6.0,
        seed=3,
        share=share,
        late=late,
        of_heater_c=of_heater_c,
        heats=heats,
        cools=cools,
        unheated_from_h=unheated_from_h,
    )
    by_numpy = fits(reads)
    placing = Placing()
    fitted: list[list[float]] = []
    estimated: list[float] = []
    by_tick: list[Fit] = []
    for read in reads:
        # A tick is seen by what was fitted before it.
        by_tick.append(by_numpy[len(fitted) - 1] if fitted else Fit())
        window = placing.window
        placing = observed(placing, read)
        assert placing.window is not None
        if window is not None and placing.window.since_mono_s != window.since_mono_s:
            fitted.append(every_number(placing))
        estimated.append(np.nan if placing.beer_c is None else placing.beer_c)
    assert len(fitted) > 50
    wanted = [every_number_of(fit) for fit in by_numpy]
    assert np.allclose(fitted, wanted, rtol=1e-7, atol=1e-10, equal_nan=True)
    expected = [np.nan if each is None else each for each in estimates(reads, by_tick)]
    assert np.allclose(estimated, expected, rtol=1e-9, atol=1e-12, equal_nan=True)
    known = np.isfinite(estimated)
    assert known.sum() > 100 if share else not known.any()
    # Every case has windows of either kind; where there is heat, the shares are kept through it.
    kept = [fit.kept is not None for fit in by_numpy]
    assert 5 < sum(kept) < len(kept) - 5


def test_a_fit_that_was_remembered_is_what_numpy_makes_of_its_sums() -> None:
    """Six digits are remembered of each sum. What the ridge drew to is not: nought is, again."""
    reads = taped_probe(6.0, seed=4, share=0.2, late=0.4, of_heater_c=1.0)
    placing = Placing()
    for read in reads:
        placing = observed(placing, read)
    last = fits(reads)[-1]
    assert last.kept is not None
    again = recalled(sums(placing))
    assert again.kept_shares is None
    assert np.allclose(again.squares, last.squares.ravel(), rtol=1e-5)
    assert np.allclose(again.products, last.products, rtol=1e-5)
    assert again.noise_c2 == pytest.approx(last.noise_c2, rel=1e-5)
    covariance = np.linalg.inv(last.squares + RIDGE)
    assert again.numbers == pytest.approx(covariance @ last.products, abs=2e-3)
    assert again.numbers == pytest.approx(last.numbers, abs=5e-3)
    error = np.sqrt(max(last.noise_c2, LIKELY_NOISE_C**2) * (SHARES @ covariance @ SHARES))
    assert again.error_of_share == pytest.approx(error, rel=1e-3)


def test_a_fit_is_never_taken_to_be_better_than_what_probes_can_read() -> None:
    reads = taped_probe(6.0, seed=4, share=0.2, late=0.4, of_heater_c=1.0)
    last = fits(reads)[-1]
    half = [last.squares[one, other] for one in range(7) for other in range(one, 7)]
    for noise_c2 in (1e-9, LIKELY_NOISE_C**2):
        placing = recalled([*half, *last.products, noise_c2])
        covariance = np.linalg.inv(last.squares + RIDGE)
        expected = LIKELY_NOISE_C * np.sqrt(SHARES @ covariance @ SHARES)
        assert placing.error_of_share == pytest.approx(expected)
