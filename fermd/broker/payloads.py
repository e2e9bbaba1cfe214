"""The JSON of each message, from the copy in memory. Its form is payloads.schema.json.

Every message says whose it is, at what time it was so (`at_utc`, RFC 3339), and whether the board's
clock is known to be set. Every number has its unit in its name; every reading its age and quality.
"""

from __future__ import annotations

import math
from datetime import UTC, datetime
from typing import Any

from fermd import __version__
from fermd.control import wording
from fermd.control.alarms import Alarm
from fermd.control.decision import Decision, OutputDecision
from fermd.control.moment import Moment
from fermd.control.reading import Reading, Trusted
from fermd.service.snapshot import ChamberView, Snapshot

Plain = dict[str, Any]


class Teller:
    """Tells of one board."""

    def __init__(self, site: str, time_zone: str) -> None:
        self.site = site
        self._time_zone = time_zone

    def online(self, now: Moment) -> Plain:
        """Tell that the board is there."""
        return {**self._head(now), "online": True, "why": "connected", "version": __version__}

    def offline(self, now: Moment) -> Plain:
        """Tell that the daemon has been stopped."""
        return {**self._head(now), "online": False, "why": "stopped", "version": __version__}

    def lost(self) -> Plain:
        """Tell what the broker tells in the board's place; it knows no time."""
        return {
            "site": self.site,
            "at_utc": None,
            "clock_is_set": False,
            "online": False,
            "why": "lost",
            "version": __version__,
        }

    def board(self, snapshot: Snapshot) -> Plain:
        """Tell how the board is."""
        trouble = snapshot.journal_trouble
        return {
            **self._head(snapshot.moment),
            "version": __version__,
            "time_zone": self._time_zone,
            "started_utc": _instant(snapshot.moment, snapshot.started.mono_s),
            "chambers": list(snapshot.chambers),
            "journal": None
            if trouble is None
            else {"trouble": trouble.kind, "detail": trouble.detail},
        }

    def chamber(self, name: str, view: ChamberView, snapshot: Snapshot) -> Plain:
        """Tell how a chamber is; temperatures that were measured are in its readings alone."""
        moment, decision = snapshot.moment, view.decision
        target = decision.target
        return {
            **self._head(moment, name),
            "mode": decision.mode.value,
            "mode_words": wording.mode(decision),
            "target": None
            if target is None
            else {"heat_c": round(target.heat_c, 2), "cool_c": round(target.cool_c, 2)},
            "target_words": wording.target(target),
            "call": decision.call.value,
            "outputs": [_output(one, moment) for one in decision.outputs],
            "profile": _profile(decision),
            "planned_start": None
            if decision.planned is None
            else {
                "profile": decision.planned.profile.name,
                "at_utc": utc(decision.planned.at_utc_s),
                "who": decision.planned.who,
            },
        }

    def alarms(self, chamber: str | None, standing: tuple[Alarm, ...], snapshot: Snapshot) -> Plain:
        """Tell the alarms that are not cleared."""
        moment = snapshot.moment
        return {
            **self._head(moment, chamber),
            "alarms": [_alarm(alarm, moment) for alarm in standing],
        }

    def reading(
        self, chamber: str, probe: str, role: str, seen: Reading, snapshot: Snapshot
    ) -> Plain:
        """Tell what a probe says; `temp_c` is there only if it can be trusted."""
        moment = snapshot.moment
        trusted = isinstance(seen, Trusted)
        taken_mono_s = seen.taken_mono_s if isinstance(seen, Trusted) else seen.last_taken_mono_s
        return {
            **self._head(moment, chamber),
            "probe": probe,
            "role": role,
            "trusted": trusted,
            "temp_c": round(seen.temp_c, 4) if isinstance(seen, Trusted) else None,
            "fault": None if isinstance(seen, Trusted) else seen.fault.value,
            "taken_utc": None if taken_mono_s is None else _instant(moment, taken_mono_s),
            "age_s": None if taken_mono_s is None else round(moment.mono_s - taken_mono_s, 1),
        }

    def event(self, row: Plain) -> Plain:
        """Tell what happened, from a row of the record in words."""
        return {
            "site": self.site,
            **({"chamber": row["chamber"]} if row["chamber"] else {}),
            "at_utc": utc(row["wall_utc_s"]),
            "clock_is_set": row["wall_trusted"],
            "seq": row["seq"],
            "kind": row["kind"],
            "words": row["words"],
        }

    def _head(self, moment: Moment, chamber: str | None = None) -> Plain:
        head: Plain = {"site": self.site}
        if chamber is not None:
            head["chamber"] = chamber
        return {**head, "at_utc": utc(moment.wall_utc_s), "clock_is_set": moment.wall_trusted}


def utc(wall_utc_s: float) -> str | None:
    """Return an instant by RFC 3339; None for one that no calendar has."""
    try:
        told = datetime.fromtimestamp(wall_utc_s, UTC)
    except (ValueError, OverflowError, OSError):
        return None
    return told.isoformat(timespec="milliseconds").replace("+00:00", "Z")


def _instant(moment: Moment, mono_s: float) -> str | None:
    """Return the wall time of an instant on the boot clock."""
    return utc(moment.wall_utc_s - (moment.mono_s - mono_s))


def _output(output: OutputDecision, moment: Moment) -> Plain:
    since_mono_s = output.since_mono_s
    return {
        "output": output.name,
        "duty": output.duty.value,
        "on": output.on,
        "wanted": output.wanted,
        "since_utc": None if since_mono_s is None else _instant(moment, since_mono_s),
        "rules": [reason.rule.value for reason in output.reasons],
        "words": wording.output(output, moment.mono_s),
    }


def _profile(decision: Decision) -> Plain | None:
    shown = decision.outlook
    if shown is None:
        return None
    return {
        "profile": shown.profile,
        "step": shown.index + 1,
        "steps": shown.steps,
        "kind": shown.kind,
        "step_name": shown.name,
        "elapsed_s": round(shown.elapsed_s),
        "remaining_s": None if shown.remaining_s is None else round(shown.remaining_s),
        "prompt": shown.prompt,
    }


def _alarm(alarm: Alarm, moment: Moment) -> Plain:
    raised_mono_s = alarm.raised_mono_s
    return {
        "alarm": alarm.kind.value,
        "subject": alarm.subject,
        "severity": alarm.severity.value,
        "phase": alarm.phase.value,
        "holds": alarm.holds,
        "raised_utc": None if raised_mono_s is None else _instant(moment, raised_mono_s),
        "value": _number(alarm.value),
        "limit": _number(alarm.limit),
        "words": wording.standing_alarm(alarm, moment.mono_s),
    }


def _number(value: float | None) -> float | None:
    """Return a number as JSON can have it."""
    return None if value is None or not math.isfinite(value) else value
