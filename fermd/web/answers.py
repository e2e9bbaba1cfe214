"""The snapshot as plain values for JSON: numbers for machines, and the same words that people read.

Ages and what is left of a lockout are worked out at the moment of asking, so that an old number
can never be taken for a new one.
"""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from fermd.control import wording
from fermd.control.alarms import Alarm
from fermd.control.bands import Edges
from fermd.control.decision import Decision, OutputDecision
from fermd.control.health import Health
from fermd.control.knowledge import knowledge
from fermd.control.moment import Moment
from fermd.control.progress import Outlook
from fermd.control.reading import Reading, Trusted
from fermd.control.reasons import Reason
from fermd.control.wording import Unit
from fermd.service.snapshot import ChamberView, Snapshot

Plain = dict[str, Any]


def status(snapshot: Snapshot, now: Moment, unit: Unit = Unit.CELSIUS) -> Plain:
    """The whole site; words speak of temperatures in the unit that is asked for, numbers in °C."""
    mono_s = now.mono_s
    trouble = snapshot.journal_trouble
    return {
        "age_s": round(mono_s - snapshot.moment.mono_s, 1),
        "tick": snapshot.tick,
        "up_s": round(mono_s - snapshot.started.mono_s, 1),
        "wall_utc_s": now.wall_utc_s,
        "clock_is_set": now.wall_trusted,
        "journal": None if trouble is None else {"kind": trouble.kind, "detail": trouble.detail},
        "alarms": [_alarm(alarm, mono_s) for alarm in snapshot.site_alarms],
        "chambers": {
            name: _chamber(view, mono_s, unit) for name, view in snapshot.chambers.items()
        },
    }


def probes(snapshot: Snapshot, now: Moment, unit: Unit = Unit.CELSIUS) -> list[Plain]:
    """Every probe of every chamber with its health and counters."""
    found = []
    for name, view in snapshot.chambers.items():
        decision = view.decision
        readings = dict(decision.watching)
        roles = list(view.healths)
        readings[roles[0]] = decision.vessel
        if decision.air is not None:
            readings[roles[1]] = decision.air
        for probe, seen in readings.items():
            health = view.healths[probe]
            found.append(
                {"chamber": name, "probe": probe}
                | _reading(seen, now.mono_s, unit)
                | _counters(health)
            )
    return found


def _chamber(view: ChamberView, mono_s: float, unit: Unit) -> Plain:
    decision = view.decision
    wanted, known = decision.target, knowledge(decision)
    return {
        "mode": decision.mode.value,
        "mode_words": wording.mode(decision),
        "target": None if wanted is None else {"heat_c": wanted.heat_c, "cool_c": wanted.cool_c},
        "target_words": wording.target(wanted, unit),
        "edges": _edges(decision.edges),
        "vessel": _reading(decision.vessel, mono_s, unit),
        "air": None if decision.air is None else _reading(decision.air, mono_s, unit),
        "watching": {name: _reading(seen, mono_s, unit) for name, seen in decision.watching},
        "call": decision.call.value,
        "call_reason": _reason(decision.call_reason, mono_s, unit),
        "call_words": wording.call(decision, mono_s, unit),
        "learned": asdict(known),
        "learned_words": wording.known_of(known, unit),
        "outputs": [_output(output, mono_s, unit) for output in decision.outputs],
        "profile": _profile(decision),
        "planned_start": None
        if decision.planned is None
        else {
            "profile": decision.planned.profile.name,
            "at_utc_s": decision.planned.at_utc_s,
            "who": decision.planned.who,
        },
        "alarms": [_alarm(alarm, mono_s) for alarm in decision.alarms],
    }


def _edges(edges: Edges | None) -> Plain | None:
    if edges is None:
        return None
    return {
        "heat_from_c": round(edges.heat_from_c, 3),
        "heat_until_c": round(edges.heat_until_c, 3),
        "cool_from_c": round(edges.cool_from_c, 3),
        "cool_until_c": round(edges.cool_until_c, 3),
    }


def _reading(seen: Reading, mono_s: float, unit: Unit) -> Plain:
    words = wording.reading(seen, mono_s, unit)
    if isinstance(seen, Trusted):
        return {
            "trusted": True,
            "temp_c": round(seen.temp_c, 4),
            "age_s": round(mono_s - seen.taken_mono_s, 1),
            "fault": None,
            "words": words,
        }
    age_s = None if seen.last_taken_mono_s is None else round(mono_s - seen.last_taken_mono_s, 1)
    return {
        "trusted": False,
        "temp_c": None,
        "last_temp_c": seen.last_temp_c,
        "age_s": age_s,
        "fault": seen.fault.value,
        "words": words,
    }


def _counters(health: Health) -> Plain:
    return {
        "samples": health.samples,
        "bad_share": round(health.bad_share, 4),
        "faults": {fault.value: count for fault, count in health.counts.items()},
    }


def _output(output: OutputDecision, mono_s: float, unit: Unit) -> Plain:
    since_s = output.since_mono_s
    return {
        "duty": output.duty.value,
        "name": output.name,
        "line": output.line,
        "on": output.on,
        "wanted": output.wanted,
        "for_s": None if since_s is None else round(mono_s - since_s, 1),
        "reasons": [_reason(reason, mono_s, unit) for reason in output.reasons],
        "words": wording.output(output, mono_s, unit),
    }


def _reason(reason: Reason, mono_s: float, unit: Unit) -> Plain:
    left_s = None if reason.until_mono_s is None else round(reason.until_mono_s - mono_s, 1)
    return {
        "rule": reason.rule.value,
        "value_c": reason.value_c,
        "limit_c": reason.limit_c,
        "left_s": left_s,
        "number": reason.number,
        "words": wording.reason(reason, mono_s, unit),
    }


def _profile(decision: Decision) -> Plain | None:
    shown: Outlook | None = decision.outlook
    if shown is None:
        return None
    return {
        "name": shown.profile,
        "step": shown.index + 1,
        "steps": shown.steps,
        "kind": shown.kind,
        "step_name": shown.name,
        "elapsed_s": round(shown.elapsed_s, 1),
        "remaining_s": shown.remaining_s,
        "planned_s": shown.planned_s,
        "later_s": shown.rest_s,
        "prompt": shown.prompt,
        "next": None
        if shown.next_kind is None
        else {"kind": shown.next_kind, "name": shown.next_name},
    }


def _alarm(alarm: Alarm, mono_s: float) -> Plain:
    raised_s = alarm.raised_mono_s
    return {
        "alarm": alarm.kind.value,
        "subject": alarm.subject,
        "phase": alarm.phase.value,
        "severity": alarm.severity.value,
        "holds": alarm.holds,
        "for_s": None if raised_s is None else round(mono_s - raised_s, 1),
        "value": alarm.value,
        "limit": alarm.limit,
        "words": wording.standing_alarm(alarm, mono_s),
    }
