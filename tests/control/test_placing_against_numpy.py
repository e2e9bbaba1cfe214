"""The running fit and its estimate are, to the last digits, what numpy makes of all readings."""

from __future__ import annotations

from random import Random

import numpy as np
import pytest
from placing_by_numpy import RIDGE, SHARES, Fit, Read, Seen, fits

from fermd.control.placing import LIKELY_NOISE_C, WINDOW_S, Placing, observe, recalled, sums


def taped_probe(
    hours: float, *, seed: int, share: float, late: float, of_heater_c: float, noise_c: float = 0.01
) -> list[Read]:
    """Readings of a probe that sees its vessel's air and heater, at ticks of uneven length."""
    random, mono_s, beer_c, air_c, late_air_c, late_on = Random(seed), 4000.0, 12.0, 14.0, 14.0, 0.0
    reads = []
    while mono_s < 4000.0 + hours * 3600.0:
        passed_s = random.choice((5.0, 10.0, 30.0, 55.0))
        mono_s += passed_s
        heating = mono_s % 5400.0 < 1500.0
        air_c += passed_s / 700.0 * ((3.0 if 2700.0 < mono_s % 7200.0 < 4200.0 else 17.0) - air_c)
        late_air_c += passed_s / (passed_s + WINDOW_S) * (air_c - late_air_c)
        late_on += passed_s / (passed_s + WINDOW_S) * (heating - late_on)
        beer_c += passed_s / 3600.0 * (0.09 * (air_c - beer_c) + 0.12 + 0.7 * heating)
        seen_air_c = share * ((1.0 - late) * air_c + late * late_air_c)
        seen_heater_c = of_heater_c * ((1.0 - late) * heating + late * late_on)
        vessel_c = (1.0 - share) * beer_c + seen_air_c + seen_heater_c
        reads.append(Read(vessel_c + random.gauss(0.0, noise_c), air_c, heating, passed_s, mono_s))
    return reads


def every_number(placing: Placing) -> list[float]:
    return [
        *placing.numbers,
        *placing.squares,
        *placing.products,
        placing.noise_c2,
        placing.error_of_share,
    ]


def every_number_of(fit: Fit) -> list[float]:
    return [*fit.numbers, *fit.squares.ravel(), *fit.products, fit.noise_c2, fit.error_of_share]


def estimate(seen_air_c: float | None, heater: float, beer_c: float | None) -> list[float]:
    """Three numbers; one that is not known is none."""
    return [np.nan if each is None else each for each in (seen_air_c, heater, beer_c)]


def observed(placing: Placing, read: Read) -> Placing:
    return observe(
        placing,
        read.vessel_c,
        read.air_c,
        read.passed_s,
        read.mono_s,
        heating=read.heating,
        cooling=False,
    )


@pytest.mark.parametrize(
    ("share", "late", "of_heater_c"),
    [(0.0, 0.0, 0.0), (0.2, 0.4, 0.0), (0.2, 0.4, 1.0), (0.0, 0.3, 1.0)],
    ids=["in a well", "taped", "taped beside a belt", "in a well beside a belt"],
)
def test_every_number_of_the_fit_and_every_estimate_is_numpys(
    share: float, late: float, of_heater_c: float
) -> None:
    reads = taped_probe(6.0, seed=3, share=share, late=late, of_heater_c=of_heater_c)
    by_numpy = fits(reads)
    placing, seen = Placing(), Seen()
    fitted: list[list[float]] = []
    estimated: list[list[float]] = []
    expected: list[list[float]] = []
    for read in reads:
        # A tick is seen by what was fitted before it.
        seen = seen.after(by_numpy[max(len(fitted) - 1, 0)], read)
        window = placing.window
        placing = observed(placing, read)
        assert placing.window is not None
        if window is not None and placing.window.since_mono_s != window.since_mono_s:
            fitted.append(every_number(placing))
        estimated.append(estimate(placing.air_seen_c, placing.heater_seen, placing.beer_c))
        expected.append(estimate(seen.air_c, seen.heater, seen.beer_c))
    assert len(fitted) > 50
    wanted = [every_number_of(fit) for fit in by_numpy[: len(fitted)]]
    assert np.allclose(fitted, wanted, rtol=1e-7, atol=1e-10)
    assert np.allclose(estimated, expected, rtol=1e-9, atol=1e-12, equal_nan=True)
    known = np.isfinite(np.array(estimated)[:, 2])
    assert known.sum() > 100 if share else not known.any()


def test_a_fit_that_was_remembered_goes_on_as_numpys_does() -> None:
    """Six digits are remembered of each sum: the fit is the same to as many."""
    reads = taped_probe(6.0, seed=4, share=0.2, late=0.4, of_heater_c=1.0)
    placing = Placing()
    for read in reads:
        placing = observed(placing, read)
    last = fits(reads)[-1]
    again = recalled(sums(placing))
    assert np.allclose(again.squares, last.squares.ravel(), rtol=1e-5)
    assert np.allclose(again.products, last.products, rtol=1e-5)
    assert again.noise_c2 == pytest.approx(last.noise_c2, rel=1e-5)
    assert again.numbers == pytest.approx(last.numbers, abs=2e-3)
    assert again.error_of_share == pytest.approx(last.error_of_share, rel=1e-3)


def test_a_fit_is_never_taken_to_be_better_than_what_probes_can_read() -> None:
    reads = taped_probe(6.0, seed=4, share=0.2, late=0.4, of_heater_c=1.0)
    last = fits(reads)[-1]
    half = [last.squares[one, other] for one in range(7) for other in range(one, 7)]
    for noise_c2 in (1e-9, LIKELY_NOISE_C**2):
        placing = recalled([*half, *last.products, noise_c2])
        covariance = np.linalg.inv(last.squares + RIDGE)
        expected = LIKELY_NOISE_C * np.sqrt(SHARES @ covariance @ SHARES)
        assert placing.error_of_share == pytest.approx(expected)
