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
from math import sqrt

from fermd.control.events import ProfileChange, ProfileChanged
from fermd.physics.fermentation import HEAT_J_PER_MOL, KG_PER_MOL, REFERENCE_SUGARS
from fermd.physics.vessel import Vessel
from fermd.review.course import Course
from fermd.review.heat_fit import LEAST_QUIET_H, RATE, Fit, best_fit
from fermd.review.heat_windows import DAY_H, HOUR_S, WINDOW_S, windows_of

LEAST_LASTED_H = 6 * DAY_H
"""A shorter span is not tried, h."""

LONGEST_FITTED_H = 42 * DAY_H
"""What comes later than this is lagering, and is not fitted, h: every day is one more number, and
the time that the fit takes grows with their fourth power."""

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
    pitched = [
        one
        for one in course.of(ProfileChanged)
        if isinstance(one.what, ProfileChanged) and one.what.change is ProfileChange.STARTED
    ]
    if len(pitched) > 1:
        return FermentationHeat(
            f"{len(pitched)} batches were begun in the span: the heat of each is told in its own "
            "review"
        )
    windows = [one for one in windows_of(course) if one.middle_h <= LONGEST_FITTED_H]
    if len(windows) * WINDOW_S / HOUR_S < LEAST_LASTED_H:
        return FermentationHeat("too much of the span has no trustworthy reading of both probes")
    fit = best_fit(windows)
    if fit is None:
        return FermentationHeat("no fermentation shows in how the beer was cooled")
    if not fit.has_quiet_end:
        return FermentationHeat(
            "the beer seems to make heat to the end of the span: it takes some days of quiet beer "
            "to tell its heat from what leaks in"
        )
    return _told(course, fit, volume_l)


def _told(course: Course, fit: Fit, volume_l: float | None) -> FermentationHeat:
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
    rate = fit.numbers[RATE]

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
