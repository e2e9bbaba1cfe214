"""How each step went: how long until the beer was there, how far beyond it went, when it settled.

The words are those of control engineering (overshoot, settling time; Åström and Murray, Feedback
Systems, sec. 6.3, from memory), against the band in which the beer counts as held.
"""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass
from itertools import pairwise

from fermd.control.events import StepChange, StepChanged, TargetChanged
from fermd.review.course import Course
from fermd.review.holding import off_target_c
from fermd.review.series import Series


@dataclass(frozen=True, slots=True)
class StepFigures:
    """One step of the profile, or one target set by hand."""

    name: str
    kind: str
    """The step's kind (hold, ramp, soak ...), or `hand`."""
    start_s: float
    end_s: float
    begins_c: float | None
    """Where the beer was at its start; None if that is not known."""
    target_c: float | None
    """What was wanted at its end; of a free rise, the upper temperature."""
    arrived_after_s: float | None
    """Until the beer was in its band for the first time; None: it never was."""
    overshoot_c: float | None
    """How far beyond the target the beer went after that, on the way it came; 0 if it did not.
    None for a ramp, which has no end to shoot over, and where it never arrived."""
    settled_after_s: float | None
    """Until it was in the band and stayed there to the end of the step; None: it did not."""
    furthest_off_c: float | None
    """The greatest distance from the target once it had arrived."""
    in_band_share: float | None


def step_figures(course: Course, band_c: float) -> tuple[StepFigures, ...]:
    """Look at every step that was entered in the span."""
    starts = [one for one in _starts(course) if one[0] < course.end_s]
    edges_s = [*(at_s for at_s, _, _ in starts), course.end_s]
    return tuple(
        _figures(course, band_c, name, kind, from_s, to_s)
        for (_, name, kind), (from_s, to_s) in zip(starts, pairwise(edges_s), strict=True)
    )


def _starts(course: Course) -> list[tuple[float, str, str]]:
    found: list[tuple[float, str, str]] = []
    for one in course.happened:
        match one.what:
            case StepChanged(change=StepChange.ENTERED, name=name, kind=kind):
                found.append((one.at_s, name or kind, kind))
            case TargetChanged(source="hand", heat_c=float(heat_c)):
                found.append((one.at_s, f"{heat_c:g} °C by hand", "hand"))
            case TargetChanged(source="off"):
                found.append((one.at_s, "switched off", "off"))
            case _:
                pass
    return found


def _figures(
    course: Course, band_c: float, name: str, kind: str, from_s: float, to_s: float
) -> StepFigures:
    vessel = course.vessel or Series(60)
    places = vessel.places(from_s, to_s)
    off_c = [
        (vessel.at_s[place], off)
        for place in places
        if (off := off_target_c(course, vessel.at_s[place], vessel.mean_c[place])) is not None
    ]
    target = course.target_at(to_s - 1.0)
    arrived = next((number for number, (_, off) in enumerate(off_c) if abs(off) <= band_c), None)
    after = off_c[arrived:] if arrived is not None else []
    begins_c = vessel.at(from_s, 900.0)
    way = off_c[0][1] if off_c else 0.0
    return StepFigures(
        name=name,
        kind=kind,
        start_s=from_s,
        end_s=to_s,
        begins_c=begins_c,
        target_c=None if target is None else target[1],
        arrived_after_s=after[0][0] - from_s if after else None,
        overshoot_c=_overshoot_c(after, way) if kind not in ("ramp", "off") else None,
        settled_after_s=_settled_s(off_c, band_c, from_s),
        furthest_off_c=max((abs(off) for _, off in after), default=None),
        in_band_share=sum(abs(off) <= band_c for _, off in off_c) / len(off_c) if off_c else None,
    )


def _overshoot_c(after: list[tuple[float, float]], way: float) -> float | None:
    if not after:
        return None
    beyond = [-off if way > 0 else off for _, off in after]
    return max(0.0, *beyond)


def _settled_s(off_c: list[tuple[float, float]], band_c: float, from_s: float) -> float | None:
    outside = [at_s for at_s, off in off_c if abs(off) > band_c]
    if not off_c or (outside and outside[-1] >= off_c[-1][0]):
        return None
    if not outside:
        return 0.0
    times_s = [at_s for at_s, _ in off_c]
    return times_s[bisect_right(times_s, outside[-1])] - from_s
