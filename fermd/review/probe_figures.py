"""How the probes did: what failed, what was passed over, how unsteady each one read."""

from __future__ import annotations

from dataclasses import dataclass
from statistics import median

from fermd.control.events import TrustChanged
from fermd.review.course import Course
from fermd.review.series import Series


@dataclass(frozen=True, slots=True)
class ProbeFault:
    """A span in which a probe was not trusted."""

    start_s: float
    end_s: float
    fault: str
    """The probe's first fault, by the name that the journal has for it."""


@dataclass(frozen=True, slots=True)
class ProbeFigures:
    """One probe over a span."""

    probe: str
    place: str
    """`vessel`, `air` or `other`."""
    good_readings: int
    bad_readings: int
    bad_share: float
    """0 to 1."""
    glitches: int
    """Readings that failed and were passed over, without the probe losing its trust."""
    faults: tuple[ProbeFault, ...]
    untrusted_h: float
    unsteady_c: float | None
    """How far a bucket lies off the straight line between its neighbours, in the median, °C: beer
    moves slowly, so that this is the probe's own noise. None with too few readings."""


def probe_figures(course: Course) -> tuple[ProbeFigures, ...]:
    """Sum up each probe of a chamber."""
    return tuple(_figures(course, name, series) for name, series in course.probes.items())


def probe_faults(course: Course, probe: str) -> list[ProbeFault]:
    """The spans in which a probe was not trusted, in order."""
    found: list[ProbeFault] = []
    began: tuple[float, str] | None = None
    for one in (*course.before, *course.happened):
        if not isinstance(one.what, TrustChanged) or one.what.probe != probe:
            continue
        if not one.what.trusted:
            fault = "" if one.what.fault is None else one.what.fault.value
            began = began or (max(one.at_s, course.start_s), fault)
        elif began is not None:
            if one.at_s > course.start_s:
                found.append(ProbeFault(began[0], one.at_s, began[1]))
            began = None
    if began is not None:
        found.append(ProbeFault(began[0], course.end_s, began[1]))
    return found


def _figures(course: Course, name: str, series: Series) -> ProbeFigures:
    faults = probe_faults(course, name)
    bad = sum(series.bad.values())
    of_faults = sum(
        count
        for at_s, count in series.bad.items()
        # A fault is told after a run of bad readings: these are part of it.
        if any(
            fault.start_s - 5 * series.step_s <= at_s <= fault.end_s + series.step_s
            for fault in faults
        )
    )
    good = round(sum(series.good))
    places = {course.roles.vessel: "vessel", course.roles.air: "air"}
    return ProbeFigures(
        probe=name,
        place=places.get(name, "other"),
        good_readings=good,
        bad_readings=bad,
        bad_share=bad / (good + bad) if good + bad else 0.0,
        glitches=bad - of_faults,
        faults=tuple(faults),
        untrusted_h=sum(fault.end_s - fault.start_s for fault in faults) / 3600.0,
        unsteady_c=_unsteady_c(series),
    )


_LEAST_BUCKETS = 10


def _unsteady_c(series: Series) -> float | None:
    means, at_s = series.mean_c, series.at_s
    bends_c = [
        abs(means[place] - (means[place - 1] + means[place + 1]) / 2.0)
        for place in range(1, len(means) - 1)
        if at_s[place + 1] - at_s[place - 1] <= 2.1 * series.step_s
    ]
    return median(bends_c) if len(bends_c) >= _LEAST_BUCKETS else None
