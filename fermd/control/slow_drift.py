"""Narrower bands while the beer drifts slowly.

Between two starts on-off control lets the beer swing, by a above and below its target. Where the
beer drifts at r (°C/h), that takes r/(2 a) starts an hour in the least, and costs a²/3 of mean
square error. With a price of p on a start the sum of both is smallest at a = (¾ p r)^⅓: the trade
between the cost of an order and of a stock (the economic lot size; Harris 1913, from memory) with
an error that grows by its square. So slow beer is given narrower bands, as the cube root of its
drift, and is not left half a night at their edge; the starts that this takes are few.

In narrower bands the noise of a probe would call too soon, so that a call then begins by readings
that were steadied.
"""

from __future__ import annotations

from math import cbrt

from fermd.control.lag import lagged

FULL_BAND_C_PER_H = 0.5
"""From this drift on the bands are as wide as they are set, °C/h: with bands of ±0.2 °C a swing
then takes less than two hours, as with a peak of fermentation, or a cold beer in a hot room."""

NARROWEST = 0.5
"""No band becomes narrower than this share of what is set: ±0.1 °C by default, which is a step and
a half of a 12-bit probe."""

STEADIED_S = 60.0
"""The lag behind which readings are steadied, s: it takes their noise to a quarter at a period of
10 s, and beer that drifts slowly moves by less than 0.01 °C in it."""

TRUE_WITHIN_C = 0.1
"""Steadied beer is never further from the reading than this, °C: three times the probe's noise
(data sheet of the DS18B20, and a step of 12 bit). What moves by more is no noise."""


def narrowed(drift_c_per_h: float | None, way: float) -> float:
    """Return how much of its band a side is given, `NARROWEST` to 1.

    `drift_c_per_h`: how fast the beer moves with everything off, °C/h, None if that is not known;
    `way`: +1 for the side above the target, -1 for the one below. A side from which the beer does
    not drift away has its whole band.
    """
    if drift_c_per_h is None or way * drift_c_per_h <= 0.0:
        return 1.0
    share = cbrt(abs(drift_c_per_h) / FULL_BAND_C_PER_H)
    return min(max(share, NARROWEST), 1.0)


def steadied(before_c: float | None, read_c: float, passed_s: float) -> float:
    """Return the steadied temperature after one more reading, °C."""
    if before_c is None:
        return read_c
    return within_noise(lagged(before_c, read_c, passed_s, STEADIED_S), read_c)


def within_noise(steady_c: float, read_c: float) -> float:
    """Return a steadied temperature as near to the reading as noise can have it, °C."""
    return min(max(steady_c, read_c - TRUE_WITHIN_C), read_c + TRUE_WITHIN_C)
