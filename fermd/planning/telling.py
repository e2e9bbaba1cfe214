"""A plan told: its steps on the calendar and what to beware of, as data and in words.

For the command line and the page alike, so that both say the same.
"""

from __future__ import annotations

from datetime import datetime, tzinfo
from math import inf
from typing import Any

from fermd.config.profile_file import profile_cautions
from fermd.control.wording import Unit
from fermd.planning.caution_words import caution_words
from fermd.planning.cautions import cautions
from fermd.planning.estimate import Estimate
from fermd.planning.heat import heat_along
from fermd.planning.rehearsal import Plan
from fermd.planning.timeline import Timeline

Plain = dict[str, Any]


def told_cautions(
    plan: Plan, line: Timeline, found: Estimate, unit: Unit = Unit.CELSIUS
) -> list[tuple[Plain, str]]:
    """Every caution as data and in words."""
    heat = heat_along(line, plan.batch.fermentation())
    told: list[tuple[Plain, str]] = []
    for one in cautions(line, heat, plan.batch, plan.chamber, plan.room):
        number = None if one.step is None else one.step + 1
        data = {"rule": one.rule.value, "step": number, "numbers": one.numbers}
        told.append((data, caution_words(one, plan.profile, unit)))
    for fault in profile_cautions(plan.profile, plan.chamber.settings):
        told.append(({"rule": "chamber", "step": None, "numbers": {}}, f"{fault}."))
    if found.never_ends is not None:
        number = found.never_ends + 1
        words = (
            f"step {number} does not end in this chamber: it waits for a temperature that the "
            "beer does not come to. `fermd rehearse` shows more."
        )
        told.append(({"rule": "never-ends", "step": number, "numbers": {}}, words))
    return told


def plain_timeline(line: Timeline, zone: tzinfo) -> Plain:
    """A profile on the calendar as plain values for JSON."""
    return {
        "lasts_s": line.lasts_s,
        "lasts_is_sure": line.is_sure,
        "end": iso(line.end_utc_s, zone),
        "steps": [
            {
                "step": segment.index + 1,
                "kind": segment.step.kind,
                "name": segment.step.name,
                "begins": iso(segment.begins_utc_s, zone),
                "begins_utc_s": segment.begins_utc_s,
                "begins_is_sure": segment.begin_is_sure,
                "ends": None if segment.ends_utc_s == inf else iso(segment.ends_utc_s, zone),
                "ends_utc_s": None if segment.ends_utc_s == inf else segment.ends_utc_s,
                "ends_is_sure": segment.end_is_sure,
                "target": [
                    {"utc_s": one.utc_s, "heat_c": one.heat_c, "cool_c": one.cool_c}
                    for one in segment.corners
                ],
                "note": segment.note,
            }
            for segment in line.segments
        ],
        "clock_changes": [
            {"at": iso(at_s, zone), "text": words} for at_s, words in line.clock_changes
        ],
    }


def iso(utc_s: float, zone: tzinfo) -> str:
    """A local time for machines, to the minute, with its offset."""
    to_the_minute = datetime.fromtimestamp(round(utc_s / 60.0) * 60.0, zone)
    return to_the_minute.isoformat(timespec="minutes")
