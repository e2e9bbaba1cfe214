"""What the vessel probe sees beside the beer, fitted on line, and the vessel's own constants.

A probe in a thermowell shows the beer. One that is taped to the vessel shows its wall: colder than
the beer while the fridge runs or a fermentation sends its heat out, warmer beside a heat belt.
How much of the air and of the heater it sees shows when they change: the air of a fridge goes
up and down by degrees within minutes, beer does not. With y the vessel probe, a the air probe,
u the share of the time that the heater is on and h a span of time, a vessel of one heat capacity
gives from one window of readings to the next

    y₂ − y₁ = s · (a₂ − a₁) + s' · (a₁ − a₀) + c · (u₂ − u₁) + c' · (u₁ − u₀)
              + rate · h · (a − y) + warmth · h + power · h · u

s and s', c and c': how much of air and heater the probe sees, at once and a window later; rate:
how fast the beer follows the air (1/rate is the vessel's time constant); warmth: by how much the
beer warms of itself, which is its fermentation; power: by how much the heater warms it. They are
fitted by least squares with exponential forgetting, and drawn to nought as far as the readings say
nothing of them (ridge regression; Hastie, Tibshirani and Friedman, The Elements of Statistical
Learning, sec. 3.4.1; from memory). With S = s + s' and C = c + c' the beer is then at
(y − S a − C u) / (1 − S).

What is fitted is acted on only once it is known well, is bounded, and is nothing below what a probe
in a well can seem to have. Assumed: windows are short against the vessel's time constant (hours)
and long against the lags of the probes (minutes).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from operator import mul

from fermd.control.replacing import replacer
from fermd.control.settings import HOUR_S, ForesightSettings

WINDOW_S = 300.0
"""Readings are taken together over so long, s: as long as the slower probe's lag in still air."""

FORGETTING = 0.995
"""What a window counts after each later one: 200 windows, 17 h, is what is remembered."""

LEAST_SHARE = 0.03
"""A smaller share of the air is none: a probe in a well can seem to have as much by its lag."""

SURE_ERRORS = 2.0
"""So many standard errors the share must be beyond that: one in forty that is not would still seem
to be (normal distribution), and a probe in a well that is taken for one beside the vessel is held
wrongly by tenths of a degree."""

LEAST_BY_HEAT_ALONE = 0.1
"""Where nothing has been cooled lately, a smaller share is none: a heater warms air, wall and beer
by turns, and a probe in a well can seem to see 0.08 of the air by it (chamber model)."""

COOLED_WINDOWS = 2.0
"""So many windows with the fridge running are remembered where it has been cooled lately."""

LEAST_OF_HEATER_C = 0.1
"""A heater that is seen less than this, °C, is not seen."""

MOST_SHARE = 0.4
"""A probe that sees more of the air than this is no vessel probe."""

KNOWN_TO = 0.03
"""The share is known once its standard error is below this ..."""

LEFT_OVER_C = 0.05
"""... while the fit leaves over no more than this, °C: good fits leave 0.01 to 0.03 °C (chamber
model), and a probe that was moved 0.12 °C."""

DRAWN_S = 1800.0
"""The estimate follows the readings behind the model's back within this, s: longer than walls and
probes lag, shorter than anything that the model does not know of lasts."""

ARRIVED_C = 0.02
"""An estimate that is given up has come back to the probe when it is so near, °C."""

NOISE_WEIGHT = 0.02
"""What a window counts in the mean of what is left over: fifty of them, 4 h."""

AT_ONCE, LATE, HEATER_AT_ONCE, HEATER_LATE, RATE, WARMTH, POWER = range(7)
NUMBERS = 7

LIKELY: tuple[float, ...] = (0.2, 0.2, 1.0, 1.0, 0.2, 0.5, 1.0)
"""How far from nought each number may well be: shares, °C, °C, 1/h, °C/h, °C/h. It takes hours of
readings to say more, and less than a day to forget this."""

LIKELY_NOISE_C = 0.02
"""What the mean of a window's readings is off by, °C: a third of a 12-bit step."""


@dataclass(frozen=True, slots=True)
class Window:
    """Readings taken together: sums over its ticks."""

    since_mono_s: float
    vessel_c: float
    air_c: float
    heater: float
    readings: int = 1
    cooled: bool = False
    """Whether the fridge ran in it."""


Means = tuple[float, float, float]
"""Vessel °C, air °C, and the share of the time that the heater was on."""

_NOTHING_SEEN = (0.0,) * (NUMBERS * NUMBERS)


@dataclass(frozen=True, slots=True)
class Placing:
    """What is known of where the vessel probe is, and of the vessel."""

    numbers: tuple[float, ...] = (0.0,) * NUMBERS
    squares: tuple[float, ...] = _NOTHING_SEEN
    """Sums of products of what was seen, row by row, the older the less."""
    products: tuple[float, ...] = (0.0,) * NUMBERS
    """The same with the vessel probe's moves."""
    noise_c2: float = 4.0 * LIKELY_NOISE_C**2
    """Mean square of what the fit leaves over, °C²."""
    error_of_share: float = 1.0
    """Standard error of `air_share`."""
    window: Window | None = None
    means: tuple[Means, ...] = ()
    """Of the last two windows, the older first."""
    air_seen_c: float | None = None
    """The air as late as the vessel probe sees it."""
    heater_seen: float = 0.0
    """The heater as late as the vessel probe sees it, 0 to 1."""
    beer_c: float | None = None
    """Where the beer is; None while the vessel probe shows it."""
    cooled_windows: float = 0.0
    """How many windows with the fridge running are remembered, the older the less."""

    @property
    def air_share(self) -> float:
        """How much of the air the vessel probe sees, in the end."""
        return self.numbers[AT_ONCE] + self.numbers[LATE]

    @property
    def of_heater_c(self) -> float:
        """How much warmer the heater makes the vessel probe than the beer, °C."""
        return self.numbers[HEATER_AT_ONCE] + self.numbers[HEATER_LATE]

    @property
    def is_known(self) -> bool:
        """Whether the fit is good enough to act on."""
        return self.error_of_share <= KNOWN_TO and self.noise_c2 <= LEFT_OVER_C**2

    @property
    def follows_per_h(self) -> float:
        """How fast the beer follows the air, 1/h."""
        return self.numbers[RATE]

    @property
    def warms_c_per_h(self) -> float:
        """By how much the beer warms of itself, °C/h: its fermentation."""
        return self._of_beer(WARMTH)

    @property
    def heater_warms_c_per_h(self) -> float:
        """By how much the heater warms the beer while it is on, °C/h."""
        return self._of_beer(POWER)

    def _of_beer(self, place: int) -> float:
        """Return a fitted speed as the beer has it: the probe shows less of it by its share."""
        return self.numbers[place] / (1.0 - min(max(self.air_share, 0.0), MOST_SHARE))


def beer_c(placing: Placing, settings: ForesightSettings, vessel_c: float) -> float:
    """Return the beer's temperature, °C: what the vessel probe shows, less what else it sees."""
    if placing.beer_c is None or not settings.foresee:
        return vessel_c
    return min(max(placing.beer_c, vessel_c - settings.most_c), vessel_c + settings.most_c)


def _shown_c(placing: Placing, vessel_c: float) -> float | None:
    """Return the beer by this reading alone; None if the probe sees nothing else."""
    air_c = placing.air_seen_c
    if air_c is None or not placing.is_known:
        return None
    share = placing.air_share
    # A probe that sees none of the air is in the beer, and cannot see a heater either.
    by_heat_alone = placing.cooled_windows < COOLED_WINDOWS
    least = LEAST_BY_HEAT_ALONE if by_heat_alone else LEAST_SHARE
    if share > MOST_SHARE or share - SURE_ERRORS * placing.error_of_share < least:
        return None
    of_heater_c = placing.of_heater_c if placing.of_heater_c >= LEAST_OF_HEATER_C else 0.0
    return (vessel_c - share * air_c - of_heater_c * placing.heater_seen) / (1.0 - share)


def _follow(placing: Placing, vessel_c: float, passed_s: float, *, heating: bool) -> Placing:
    """Carry the estimate on by the model, and draw it to what is read.

    What is read is wrong for some minutes after each switching, by the lags of wall and probes;
    the model bridges them (an observer; Åström and Murray, Feedback Systems, sec. 7.2, from
    memory).
    """
    shown_c, before_c, air_c = _shown_c(placing, vessel_c), placing.beer_c, placing.air_seen_c
    drawn = passed_s / (passed_s + DRAWN_S)
    if shown_c is None or air_c is None:
        if before_c is None:
            return placing
        # Back to the probe without a jump, which would look like beer that moves.
        back_c = before_c + drawn * (vessel_c - before_c)
        return _FOLLOWED(placing, back_c if abs(back_c - vessel_c) > ARRIVED_C else None)
    if before_c is None:
        before_c = vessel_c
    power_c_per_h = placing.heater_warms_c_per_h if heating else 0.0
    moves_c_per_h = (
        placing.follows_per_h * (air_c - before_c) + placing.warms_c_per_h + power_c_per_h
    )
    foreseen_c = before_c + moves_c_per_h * passed_s / HOUR_S
    return _FOLLOWED(placing, foreseen_c + drawn * (shown_c - foreseen_c))


_FOLLOWED = replacer(Placing, "beer_c")


def drift_c_per_h(placing: Placing, beer_c: float) -> float | None:
    """Return how fast the beer would move with everything off, °C/h; None while not known."""
    air_c = placing.air_seen_c
    if air_c is None or not placing.is_known:
        return None
    return placing.follows_per_h * (air_c - beer_c) + placing.warms_c_per_h


def air_trend_c_per_h(placing: Placing) -> float | None:
    """Return how fast the air moved over the last two windows, °C/h; None while not known."""
    if len(placing.means) < 2:
        return None
    (_, before_c, _), (_, now_c, _) = placing.means
    return (now_c - before_c) / (WINDOW_S / HOUR_S)


def observe(
    placing: Placing,
    vessel_c: float | None,
    air_c: float | None,
    passed_s: float,
    mono_s: float,
    *,
    heating: bool,
    cooling: bool,
) -> Placing:
    """Take in one tick's readings; `passed_s` is the time since the tick before."""
    if air_c is None:
        return placing if placing.air_seen_c is None else _break(placing, None, 0.0)
    numbers = placing.numbers
    air_seen_c = _late(placing.air_seen_c, air_c, passed_s, numbers[LATE], placing.air_share)
    heater = 1.0 if heating else 0.0
    heater_seen = _late(
        placing.heater_seen, heater, passed_s, numbers[HEATER_LATE], placing.of_heater_c
    )
    if vessel_c is None:
        return _break(placing, air_seen_c, heater_seen)
    placing = _WATCHED(placing, air_seen_c, heater_seen)
    placing = _follow(placing, vessel_c, passed_s, heating=heating)
    window = placing.window
    if window is not None and mono_s - window.since_mono_s > 2.0 * WINDOW_S:
        # The loop did not run: what lies between belongs to no window.
        return replace(placing, window=None, means=())
    if window is None or mono_s - window.since_mono_s < WINDOW_S:
        return _GATHERED(placing, _longer(window, vessel_c, air_c, heater, mono_s, cooling=cooling))
    count = window.readings
    means = window.vessel_c / count, window.air_c / count, window.heater / count
    if len(placing.means) == 2:
        placing = _fit(placing, means, (mono_s - window.since_mono_s) / HOUR_S)
    return replace(
        placing,
        window=_longer(None, vessel_c, air_c, heater, mono_s, cooling=cooling),
        cooled_windows=FORGETTING * placing.cooled_windows + window.cooled,
        means=(*placing.means, means)[-2:],
    )


_GATHERED = replacer(Placing, "window")


def _longer(
    window: Window | None,
    vessel_c: float,
    air_c: float,
    heater: float,
    mono_s: float,
    *,
    cooling: bool,
) -> Window:
    if window is None:
        return Window(mono_s, vessel_c, air_c, heater, cooled=cooling)
    return Window(
        window.since_mono_s,
        window.vessel_c + vessel_c,
        window.air_c + air_c,
        window.heater + heater,
        window.readings + 1,
        window.cooled or cooling,
    )


_WATCHED = replacer(Placing, "air_seen_c", "heater_seen")


def _late(before: float | None, now: float, passed_s: float, late: float, whole: float) -> float:
    """Follow something as late as the vessel probe does: by a lag that gives the same mean."""
    if before is None or late <= 0.0 or whole <= late:
        return now
    return before + passed_s / (passed_s + WINDOW_S * late / whole) * (now - before)


def _break(placing: Placing, air_seen_c: float | None, heater_seen: float) -> Placing:
    """Break the row of windows; what was fitted stays."""
    return replace(
        placing,
        window=None,
        means=(),
        air_seen_c=air_seen_c,
        heater_seen=heater_seen,
        beer_c=None,
    )


def _fit(placing: Placing, now: Means, span_h: float) -> Placing:
    (_, air_0_c, heater_0), (vessel_1_c, air_1_c, heater_1) = placing.means
    vessel_2_c, air_2_c, heater_2 = now
    x = (
        air_2_c - air_1_c,
        air_1_c - air_0_c,
        heater_2 - heater_1,
        heater_1 - heater_0,
        span_h * (air_2_c + air_1_c - vessel_2_c - vessel_1_c) / 2.0,
        span_h,
        span_h * (heater_2 + heater_1) / 2.0,
    )
    moved_c = vessel_2_c - vessel_1_c
    left_c = moved_c - sum(map(mul, placing.numbers, x))
    squares = tuple(map(_fading, placing.squares, (one * other for one in x for other in x)))
    products = tuple(map(_fading, placing.products, (one * moved_c for one in x)))
    noise_c2 = placing.noise_c2
    if heater_0 == heater_1 == heater_2:
        # A heater that was switched is seen late in ways that two windows cannot tell apart.
        noise_c2 += NOISE_WEIGHT * (left_c * left_c - noise_c2)
    return _solved(replace(placing, squares=squares, products=products, noise_c2=noise_c2))


def _fading(before: float, now: float) -> float:
    return FORGETTING * before + now


def _solved(placing: Placing) -> Placing:
    """Work the numbers out of the sums."""
    squares = placing.squares
    rows = [list(squares[row * NUMBERS : (row + 1) * NUMBERS]) for row in range(NUMBERS)]
    for place, likely in enumerate(LIKELY):
        rows[place][place] += (LIKELY_NOISE_C / likely) ** 2
    of_share = [1.0 if place in (AT_ONCE, LATE) else 0.0 for place in range(NUMBERS)]
    numbers, toward_share = solve(rows, (list(placing.products), of_share))
    variance = max(placing.noise_c2, LIKELY_NOISE_C**2) * (
        toward_share[AT_ONCE] + toward_share[LATE]
    )
    return replace(placing, numbers=tuple(numbers), error_of_share=max(0.0, variance) ** 0.5)


def sums(placing: Placing) -> list[float]:
    """Return what the fit rests on, as numbers that outlive the process; empty for nothing."""
    if placing.squares == _NOTHING_SEEN:
        return []
    half = [placing.squares[one * NUMBERS + other] for one, other in _HALF]
    return [float(f"{value:.6g}") for value in (*half, *placing.products, placing.noise_c2)]


def recalled(numbers: Sequence[float]) -> Placing:
    """Return the fit that rests on `sums`.

    Raises:
        ValueError: these are no sums of a fit.

    """
    if not numbers:
        return Placing()
    if len(numbers) != len(_HALF) + NUMBERS + 1:
        raise ValueError(f"{len(numbers)} sums of a fit; there are {len(_HALF) + NUMBERS + 1}")
    half = {places: numbers[at] for at, places in enumerate(_HALF)}
    squares = tuple(
        half[min(one, other), max(one, other)] for one in range(NUMBERS) for other in range(NUMBERS)
    )
    products = tuple(numbers[len(_HALF) : -1])
    try:
        return _solved(Placing(squares=squares, products=products, noise_c2=numbers[-1]))
    except ZeroDivisionError as error:
        raise ValueError("sums of no fit") from error


_HALF = [(one, other) for one in range(NUMBERS) for other in range(one, NUMBERS)]


def solve(
    rows: list[list[float]], right_sides: tuple[list[float], list[float]]
) -> tuple[list[float], list[float]]:
    """Solve two systems with one symmetric, positive matrix by elimination (Cholesky's order).

    A positive matrix needs no pivoting (Golub and Van Loan, Matrix Computations, sec. 4.2; from
    memory), and the ridge keeps this one positive.
    """
    size = len(rows)
    work = [row + [side[place] for side in right_sides] for place, row in enumerate(rows)]
    for place in range(size):
        head = work[place]
        for below in work[place + 1 :]:
            times = below[place] / head[place]
            for column in range(place, size + 2):
                below[column] -= times * head[column]
    answers: tuple[list[float], list[float]] = ([0.0] * size, [0.0] * size)
    for place in reversed(range(size)):
        for number, answer in enumerate(answers):
            # What is not worked out yet is nought.
            known = sum(map(mul, work[place], answer))
            answer[place] = (work[place][size + number] - known) / work[place][place]
    return answers
