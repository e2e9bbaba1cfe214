"""How much of the chamber's air the vessel probe sees, fitted on line.

A probe in a thermowell shows the beer. One that is taped to the vessel shows the wall and some of
the air: colder than the beer while the fridge runs, and colder in the mean while a fermentation
sends its heat out through the wall. How much is seen when the air moves: the air of a fridge
goes up and down by degrees within minutes, beer does not. With y the vessel probe, a the air
probe and h a span of time, a vessel of one heat capacity gives from one window to the next

    y₂ − y₁ = share · (a₂ − a₁) + late · (a₁ − a₀) + rate · h · (a − y) + warmth · h

share and late: how much of the air the probe sees, at once and a window later; rate: how fast the
beer follows the air (1/rate is the vessel's time constant); warmth: by how much the beer warms of
itself. The four are fitted to the means of windows by recursive least squares with forgetting
(Åström and Wittenmark, Adaptive Control, ch. 2: from memory), while no heater runs. The beer is
then at (y − s · a)/(1 − s) with s = share + late, and a as late as it is seen.

What is fitted is acted on only once it is known well, is bounded, and is nothing below what a probe
in a well can seem to have. Assumed: windows are short against the vessel's time constant (hours)
and long against the lags of the probes (minutes).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from fermd.control.replacing import replacer
from fermd.control.settings import HOUR_S, ForesightSettings

WINDOW_S = 300.0
"""Readings are taken together over so long, s: as long as the slower probe's lag in still air."""

FORGETTING = 0.995
"""What a window counts after each later one: 200 windows, 17 h, is what is remembered."""

UNCERTAIN = 100.0
"""Variance of each number before anything was seen, in its own unit squared."""

LEAST_SHARE = 0.03
"""A smaller share is none: a probe in a well can seem to have as much by its lag."""

MOST_SHARE = 0.4
"""A probe that sees more of the air than this is no vessel probe."""

KNOWN_TO = 0.012
"""The share is known once its standard error is below this."""


NOISE_WEIGHT = 0.02
"""What a window counts in the mean of what is left over: fifty of them, 4 h."""


@dataclass(frozen=True, slots=True)
class Window:
    """Readings taken together."""

    since_mono_s: float
    vessel_sum_c: float = 0.0
    air_sum_c: float = 0.0
    readings: int = 0


Numbers = tuple[float, float, float, float]

_UNKNOWN = tuple(tuple(UNCERTAIN * (i == j) for j in range(4)) for i in range(4))


@dataclass(frozen=True, slots=True)
class Placing:
    """What is known of where the vessel probe is, and of the vessel."""

    numbers: Numbers = (0.0, 0.0, 0.0, 0.0)
    """share, late, rate (1/h), warmth (°C/h)."""
    spread: tuple[tuple[float, ...], ...] = _UNKNOWN
    """Covariance of the numbers, but for the variance of the noise."""
    noise_c2: float = 0.01
    """Mean square of what the fit leaves over, °C²."""
    window: Window | None = None
    means: tuple[tuple[float, float], ...] = ()
    """Means of the last two windows, the older first: vessel and air, °C."""
    air_seen_c: float | None = None
    """The air as late as the vessel probe sees it."""

    @property
    def air_share(self) -> float:
        """How much of the air the vessel probe sees, in the end."""
        return self.numbers[0] + max(self.numbers[1], 0.0)

    @property
    def follows_per_h(self) -> float:
        """How fast the beer follows the air, 1/h."""
        return self.numbers[2]

    @property
    def warms_c_per_h(self) -> float:
        """By how much the beer warms of itself, °C/h."""
        return self.numbers[3]

    @property
    def error_of_share(self) -> float:
        """Standard error of `air_share`."""
        spread = self.spread
        variance = spread[0][0] + 2.0 * spread[0][1] + spread[1][1]
        return max(0.0, variance * self.noise_c2) ** 0.5


def share(placing: Placing, settings: ForesightSettings) -> float:
    """Return how much of the air the vessel probe sees, 0 while that is not known."""
    if (
        not settings.foresee
        or placing.error_of_share > KNOWN_TO
        or placing.air_share < LEAST_SHARE
    ):
        return 0.0
    return min(placing.air_share, MOST_SHARE)


def beer_c(placing: Placing, settings: ForesightSettings, vessel_c: float) -> float:
    """Return the beer's temperature, °C, from what the vessel probe and the air probe show."""
    seen, air_c = share(placing, settings), placing.air_seen_c
    if not seen or air_c is None:
        return vessel_c
    off_c = seen * (vessel_c - air_c) / (1.0 - seen)
    return vessel_c + min(max(off_c, -settings.most_c), settings.most_c)


def observe(
    placing: Placing,
    vessel_c: float | None,
    air_c: float | None,
    passed_s: float,
    mono_s: float,
    *,
    heating: bool,
) -> Placing:
    """Take in one tick's readings; `passed_s` is the time since the tick before."""
    if air_c is None:
        return placing if placing.air_seen_c is None else _forget(placing, None)
    lag_s = WINDOW_S * max(placing.numbers[1], 0.0) / max(placing.air_share, LEAST_SHARE)
    before_c, share_now = placing.air_seen_c, passed_s / (passed_s + lag_s) if passed_s else 0.0
    air_seen_c = air_c if before_c is None else before_c + share_now * (air_c - before_c)
    if vessel_c is None or heating:
        return _forget(placing, air_seen_c)
    window = placing.window
    if window is None or mono_s - window.since_mono_s < WINDOW_S:
        return _WATCHED(placing, _longer(window, vessel_c, air_c, mono_s), air_seen_c)
    means = window.vessel_sum_c / window.readings, window.air_sum_c / window.readings
    if len(placing.means) == 2:
        placing = _fit(placing, means, (mono_s - window.since_mono_s) / HOUR_S)
    return replace(
        placing,
        window=_longer(None, vessel_c, air_c, mono_s),
        means=(*placing.means, means)[-2:],
        air_seen_c=air_seen_c,
    )


_WATCHED = replacer(Placing, "window", "air_seen_c")


def _forget(placing: Placing, air_seen_c: float | None) -> Placing:
    """Break the row of windows; what was fitted stays."""
    return replace(placing, window=None, means=(), air_seen_c=air_seen_c)


def _longer(window: Window | None, vessel_c: float, air_c: float, mono_s: float) -> Window:
    if window is None:
        return Window(mono_s, vessel_c, air_c, 1)
    return Window(
        window.since_mono_s,
        window.vessel_sum_c + vessel_c,
        window.air_sum_c + air_c,
        window.readings + 1,
    )


def _fit(placing: Placing, now: tuple[float, float], span_h: float) -> Placing:
    (_, air_0_c), (vessel_1_c, air_1_c) = placing.means
    vessel_2_c, air_2_c = now
    x = (
        air_2_c - air_1_c,
        air_1_c - air_0_c,
        span_h * (air_2_c + air_1_c - vessel_2_c - vessel_1_c) / 2.0,
        span_h,
    )
    spread = placing.spread
    gain = [sum(p * each for p, each in zip(row, x, strict=True)) for row in spread]
    scale = FORGETTING + sum(one * each for one, each in zip(gain, x, strict=True))
    foreseen_c = sum(one * each for one, each in zip(placing.numbers, x, strict=True))
    left_c = vessel_2_c - vessel_1_c - foreseen_c
    share_now, late, rate, warmth = (
        one + each / scale * left_c for one, each in zip(placing.numbers, gain, strict=True)
    )
    return replace(
        placing,
        numbers=(share_now, late, rate, warmth),
        spread=tuple(
            tuple(
                min((p - gain[i] * gain[j] / scale) / FORGETTING, UNCERTAIN)
                for j, p in enumerate(row)
            )
            for i, row in enumerate(spread)
        ),
        noise_c2=placing.noise_c2 + NOISE_WEIGHT * (left_c * left_c - placing.noise_c2),
    )
