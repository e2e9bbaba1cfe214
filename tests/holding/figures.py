"""The figures of a run: how far the true beer was from its target, how often things were switched.

All of them are of the beer itself, not of what a probe shows. The windows are the scenario's and
the same for everybody: a hold counts from `settle_s` after its ramp or jump on.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import inf
from trace import Series, Trace

import numpy as np
from numpy.typing import NDArray
from scenario import DAY_S, HOUR_S, Leg, Scenario

WITHIN_C = 0.3
"""So near to the target is there, °C."""

STAYS_S = 6 * HOUR_S
"""So long it must stay there to have settled, s."""


@dataclass(frozen=True, slots=True)
class StepFigures:
    """What followed one change of the target."""

    began_s: float
    from_c: float
    to_c: float
    overshoot_c: float
    """The furthest beyond the new target, the way the target went, from where the beer first
    passes it until it is back at it, °C: what the step did, and not the swing that every on-off
    control goes on with."""
    undershoot_c: float
    """The furthest back on the side that it came from after that, until the hold counts, °C."""
    settled_s: float
    """From the change (for a ramp: from its end) until the beer came within `WITHIN_C` for
    `STAYS_S` or more, s; infinite if it never did."""


@dataclass(frozen=True, slots=True)
class Figures:
    """One run in numbers."""

    rms_c: float
    """Root mean square of the beer's error during holds, °C."""
    p95_c: float
    """95 % of the time in holds the beer was no further off than this, °C."""
    within_share: float
    """Share of the time in holds within `WITHIN_C`."""
    overshoot_c: float
    """The largest of all steps, °C; 0 if the target never changed."""
    undershoot_c: float
    settled_s: float
    """The longest of all steps, s."""
    ramp_rms_c: float | None
    """Root mean square of the error during ramps, °C; None without ramps."""
    cool_starts_a_day: float
    heat_starts_a_day: float
    held_cool_starts_a_day: float
    """As `cool_starts_a_day`, of the holds alone: the same time that the error is taken over."""
    held_heat_starts_a_day: float
    shortest_off_s: float | None
    kwh_a_day: float
    steps: tuple[StepFigures, ...]

    @property
    def starts_a_day(self) -> float:
        """Starts in holds, of cooling and heat together."""
        return self.held_cool_starts_a_day + self.held_heat_starts_a_day


def figures(scenario: Scenario, trace: Trace) -> Figures:
    """Work out the figures of a run."""
    error_c = trace.beer_c - trace.target_c
    held = np.zeros(trace.t_s.size, dtype=np.bool_)
    ramped = np.zeros(trace.t_s.size, dtype=np.bool_)
    steps: list[StepFigures] = []
    began_s, before_c = 0.0, scenario.start_c
    for leg in scenario.plan:
        ends_s, ramp_ends_s = began_s + leg.lasts_s, began_s + leg.ramp_s
        held |= (trace.t_s >= ramp_ends_s + leg.settle_s) & (trace.t_s < ends_s)
        ramped |= (trace.t_s >= began_s) & (trace.t_s < ramp_ends_s)
        if leg.target_c != before_c:
            steps.append(_step(trace, leg, began_s, before_c))
        began_s, before_c = ends_s, leg.target_c
    off_c = np.abs(error_c[held])
    days = trace.t_s.size * scenario.period_s / DAY_S
    return Figures(
        rms_c=_rms(error_c[held]),
        p95_c=float(np.percentile(off_c, 95)),
        within_share=float(np.mean(off_c <= WITHIN_C)),
        overshoot_c=max((each.overshoot_c for each in steps), default=0.0),
        undershoot_c=max((each.undershoot_c for each in steps), default=0.0),
        settled_s=max((each.settled_s for each in steps), default=0.0),
        ramp_rms_c=_rms(error_c[ramped]) if ramped.any() else None,
        cool_starts_a_day=trace.cool_starts_s.size / days,
        heat_starts_a_day=trace.heat_starts_s.size / days,
        held_cool_starts_a_day=_held_a_day(trace, held, trace.cool_starts_s),
        held_heat_starts_a_day=_held_a_day(trace, held, trace.heat_starts_s),
        shortest_off_s=trace.shortest_off_s,
        kwh_a_day=trace.electric_j / 3.6e6 / days,
        steps=tuple(steps),
    )


def _held_a_day(trace: Trace, held: NDArray[np.bool_], starts_s: Series) -> float:
    ticks = np.searchsorted(trace.t_s, starts_s, side="right") - 1
    period_s = float(trace.t_s[1] - trace.t_s[0])
    return float(np.count_nonzero(held[ticks])) / (np.count_nonzero(held) * period_s / DAY_S)


def _rms(error_c: Series) -> float:
    return float(np.sqrt(np.mean(np.square(error_c))))


def _step(trace: Trace, leg: Leg, began_s: float, before_c: float) -> StepFigures:
    ramp_ends_s, ends_s = began_s + leg.ramp_s, began_s + leg.lasts_s
    way = 1.0 if leg.target_c > before_c else -1.0
    after = (trace.t_s >= ramp_ends_s) & (trace.t_s < ends_s)
    watched = after & (trace.t_s < ramp_ends_s + leg.settle_s)
    beyond_c = way * (trace.beer_c[watched] - leg.target_c)
    first = beyond_c[_first_excursion(beyond_c)]
    overshoot_c = float(np.max(first, initial=0.0))
    return StepFigures(
        began_s=began_s,
        from_c=before_c,
        to_c=leg.target_c,
        overshoot_c=overshoot_c,
        undershoot_c=max(0.0, -float(np.min(beyond_c[_after_excursion(beyond_c)], initial=0.0))),
        settled_s=_settled_s(trace.t_s[after] - ramp_ends_s, trace.beer_c[after] - leg.target_c),
    )


def _first_excursion(beyond_c: Series) -> slice:
    """Return from where the beer first passes its new target to where it is back."""
    passed = np.flatnonzero(beyond_c > 0.0)
    if not passed.size:
        return slice(0, 0)
    back = np.flatnonzero(beyond_c[passed[0] :] <= 0.0)
    return slice(int(passed[0]), int(passed[0] + back[0]) if back.size else beyond_c.size)


def _after_excursion(beyond_c: Series) -> slice:
    ends = _first_excursion(beyond_c).stop
    return slice(ends, beyond_c.size) if ends else slice(0, 0)


def _settled_s(since_s: Series, error_c: Series) -> float:
    """Return when the first stay of at least `STAYS_S` within `WITHIN_C` began."""
    outside = np.flatnonzero(np.abs(error_c) > WITHIN_C)
    period_s = float(since_s[1] - since_s[0])
    # A stay lies between two moments outside; before the first and after the last counts too.
    edges = np.concatenate(([-1], outside, [since_s.size]))
    lasted_s = (np.diff(edges) - 1) * period_s
    long = np.flatnonzero(lasted_s >= STAYS_S)
    return float(since_s[edges[long[0]] + 1]) if long.size else inf
