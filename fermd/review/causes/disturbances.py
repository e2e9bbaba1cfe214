"""One cause for each disturbance: what was told and what was seen, put together.

What the daemon wrote down at the time comes before what the readings suggest afterwards; of a
fault and of what followed from it (a lockout after a power cut, an output without effect behind an
open door) the fault is named.
"""

from __future__ import annotations

from collections.abc import Sequence

from fermd.review.causes.cause import WORDS, Cause, Disturbance, Finding
from fermd.review.causes.failing import failing_findings
from fermd.review.causes.seen import seen_findings
from fermd.review.causes.spikes import spike_findings
from fermd.review.causes.standing import standing_findings
from fermd.review.causes.told import told_findings
from fermd.review.course import Course

RANK: dict[Cause, int] = {
    cause: rank
    for rank, causes in enumerate(
        (
            # What explains everything else of its time comes first.
            (Cause.POWER_CUT,),
            (Cause.RELAY_FAULT,),
            (Cause.OVERRIDE,),
            (Cause.PROBES_SWAPPED,),
            (Cause.PROBE_FAULT, Cause.PROBE_MOVED),
            (Cause.DAEMON_AWAY,),
            (Cause.SWITCHED_OFF,),
            (
                Cause.DOOR_OPEN,
                Cause.COOLING_FAILED,
                Cause.COOLING_STUCK_ON,
                Cause.HEATING_FAILED,
                Cause.HEATING_STUCK_ON,
            ),
            (Cause.PAUSED, Cause.TARGET_CHANGED),
            (Cause.COOLING_WEAK, Cause.HEATING_WEAK),
            (Cause.FREEZING_MARGIN,),
            (Cause.AIR_LIMIT,),
            (Cause.CLOCK_STEP,),
        )
    )
    for cause in causes
}

LAST_RANK = len(RANK) + 1

TOGETHER_S = 900.0
"""What begins within this of the end of another belongs to it, s."""


LIMITS = frozenset({Cause.AIR_LIMIT, Cause.FREEZING_MARGIN})
"""What holds a chamber back in its ordinary work: no disturbance, but maybe why beer was late."""


def disturbances(course: Course) -> tuple[Disturbance, ...]:
    """Find everything that disturbed a chamber, in the order of time."""
    told = [one for one in told_findings(course) if one.cause not in LIMITS]
    return gathered(
        [
            *told,
            *failing_findings(course),
            *standing_findings(course),
            *spike_findings(course),
            *seen_findings(course),
        ]
    )


def held_by_limits(course: Course) -> tuple[Disturbance, ...]:
    """When an output was held off by the air's limits or the freezing margin."""
    return gathered([one for one in told_findings(course) if one.cause in LIMITS])


def gathered(findings: Sequence[Finding]) -> tuple[Disturbance, ...]:
    """Put what belongs together into one, with the cause of the highest rank."""
    groups: list[list[Finding]] = []
    for one in sorted(findings, key=lambda finding: (finding.start_s, finding.end_s)):
        if groups and one.start_s <= max(_reach_s(other) for other in groups[-1]) + TOGETHER_S:
            groups[-1].append(one)
        else:
            groups.append([one])
    return tuple(_named(group) for group in groups)


LONGEST_REACH_S = 2 * 3600.0
"""A finding draws others to itself for so long at the most, s: a chamber that is switched off for a
week does not take the blame for a door."""


def _reach_s(one: Finding) -> float:
    # An output that fails does so over and over, with its rests between.
    longer = 2.0 if one.cause in (Cause.COOLING_FAILED, Cause.HEATING_FAILED) else 1.0
    return min(one.end_s, one.start_s + longer * LONGEST_REACH_S)


_AGAINST = {
    Cause.HEATING_FAILED: Cause.COOLING_STUCK_ON,
    Cause.COOLING_FAILED: Cause.HEATING_STUCK_ON,
}


def _named(group: Sequence[Finding]) -> Disturbance:
    first = min(group, key=lambda one: (RANK.get(one.cause, LAST_RANK), -one.weight, one.start_s))
    against = _AGAINST.get(first.cause)
    stuck = [one for one in group if one.cause is against and one.start_s <= first.end_s]
    if stuck:
        # What runs against a contact that is stuck on has no effect, and has not failed.
        first = stuck[0]
    beside = dict.fromkeys(one.cause for one in group if one.cause is not first.cause)
    same = [one for one in group if one.cause is first.cause]
    detail = first.detail
    if len(same) > 1:
        detail += f"; {len(same)} times"
    return Disturbance(
        first.cause,
        min(one.start_s for one in same),
        max(one.end_s for one in same),
        f"{WORDS[first.cause]}: {detail}",
        tuple(beside),
    )
