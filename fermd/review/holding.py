"""How well the beer was held: time in band, extremes, degree-hours above a limit."""

from __future__ import annotations

from dataclasses import dataclass

from fermd.review.course import Course
from fermd.review.figures import IN_BAND_C

HOUR_S = 3600.0


@dataclass(frozen=True, slots=True)
class Holding:
    """The beer against its target; every figure is None where nothing is known of it."""

    band_c: float
    """Nearer to the target than this counts as held, °C."""
    with_target_h: float
    """Time of which both the beer and its target are known."""
    in_band_share: float | None
    """Share of that time within the band, 0 to 1."""
    in_band_h: float
    coldest_c: float | None
    coldest_at_s: float | None
    warmest_c: float | None
    warmest_at_s: float | None
    mean_error_c: float | None
    """Mean distance from the target, beer above it counted positive."""
    limit_c: float | None
    """The limit that was asked for."""
    above_limit_ch: float | None
    """Degree-hours above the limit: one hour at one degree above it is 1."""
    above_limit_h: float | None
    unknown_h: float
    """Time of the span without a reading of the beer."""


def hold_figures(
    course: Course, band_c: float = IN_BAND_C, limit_c: float | None = None
) -> Holding:
    """Sum up how a chamber held its beer."""
    vessel = course.vessel
    step_h = 0.0 if vessel is None else vessel.step_s / HOUR_S
    counted = held = 0
    error_c = above_ch = above_h = 0.0
    coldest = warmest = None
    if vessel is not None:
        for place, at_s in enumerate(vessel.at_s):
            beer_c = vessel.mean_c[place]
            if limit_c is not None and beer_c > limit_c:
                above_ch += (beer_c - limit_c) * step_h
                above_h += step_h
            if (off_c := off_target_c(course, at_s, beer_c)) is None:
                continue
            counted += 1
            held += abs(off_c) <= band_c
            error_c += off_c
        if len(vessel):
            coldest = min(range(len(vessel)), key=vessel.low_c.__getitem__)
            warmest = max(range(len(vessel)), key=vessel.high_c.__getitem__)
    known_h = 0.0 if vessel is None else len(vessel) * step_h
    return Holding(
        band_c=band_c,
        with_target_h=counted * step_h,
        in_band_share=held / counted if counted else None,
        in_band_h=held * step_h,
        coldest_c=None if vessel is None or coldest is None else vessel.low_c[coldest],
        coldest_at_s=None if vessel is None or coldest is None else vessel.at_s[coldest],
        warmest_c=None if vessel is None or warmest is None else vessel.high_c[warmest],
        warmest_at_s=None if vessel is None or warmest is None else vessel.at_s[warmest],
        mean_error_c=error_c / counted if counted else None,
        limit_c=limit_c,
        above_limit_ch=None if limit_c is None else above_ch,
        above_limit_h=None if limit_c is None else above_h,
        unknown_h=max(0.0, course.lasted_s / HOUR_S - known_h),
    )


def off_target_c(course: Course, at_s: float, beer_c: float) -> float | None:
    """How far the beer is above (or, negative, below) what is wanted, °C; None without a target.

    Between the two temperatures of a free rise it is where it should be.
    """
    target = course.target_at(at_s)
    if target is None:
        return None
    heat_c, cool_c = target
    if beer_c > cool_c:
        return beer_c - cool_c
    return beer_c - heat_c if beer_c < heat_c else 0.0
