"""Fermentation seen through heat alone: what the beer made, from how it was cooled and heated.

A vessel of one heat capacity gains heat from the air and from the walls around it, from the heater,
and from its own yeast. Over windows of `WINDOW_S`, with T the beer, a the air, u the share of the
time that the heater was on and s the probe's share of the air,

    ΔT/Δt = rate · (a − T) + leak · T + constant + weather · d + power · u + s · Δa/Δt
            + day · wave of a day + (1 − s) · warmth(t)

The walls of a cabinet are warmer than its air by what leaks in from the room: in proportion to how
much warmer the room is than the beer, which is the second and, for a room that stays as it is, the
third term. A room that does not stay as it is shows in the fridge's duty d over the day around, the
fourth; and that it is warmer by day than by night is a wave of 24 h (a sine and a cosine, so that
the hour needs not be known), without which a heater that works by night would look too weak. The
third also takes up what the two probes differ by. `warmth` is what is looked for: not
negative, a line through one knot a day, and nought from some day on, since a beer that is done
makes no heat. Which day that is, and all numbers with it, is what explains the readings best for
its number of unknowns (Bayesian information criterion; Schwarz, Annals of Statistics 6, 461-464,
1978, from memory). Fitted by least squares; the weather's number is drawn to nought as far as the
readings say nothing of it (ridge regression; see fermd.control.placing).

So it needs an air probe, and some days of quiet beer at the end, best with a cold crash among them.
Without those it says what is missing, and gives no figure.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import cos, log, pi, sin, sqrt
from statistics import median

from fermd.control.placing import MOST_SHARE
from fermd.physics.fermentation import HEAT_J_PER_MOL, KG_PER_MOL, REFERENCE_SUGARS
from fermd.physics.vessel import Vessel
from fermd.review.course import Course, OnTime
from fermd.review.least_squares import Normal
from fermd.review.probe_figures import probe_faults

HOUR_S = 3600.0
DAY_H = 24.0
DAY_S = DAY_H * HOUR_S

WINDOW_S = 6 * HOUR_S
"""Long against walls and probes that lag by minutes and a compressor's cycle, short against a
fermentation."""

EDGE_S = 900.0
"""The beer at a window's edge is the mean of so long before and after it, s."""

LEAST_COVERED = 0.8
"""A window is left out if less of it has readings."""

LEAST_QUIET_H = 72.0
"""So much quiet beer at the end, at least, h."""

LEAST_LASTED_H = 6 * DAY_H
"""A shorter span is not tried, h."""

SMOOTH = 0.05
"""How little the line may bend from day to day: weight of its second differences, against windows
that are off by some 0.01 °C/h."""

RIDGE = 0.05
"""Of the weather's number: squared ratio of a window's error to how large the number may be."""

PLAUSIBLE = 6.0
"""Fits whose criterion is worse than the best by less than this stand beside it: odds of one in
twenty."""

OF_THE_MODEL = 0.10
"""What the form of the equation is wrong by, as a share of the total (from simulated chambers; see
tests/simulated/heat_of_lagers.py)."""

BEGUN, OVER = 0.2, 0.1
"""Fermentation begins at this share of its peak heat and is over at that."""

VESSEL_SHARE = 0.02
"""What a plastic vessel's wall adds to the heat capacity of its beer (20 l, 2 mm)."""

BEER_J_PER_L_K = Vessel().beer_j_per_k / Vessel().beer_l * (1.0 + VESSEL_SHARE)
"""Of beer half-way through its fermentation, with its vessel."""

HEAT_J_PER_KG = sum(
    mol * heat for mol, heat in zip(REFERENCE_SUGARS, HEAT_J_PER_MOL, strict=True)
) / sum(mol * kg for mol, kg in zip(REFERENCE_SUGARS, KG_PER_MOL, strict=True))
"""Heat of a kilogram of fermented sugar, J: Gee & Ramirez, J. Inst. Brew. 100, 321-329, 1994."""

_RATE, _LEAK, _CONSTANT, _POWER, _SEEN, _WEATHER, _SINE, _COSINE = range(8)
_KNOTS_FROM = 8


@dataclass(frozen=True, slots=True)
class HeatPoint:
    """The heat of fermentation at one moment."""

    at_s: float
    warmth_c_per_h: float
    """By how much it would warm the beer, if nothing cooled it."""
    heat_w: float | None
    """None: the volume was not told."""


@dataclass(frozen=True, slots=True)
class FermentationHeat:
    """What can be said of the heat of fermentation; `why` tells why nothing can."""

    why: str
    """Empty if there is an estimate."""
    total_c: float | None = None
    """By how much all of the heat would have warmed the beer, °C."""
    total_error_c: float | None = None
    """Half the width of the span that the total lies in with some 95 % certainty, °C."""
    total_kj_per_l: float | None = None
    sugar_g_per_l: float | None = None
    """Sugar whose fermentation gives so much heat."""
    total_kj: float | None = None
    """None: the volume was not told; so is `peak_w`."""
    begun_s: float | None = None
    peak_s: float | None = None
    over_s: float | None = None
    quiet_from_s: float | None = None
    """From when on the beer is taken to make no heat."""
    peak_c_per_h: float | None = None
    peak_w: float | None = None
    follows_within_h: float | None = None
    """The time constant with which the beer follows the air, h."""
    points: tuple[HeatPoint, ...] = ()


@dataclass(frozen=True, slots=True)
class _Window:
    middle_h: float
    """Since the span began."""
    length_h: float
    moved: float
    """ΔT/Δt, °C/h."""
    row: tuple[float, ...]
    """What the first numbers are multiplied by."""


def fermentation_heat(course: Course, volume_l: float | None = None) -> FermentationHeat:
    """Estimate the heat of fermentation of a span; `volume_l` of beer gives it in watts too."""
    if course.air is None or course.vessel is None:
        return FermentationHeat("it takes a probe in the beer and one in the chamber's air")
    lasted_h = course.lasted_s / HOUR_S
    if lasted_h < LEAST_LASTED_H:
        return FermentationHeat(
            f"{lasted_h / DAY_H:.1f} days are too little to go by: it takes "
            f"{LEAST_LASTED_H / DAY_H:.0f} at least, the last {LEAST_QUIET_H / DAY_H:.0f} of them "
            "with a beer that is done"
        )
    windows = _windows(course)
    if len(windows) * WINDOW_S / HOUR_S < LEAST_LASTED_H:
        return FermentationHeat("too much of the span has no trustworthy reading of both probes")
    fit = _best(windows)
    if fit is None:
        return FermentationHeat("no fermentation shows in how the beer was cooled")
    if not fit.has_quiet_end:
        return FermentationHeat(
            "the beer seems to make heat to the end of the span: it takes some days of quiet beer "
            "to tell its heat from what leaks in"
        )
    return _told(course, fit, volume_l)


def _windows(course: Course) -> list[_Window]:
    vessel, air = course.vessel, course.air
    if vessel is None or air is None:
        return []
    heating, cooling = OnTime(course.runs_of("heat")), OnTime(course.runs_of("cool"))
    spoilt = [
        (fault.start_s - EDGE_S, fault.end_s + EDGE_S)
        for name in (course.roles.vessel, course.roles.air)
        for fault in probe_faults(course, name or "")
    ]
    full = LEAST_COVERED * WINDOW_S / vessel.step_s
    found = []
    from_s = course.start_s + EDGE_S
    while from_s + WINDOW_S + EDGE_S <= course.end_s:
        to_s = from_s + WINDOW_S
        middle_s = from_s + WINDOW_S / 2
        middle_h = (middle_s - course.start_s) / HOUR_S
        places = vessel.places(from_s, to_s)
        edges = [
            series.mean(at_s - EDGE_S, at_s + EDGE_S)
            for series in (vessel, air)
            for at_s in (from_s, to_s)
        ]
        means = vessel.mean(from_s, to_s), air.mean(from_s, to_s)
        is_whole = len(places) >= full and len(air.places(from_s, to_s)) >= full
        is_good = not any(start_s < to_s and end_s > from_s for start_s, end_s in spoilt)
        first_c, last_c, air_first_c, air_last_c = edges
        beer_c, air_c = means
        if (
            is_whole
            and is_good
            and None not in (first_c, last_c, air_first_c, air_last_c, beer_c, air_c)
        ):
            hours = WINDOW_S / HOUR_S
            found.append(
                _Window(
                    middle_h,
                    hours,
                    (last_c - first_c) / hours,  # type: ignore[operator]
                    (
                        air_c - beer_c,  # type: ignore[operator]
                        beer_c / 10.0,  # type: ignore[operator]
                        1.0,
                        heating.share(from_s, to_s),
                        (air_last_c - air_first_c) / hours,  # type: ignore[operator]
                        cooling.share(middle_s - DAY_S / 2, middle_s + DAY_S / 2),
                        sin(2.0 * pi * middle_h / DAY_H),
                        cos(2.0 * pi * middle_h / DAY_H),
                    ),
                )
            )
        from_s = to_s
    return found


@dataclass(frozen=True, slots=True)
class _Fit:
    knots: int
    """The warmth is nought from this knot on, a day each."""
    criterion: float
    numbers: tuple[float, ...]
    """The first ones, then the warmth at each knot, °C/h."""
    left_over: float
    """Standard deviation of what is left over, °C/h."""
    error_c: float
    """Standard error of the total, °C."""
    total_range_c: tuple[float, float]
    """Of all fits that are as good as this one."""
    has_quiet_end: bool
    end_h: float

    @property
    def of_beer(self) -> float:
        """How many times more the beer has of a warmth than its probe shows."""
        return 1.0 / (1.0 - min(self.numbers[_SEEN], MOST_SHARE))

    def shown(self, at_h: float) -> float:
        """The warmth at a time since the span began as the probe shows it, °C/h."""
        knots = self.numbers[_KNOTS_FROM:]
        place = int(at_h // DAY_H)
        part = at_h / DAY_H - place
        here = knots[place] if place < len(knots) else 0.0
        later = knots[place + 1] if place + 1 < len(knots) else 0.0
        return here * (1.0 - part) + later * part

    def warmth(self, at_h: float) -> float:
        """The warmth of the beer itself, °C/h."""
        return self.of_beer * self.shown(at_h)

    @property
    def total_c(self) -> float:
        """By how much all of it would have warmed the beer, °C."""
        return self.of_beer * _total_c(self.numbers[_KNOTS_FROM:])


def _total_c(knots: tuple[float, ...]) -> float:
    return sum(knots) * DAY_H - (knots[0] * DAY_H / 2 if knots else 0.0)


def _best(windows: list[_Window]) -> _Fit | None:
    """The best fit; None if there is no fermentation in it."""
    fits = _fits(windows)
    best = min(fits, key=lambda fit: fit.criterion)
    # Once more without what does not belong: a window with a door open, a vessel that was moved.
    off = [abs(_left_over(window, best)) for window in windows]
    limit = 5.0 * max(median(off), 1e-4)
    kept = [window for window, each in zip(windows, off, strict=True) if each <= limit]
    fits = _fits(kept)
    best = min(fits, key=lambda fit: fit.criterion)
    if best.knots == 0 or best.total_c <= 0.0:
        return None
    beside = [fit for fit in fits if fit.criterion <= best.criterion + PLAUSIBLE]
    totals = [fit.total_c for fit in beside]
    last = max(fit.knots for fit in fits)
    return _Fit(
        best.knots,
        best.criterion,
        best.numbers,
        best.left_over,
        best.error_c,
        (min(totals), max(totals)),
        best.knots < last,
        best.end_h,
    )


def _left_over(window: _Window, fit: _Fit) -> float:
    told = sum(one * number for one, number in zip(window.row, fit.numbers, strict=False))
    return window.moved - told - fit.shown(window.middle_h)


def _fits(windows: list[_Window]) -> list[_Fit]:
    end_h = windows[-1].middle_h
    most = max(1, int((end_h - LEAST_QUIET_H) / DAY_H) + 1)
    normal = Normal(_KNOTS_FROM + most)
    for window in windows:
        place = int(window.middle_h // DAY_H)
        part = window.middle_h / DAY_H - place
        row = [*window.row, *([0.0] * most)]
        for knot, share in ((place, 1.0 - part), (place + 1, part)):
            if knot < most:
                row[_KNOTS_FROM + knot] = share
        normal.add(row, window.moved)
    return [_fit(normal, knots, len(windows), end_h) for knots in range(most + 1)]


def _fit(normal: Normal, knots: int, count: int, end_h: float) -> _Fit:
    chosen = [*range(_KNOTS_FROM), *range(_KNOTS_FROM, _KNOTS_FROM + knots)]
    bent = _bent(normal, knots)
    positive = {_RATE, _POWER, _SEEN, _WEATHER, *chosen[_KNOTS_FROM:]}
    values = bent.solved(chosen, positive)
    mean2 = max(1e-12, normal.left_over2(chosen, values) / count)
    weights = [0.0] * _KNOTS_FROM + [DAY_H] * knots
    if knots:
        weights[_KNOTS_FROM] = DAY_H / 2
    spread = sqrt(mean2 * bent.variance(chosen, weights)) if knots else 0.0
    criterion = count * log(mean2) + (knots + _KNOTS_FROM) * log(count)
    return _Fit(knots, criterion, tuple(values), sqrt(mean2), spread, (0.0, 0.0), True, end_h)


def _bent(normal: Normal, knots: int) -> Normal:
    """The same with the wish that the line bends little; its end is at nought."""
    bent = Normal(normal.size)
    bent.squares = [list(row) for row in normal.squares]
    bent.products = list(normal.products)
    bent.right2, bent.rows = normal.right2, normal.rows
    bent.squares[_WEATHER][_WEATHER] += RIDGE
    for middle in range(1, knots):
        row = [0.0] * normal.size
        for knot, weight in ((middle - 1, 1.0), (middle, -2.0), (middle + 1, 1.0)):
            if knot < knots:
                row[_KNOTS_FROM + knot] = SMOOTH * weight
        bent.add(row, 0.0)
    return bent


def _told(course: Course, fit: _Fit, volume_l: float | None) -> FermentationHeat:
    j_per_k = None if volume_l is None else volume_l * BEER_J_PER_L_K

    def watts(warmth: float) -> float | None:
        return None if j_per_k is None else warmth * j_per_k / HOUR_S

    hours = [hour / 2 for hour in range(int(2 * fit.knots * DAY_H) + 1)]
    track = [fit.warmth(hour) for hour in hours]
    peak = max(range(len(track)), key=track.__getitem__)
    begun = next(place for place in range(len(track)) if track[place] >= BEGUN * track[peak])
    over = next(
        (place for place in range(peak, len(track)) if track[place] <= OVER * track[peak]),
        len(track) - 1,
    )
    total_c = fit.total_c
    low_c, high_c = fit.total_range_c
    error_c = sqrt(
        ((high_c - low_c) / 2) ** 2 + (2.0 * fit.error_c) ** 2 + (OF_THE_MODEL * total_c) ** 2
    )
    rate = fit.numbers[_RATE]

    def when_s(place: int) -> float:
        return course.start_s + hours[place] * HOUR_S

    return FermentationHeat(
        why="",
        total_c=total_c,
        total_error_c=error_c,
        total_kj_per_l=total_c * BEER_J_PER_L_K / 1e3,
        sugar_g_per_l=total_c * BEER_J_PER_L_K / HEAT_J_PER_KG * 1e3,
        total_kj=None if j_per_k is None else total_c * j_per_k / 1e3,
        begun_s=when_s(begun),
        peak_s=when_s(peak),
        over_s=when_s(over),
        quiet_from_s=course.start_s + fit.knots * DAY_H * HOUR_S,
        peak_c_per_h=track[peak],
        peak_w=watts(track[peak]),
        follows_within_h=1.0 / rate if rate > 1e-3 else None,
        points=tuple(
            HeatPoint(when_s(place), track[place], watts(track[place]))
            for place in range(0, len(track), 6)
        ),
    )
