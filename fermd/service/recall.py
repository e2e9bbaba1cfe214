"""How a new process goes on from what the journal remembers.

A line's history is taken over only if it is of this boot and the process before ended by its own
stop; anything else counts as the worst that could have been. A chamber's target and profile are
taken over in any case: they do not depend on any clock. So are the board's own alarms: one that
waits for a person does not go away because the process did.
"""

from __future__ import annotations

import json
import logging
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from fermd.control.alarms import Alarm, AlarmKind, Alarms, standing
from fermd.control.events import AlarmPhase
from fermd.control.memory import ForgottenError, from_plain, to_plain
from fermd.control.moment import Moment
from fermd.control.protection import History, history_after_restart
from fermd.control.settings import ChamberSettings, Duty, SiteSettings
from fermd.control.site import SiteState
from fermd.control.state import ChamberState, first_state
from fermd.journal.ports import ChamberRecord, LineHistory, Outage
from fermd.service.outage import Untold, untold

log = logging.getLogger(__name__)

SITE = ""
"""The name under which the board itself is remembered, journalled and commanded."""


_AS_JSON = json.JSONEncoder(separators=(",", ":")).encode


@dataclass(frozen=True, slots=True)
class Recalled:
    """What a new process starts from."""

    state: SiteState
    beer_c: Mapping[str, float]
    """Each chamber's last known beer temperature before the outage, °C."""
    untold: Mapping[str, Untold]
    """What each chamber is to be told of the time before this start."""
    unreadable: tuple[str, ...]
    """Chambers whose record could not be understood: they start afresh."""
    site_alarms: Alarms = ()
    """The board's own alarms that nobody has seen to."""


def recall(settings: SiteSettings, outage: Outage, boot_id: str, now: Moment) -> Recalled:
    """Build the first state of a new process."""
    same_boot = outage.previous_boot_id == boot_id
    lines = {line.line: line for line in outage.lines} if same_boot else {}
    records = {record.chamber: record for record in outage.chambers}
    chambers: dict[str, ChamberState] = {}
    beer_c: dict[str, float] = {}
    to_tell: dict[str, Untold] = {}
    unreadable: list[str] = []
    for one in settings.chambers:
        histories = _histories(one, lines, now, proven=outage.ended_cleanly)
        chambers[one.name] = first_state(one, now.mono_s, histories)
        record, kept = records.get(one.name), None
        if record is not None:
            try:
                plain = json.loads(record.state_json)
                chambers[one.name] = from_plain(chambers[one.name], plain["control"], now.mono_s)
                if plain["beer_c"] is not None:
                    beer_c[one.name] = float(plain["beer_c"])
                kept = plain.get("outage")
            except (ForgottenError, ValueError, KeyError, TypeError) as error:
                log.error("chamber %s starts without a target: %s", one.name, error)
                unreadable.append(one.name)
        boot_kept_in = None if record is None else record.boot_id
        found = _untold(one.name, outage, beer_c.get(one.name), kept, boot_kept_in)
        if found is not None:
            to_tell[one.name] = found
    return Recalled(
        SiteState(chambers),
        beer_c,
        to_tell,
        tuple(unreadable),
        _site_alarms(records.get(SITE), now),
    )


def records(
    settings: SiteSettings,
    state: SiteState,
    beer_c: Mapping[str, float],
    site_alarms: Alarms = (),
    to_tell: Mapping[str, Mapping[str, Any]] | None = None,
) -> tuple[list[LineHistory], list[ChamberRecord]]:
    """Return what a later process must know of the present state.

    `to_tell` is what chambers have not been told yet of the outage before this start.
    """
    lines: list[LineHistory] = []
    chambers: list[ChamberRecord] = []
    for one in settings.chambers:
        chamber = state.chambers[one.name]
        lines.extend(
            _line_history(output.line, chamber.histories[output.duty]) for output in one.outputs
        )
        plain: dict[str, Any] = {"control": to_plain(chamber), "beer_c": beer_c.get(one.name)}
        if to_tell is not None and one.name in to_tell:
            plain["outage"] = to_tell[one.name]
        chambers.append(_record(one.name, plain))
    chambers.append(_record(SITE, [_alarm_to_plain(alarm) for alarm in standing(site_alarms)]))
    return lines, chambers


def adopt(
    old: SiteState, old_settings: SiteSettings, settings: SiteSettings, now: Moment
) -> SiteState:
    """Carry the state over to a site file that was read again.

    A line keeps its history and a chamber its target and profile; a probe or an output that is
    new starts as after a power cut.
    """
    lines: dict[str, History] = {}
    for one in old_settings.chambers:
        for output in one.outputs:
            lines[output.line] = old.chambers[one.name].histories[output.duty]
    chambers: dict[str, ChamberState] = {}
    for one in settings.chambers:
        histories = {o.duty: lines[o.line] for o in one.outputs if o.line in lines}
        fresh = first_state(one, now.mono_s, histories)
        before = old.chambers.get(one.name)
        if before is not None:
            fresh = _carried(fresh, before, one)
        chambers[one.name] = fresh
    return SiteState(chambers, old.waiting_since_mono_s)


def _untold(
    name: str, outage: Outage, beer_c: float | None, kept: Any, kept_boot_id: str | None
) -> Untold | None:
    try:
        return untold(outage, beer_c, kept, kept_boot_id)
    except (KeyError, TypeError, ValueError) as error:
        log.error("chamber %s: an earlier outage is left untold: %s", name, error)
        return untold(outage, beer_c)


def _record(name: str, plain: object) -> ChamberRecord:
    return ChamberRecord(name, _AS_JSON(plain))


def _alarm_to_plain(alarm: Alarm) -> list[object]:
    raised_utc_s = alarm.raised_wall_utc_s
    return [alarm.kind.value, alarm.subject, alarm.phase.value, raised_utc_s, alarm.value]


def _site_alarms(record: ChamberRecord | None, now: Moment) -> Alarms:
    """The board's alarms go on; whether what they are about still holds is seen anew."""
    if record is None:
        return ()
    try:
        return tuple(
            Alarm(
                AlarmKind(kind),
                str(subject),
                AlarmPhase(phase),
                holds=False,
                edge_mono_s=now.mono_s,
                raised_mono_s=now.mono_s,
                raised_wall_utc_s=raised_utc_s,
                value=value,
            )
            for kind, subject, phase, raised_utc_s, value in json.loads(record.state_json)
        )
    except (ValueError, TypeError) as error:
        log.error("the board's own alarms could not be taken over: %s", error)
        return ()


def _carried(fresh: ChamberState, before: ChamberState, settings: ChamberSettings) -> ChamberState:
    known = before.healths
    return replace(
        before,
        healths={p.name: known.get(p.name, fresh.healths[p.name]) for p in settings.probes},
        histories=fresh.histories,
        watches={},
        resting={d: rule for d, rule in before.resting.items() if d in fresh.histories},
        overrides={d: held for d, held in before.overrides.items() if d in fresh.histories},
    )


def _histories(
    settings: ChamberSettings, lines: Mapping[str, LineHistory], now: Moment, *, proven: bool
) -> dict[Duty, History]:
    histories = {}
    for output in settings.outputs:
        kept = lines.get(output.line)
        known = None if kept is None else _history(kept)
        histories[output.duty] = history_after_restart(
            known, output.protection, now.mono_s, proven=proven
        )
    return histories


def _history(kept: LineHistory) -> History:
    return History(
        on=kept.on,
        started_mono_s=kept.started_mono_s,
        stopped_mono_s=kept.stopped_mono_s,
        starts_mono_s=kept.starts_mono_s,
        rest_until_mono_s=kept.rest_until_mono_s,
    )


def _line_history(line: str, history: History) -> LineHistory:
    # A power-up delay outlives a clean restart as a rest: both say until when the line stays off.
    stays_off_until = [
        until_s
        for until_s in (history.rest_until_mono_s, history.unknown_until_mono_s)
        if until_s is not None
    ]
    return LineHistory(
        line=line,
        on=history.on,
        stopped_mono_s=history.stopped_mono_s,
        started_mono_s=history.started_mono_s,
        starts_mono_s=history.starts_mono_s,
        rest_until_mono_s=max(stays_off_until, default=None),
    )
