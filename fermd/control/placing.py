"""What the vessel probe sees beside the beer, fitted on line, and the vessel's own constants.

A probe in a thermowell shows the beer. One that is taped to the vessel shows its wall: colder than
the beer while the fridge runs or a fermentation sends its heat out, warmer beside a heat belt.
How much of the air and of the heater it sees shows when they change: the air of a fridge goes
up and down by degrees within minutes, beer does not. With y the vessel probe, a the air probe,
u the share of the time that the heater is on, a' and u' both of these as late as a vessel's wall
takes them, and h a span of time, a vessel of one heat capacity gives from one window of readings to
the next

    y₂ − y₁ = s · (a₂ − a₁) + s' · (a'₂ − a'₁) + c · (u₂ − u₁) + c' · (u'₂ − u'₁)
              + rate · h · (a − y) + warmth · h + power · h · u

s and s', c and c': how much of air and heater the probe sees, at once and late; rate:
how fast the beer follows the air (1/rate is the vessel's time constant); warmth: by how much the
beer warms of itself, which is its fermentation; power: by how much the heater warms it. They are
fitted by least squares with exponential forgetting, and drawn to nought as far as the readings say
nothing of them (ridge regression; Hastie, Tibshirani and Friedman, The Elements of Statistical
Learning, sec. 3.4.1; from memory). The beer is then at
(y − s a − s' a' − c u − c' u') / (1 − s − s').

Where a probe sits does not change with what runs. So s and s' are fitted by what happens without
heat, once they are known: a heater warms air, wall and beer by turns, and a fit that sees nothing
else for days takes one for the other.

What is fitted is acted on only once it is known well, is bounded, and is nothing below what a probe
in a well can seem to have. Assumed: windows are short against the vessel's time constant (hours)
and long against the lags of the probes (minutes).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from operator import mul

from fermd.control.lag import lagged
from fermd.control.replacing import replacer
from fermd.control.settings import HOUR_S, ForesightSettings
from fermd.control.solving import solve
from fermd.control.windows import WINDOW_S, Means, Window, longer, means_of

WALL_S = 220.0
"""The lag behind which a vessel's wall follows its air, s. Together with what is seen at once it
does for shorter lags; of 200, 220, 250 and 300 s this is the nearest in ten drawn chambers."""

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

LEAST_KEPT_BY_HEAT = LEAST_BY_HEAT_ALONE / 2.0
"""A smaller share is given up where it was acted on. Without this a probe that sees its heater was
no longer seen through once the fridge had been off for days, and started the heater every quarter
of an hour (chamber model)."""

COOLED_WINDOWS = 2.0
"""So many windows with the fridge running are remembered where it has been cooled lately."""

LEAST_OF_HEATER_C = 0.1
"""A heater that is seen less than this either way, °C, is not seen."""

MOST_SHARE = 0.4
"""A probe that sees more of the air than this is no vessel probe."""

MOST_BESIDE_C = 5.0
"""No probe is taken to be further from its beer than this, °C: twice what taped ones are while
their fridge runs (chamber model)."""

KNOWN_TO = 0.03
"""The share is known once its standard error is below this ..."""

LEFT_OVER_C = 0.05
"""... while the fit leaves over no more than this, °C: good fits leave 0.01 to 0.03 °C (chamber
model), and a probe that was moved 0.12 °C."""

UNCHECKED_WINDOWS = 200
"""A fit that nothing has been held against for so many windows, all that it remembers, is not
known: beside a heater that is switched every few minutes a probe may have been moved unseen."""

DRAWN_S = 900.0
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

KEPT_LIKELY = 0.05
"""How far the shares of the air may well be from those that were last fitted without heat."""

HEAT_GONE = 0.02
"""A heater that a wall takes less of than this has been off for long enough, 0 to 1."""

SEEN_LESS_BY_HEAT = 0.2
"""By so much less of the air is seen while it is heated: what a plate cools is cooled by cold walls
as well as by the air, what a heater warms by the air alone (chamber model: without this the beer is
told 0.2 to 0.45 °C too low while it is heated)."""

LIKELY_NOISE_C = 0.02
"""What the mean of a window's readings is off by, °C: a third of a 12-bit step."""


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
    unchecked_windows: int = 0
    """For how many windows nothing was held against the fit."""
    error_of_share: float = 1.0
    """Standard error of `air_share`."""
    spread_of_share: float = 0.0
    """Its variance for noise of 1 °C, which is how little the readings say of it."""
    window: Window | None = None
    means: tuple[Means, ...] = ()
    """Of the last two windows, the older first."""
    air_c: float | None = None
    """The air, °C."""
    air_late_c: float = 0.0
    """The air as late as a wall takes it, °C."""
    heater: float = 0.0
    """Whether the heater is on, 0 or 1."""
    heater_late: float = 0.0
    """The heater as late as a wall takes it, 0 to 1."""
    beer_c: float | None = None
    """Where the beer is; None while the vessel probe shows it."""
    kept_shares: tuple[float, float] | None = None
    """What is seen of the air, at once and late, as last fitted without heat; None: not known."""
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
        return (
            self.error_of_share <= KNOWN_TO
            and self.noise_c2 <= LEFT_OVER_C**2
            and self.unchecked_windows <= UNCHECKED_WINDOWS
        )

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
    # Beside a cold plate a probe may well read two degrees too low: the bound is about both.
    shown_c = _shown_c(placing, vessel_c)
    ends_c = (vessel_c,) if shown_c is None else (vessel_c, shown_c)
    least_c = max(min(ends_c) - settings.most_c, vessel_c - MOST_BESIDE_C)
    most_c = min(max(ends_c) + settings.most_c, vessel_c + MOST_BESIDE_C)
    return min(max(placing.beer_c, least_c), most_c)


def _shown_c(placing: Placing, vessel_c: float) -> float | None:
    """Return the beer by this reading alone; None if the probe sees nothing else."""
    air_c = placing.air_c
    if air_c is None or not placing.is_known:
        return None
    share = placing.air_share
    # A probe that sees none of the air is in the beer, and cannot see a heater either.
    least = LEAST_SHARE
    if placing.cooled_windows < COOLED_WINDOWS:
        # What a run of cooling has told is not given up at once because none is needed any more.
        least = LEAST_BY_HEAT_ALONE if placing.beer_c is None else LEAST_KEPT_BY_HEAT
    if share > MOST_SHARE or share - SURE_ERRORS * placing.error_of_share < least:
        return None
    at_once, late, heater_at_once, heater_late = placing.numbers[:RATE]
    less = 1.0 - SEEN_LESS_BY_HEAT * placing.heater_late
    beside_c = less * (at_once * air_c + late * placing.air_late_c)
    if abs(placing.of_heater_c) >= LEAST_OF_HEATER_C:
        beside_c += heater_at_once * placing.heater + heater_late * placing.heater_late
    return (vessel_c - beside_c) / (1.0 - less * share)


def _follow(placing: Placing, vessel_c: float, passed_s: float, *, heating: bool) -> Placing:
    """Carry the estimate on by the model, and draw it to what is read.

    What is read is wrong for some minutes after each switching, by the lags of wall and probes;
    the model bridges them (an observer; Åström and Murray, Feedback Systems, sec. 7.2, from
    memory).
    """
    shown_c, before_c, air_c = _shown_c(placing, vessel_c), placing.beer_c, placing.air_c
    if shown_c is None or air_c is None:
        if before_c is None:
            return placing
        # Back to the probe without a jump, which would look like beer that moves.
        back_c = lagged(before_c, vessel_c, passed_s, DRAWN_S)
        return _FOLLOWED(placing, back_c if abs(back_c - vessel_c) > ARRIVED_C else None)
    if before_c is None:
        before_c = shown_c
    power_c_per_h = placing.heater_warms_c_per_h if heating else 0.0
    moves_c_per_h = (
        placing.follows_per_h * (air_c - before_c) + placing.warms_c_per_h + power_c_per_h
    )
    foreseen_c = before_c + moves_c_per_h * passed_s / HOUR_S
    return _FOLLOWED(placing, lagged(foreseen_c, shown_c, passed_s, DRAWN_S))


_FOLLOWED = replacer(Placing, "beer_c")


def drift_c_per_h(placing: Placing, beer_c: float) -> float | None:
    """Return how fast the beer would move with everything off, °C/h; None while not known."""
    air_c = placing.air_c
    if air_c is None or not placing.is_known:
        return None
    return placing.follows_per_h * (air_c - beer_c) + placing.warms_c_per_h


def air_trend_c_per_h(placing: Placing) -> float | None:
    """Return how fast the air moved over the last two windows, °C/h; None while not known."""
    if len(placing.means) < 2:
        return None
    before_c, now_c = placing.means[0][1], placing.means[1][1]
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
        return placing if placing.air_c is None else _break(placing, None, 0.0, 0.0, 0.0)
    heater = 1.0 if heating else 0.0
    air_late_c, heater_late = air_c, heater
    if placing.air_c is not None:
        air_late_c = lagged(placing.air_late_c, air_c, passed_s, WALL_S)
        heater_late = lagged(placing.heater_late, heater, passed_s, WALL_S)
    if vessel_c is None:
        return _break(placing, air_c, air_late_c, heater, heater_late)
    placing = _WATCHED(placing, air_c, air_late_c, heater, heater_late)
    placing = _follow(placing, vessel_c, passed_s, heating=heating)
    now: Means = (vessel_c, air_c, heater, air_late_c, heater_late)
    window = placing.window
    if window is not None and mono_s - window.since_mono_s > 2.0 * WINDOW_S:
        # The loop did not run: what lies between belongs to no window.
        return replace(placing, window=None, means=())
    if window is None or mono_s - window.since_mono_s < WINDOW_S:
        return _GATHERED(placing, longer(window, mono_s, now, cooling=cooling))
    means = means_of(window)
    if len(placing.means) == 2:
        placing = _fit(placing, means, (mono_s - window.since_mono_s) / HOUR_S)
    return replace(
        placing,
        window=longer(None, mono_s, now, cooling=cooling),
        cooled_windows=FORGETTING * placing.cooled_windows + window.cooled,
        means=(*placing.means, means)[-2:],
    )


_GATHERED = replacer(Placing, "window")


_WATCHED = replacer(Placing, "air_c", "air_late_c", "heater", "heater_late")


def _break(
    placing: Placing, air_c: float | None, air_late_c: float, heater: float, heater_late: float
) -> Placing:
    """Break the row of windows; what was fitted stays."""
    return replace(
        placing,
        window=None,
        means=(),
        air_c=air_c,
        air_late_c=air_late_c,
        heater=heater,
        heater_late=heater_late,
        beer_c=None,
    )


def _fit(placing: Placing, now: Means, span_h: float) -> Placing:
    heater_0 = placing.means[0][2]
    vessel_1_c, air_1_c, heater_1, air_late_1_c, heater_late_1 = placing.means[1]
    vessel_2_c, air_2_c, heater_2, air_late_2_c, heater_late_2 = now
    x: tuple[float, ...] = (
        air_2_c - air_1_c,
        air_late_2_c - air_late_1_c,
        heater_2 - heater_1,
        heater_late_2 - heater_late_1,
        span_h * (air_2_c + air_1_c - vessel_2_c - vessel_1_c) / 2.0,
        span_h,
        span_h * (heater_2 + heater_1) / 2.0,
    )
    moved_c = vessel_2_c - vessel_1_c
    is_heated = max(heater_late_1, heater_late_2, heater_1, heater_2) > HEAT_GONE
    kept = placing.kept_shares
    if is_heated and kept is not None:
        moved_c -= kept[AT_ONCE] * x[AT_ONCE] + kept[LATE] * x[LATE]
        x = (0.0, 0.0, *x[HEATER_AT_ONCE:])
    squares = tuple(map(_fading, placing.squares, (one * other for one in x for other in x)))
    products = tuple(map(_fading, placing.products, (one * moved_c for one in x)))
    fitted = _solved(replace(placing, squares=squares, products=products))
    if heater_0 == heater_1 == heater_2:
        # What is left over before and after a window was fitted, multiplied, is what it adds to the
        # sum of squares (recursive least squares; Ljung, System Identification, sec. 11.2; from
        # memory). A heater that was switched is seen late in ways that no window can tell apart.
        before_c = moved_c - sum(map(mul, placing.numbers, x))
        after_c = moved_c - sum(map(mul, fitted.numbers, x))
        noise_c2 = placing.noise_c2 + NOISE_WEIGHT * (before_c * after_c - placing.noise_c2)
        fitted = _with_error(replace(fitted, noise_c2=noise_c2, unchecked_windows=0))
    else:
        fitted = replace(fitted, unchecked_windows=placing.unchecked_windows + 1)
    if not fitted.is_known:
        # Perhaps the probe was moved: what it saw where it was counts no more.
        return replace(fitted, kept_shares=None)
    if is_heated:
        return fitted
    return replace(fitted, kept_shares=(fitted.numbers[AT_ONCE], fitted.numbers[LATE]))


def _fading(before: float, now: float) -> float:
    return FORGETTING * before + now


def _solved(placing: Placing) -> Placing:
    """Work the numbers out of the sums."""
    squares = placing.squares
    rows = [list(squares[row * NUMBERS : (row + 1) * NUMBERS]) for row in range(NUMBERS)]
    products = list(placing.products)
    for place, likely in enumerate(LIKELY):
        rows[place][place] += (LIKELY_NOISE_C / likely) ** 2
    if placing.kept_shares is not None:
        drawn = (LIKELY_NOISE_C / KEPT_LIKELY) ** 2
        for place in (AT_ONCE, LATE):
            rows[place][place] += drawn
            products[place] += drawn * placing.kept_shares[place]
    of_share = [1.0 if place in (AT_ONCE, LATE) else 0.0 for place in range(NUMBERS)]
    numbers, toward_share = solve(rows, (products, of_share))
    spread = max(0.0, toward_share[AT_ONCE] + toward_share[LATE])
    return _with_error(replace(placing, numbers=tuple(numbers), spread_of_share=spread))


def _with_error(placing: Placing) -> Placing:
    variance = max(placing.noise_c2, LIKELY_NOISE_C**2) * placing.spread_of_share
    return replace(placing, error_of_share=variance**0.5)


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
    products, noise_c2 = tuple(numbers[len(_HALF) : -1]), numbers[-1]
    try:
        fitted = _solved(Placing(squares=squares, products=products, noise_c2=noise_c2))
    except ZeroDivisionError as error:
        raise ValueError("sums of no fit") from error
    # Neither is ever below nought: such a fit would be known without having seen anything.
    if noise_c2 < 0.0 or fitted.spread_of_share <= 0.0:
        raise ValueError("sums of no fit")
    return fitted


_HALF = [(one, other) for one in range(NUMBERS) for other in range(one, NUMBERS)]
