"""What happened, as rows of the journal and back: the one place that knows both forms.

An event goes in and comes out equal, but for numbers that JSON does not have: an infinite
number in a reason comes back as "not known".
"""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from fermd.control.events import (
    AlarmChanged,
    AlarmPhase,
    CommandAnswered,
    Event,
    GapSeen,
    OutageSeen,
    OutputChanged,
    ProfileChange,
    ProfileChanged,
    Severity,
    StepChange,
    StepChanged,
    TargetChanged,
    TrustChanged,
)
from fermd.control.reading import ProbeFault
from fermd.control.reasons import Reason, Rule
from fermd.control.settings import Duty


@dataclass(frozen=True, slots=True)
class BrewerNote:
    """What the brewer wrote down."""

    who: str
    text: str
    kind: str = "other"
    """`gravity`, `tasting`, `dry-hop` or `other`; `calibration` is written by fermd itself."""
    value: float | None = None
    """What was measured or added: a gravity as the brewer says it (1.012, or °P), grams of hops."""
    about_utc_s: float | None = None
    """The time that it is about, if that is not when it was written (POSIX, s)."""
    takes_back_seq: int | None = None
    """The `seq` of an earlier note that this one takes back: rows are only ever added."""


@dataclass(frozen=True, slots=True)
class ClockStepped:
    """The wall clock was stepped by so many seconds (positive is forward)."""

    by_s: float


@dataclass(frozen=True, slots=True)
class DaemonRun:
    """The daemon started, went on in a new journal (`continued`), or stopped."""

    change: str
    version: str
    cleanly: bool | None = None
    """For a stop: whether it was an orderly one."""


@dataclass(frozen=True, slots=True)
class Incident:
    """Something befell the journal itself."""

    incident: str
    """`not-writing`, `set-aside`, `log-cut-short`, `wall-mended`, `rows-refused`,
    `write-ahead-log-held`, `restored` or `repaired`."""
    detail: str
    lost_readings: int = 0
    lost_events: int = 0


@dataclass(frozen=True, slots=True)
class PresumedOff:
    """An output that the record shows as on was released when the daemon ended without a word.

    Nobody saw it; the moment is the last one that is known of that daemon.
    """

    change: OutputChanged


@dataclass(frozen=True, slots=True)
class ProfileKept:
    """Somebody saved, replaced or deleted a profile of the site's own."""

    profile: str
    """The name that it is kept under."""
    change: str
    """`saved`, `replaced` or `deleted`."""
    who: str


@dataclass(frozen=True, slots=True)
class MessageEnded:
    """A message to a person was accepted by the other side, or could not be sent."""

    recipient: str
    number: int
    """Counts messages up; the message itself has it too."""
    title: str
    failed: str = ""
    """Why it failed (it is tried again); empty if it was accepted."""


Happening = (
    Event
    | BrewerNote
    | ClockStepped
    | DaemonRun
    | Incident
    | PresumedOff
    | ProfileKept
    | MessageEnded
)
"""Everything that has a row of its own."""

_Columns = dict[str, Any]


def columns_of(happening: Happening, chamber: str) -> tuple[str, _Columns]:
    """The table that a happening belongs in and its columns there, without the moment's."""
    match happening:
        case OutputChanged():
            return "output_changes", {"chamber": chamber, **_output_columns(happening, "observed")}
        case PresumedOff():
            columns = _output_columns(happening.change, "presumed")
            return "output_changes", {"chamber": chamber, **columns}
        case ClockStepped():
            return "clock_steps", {"stepped_by_s": happening.by_s}
        case DaemonRun():
            cleanly = None if happening.cleanly is None else int(happening.cleanly)
            columns = {"change": happening.change, "cleanly": cleanly}
            return "daemon_runs", {**columns, "version": _text(happening.version)}
        case ProfileKept():
            columns = {"profile": _text(happening.profile), "change": happening.change}
            return "profile_file_changes", {**columns, "who": _text(happening.who)}
        case Incident():
            return "journal_incidents", {
                "incident": happening.incident,
                "detail": _text(happening.detail),
                "lost_readings": happening.lost_readings,
                "lost_events": happening.lost_events,
            }
        case MessageEnded():
            return "message_outcomes", {
                "recipient": _text(happening.recipient),
                "message_number": happening.number,
                "title": _text(happening.title),
                "failed": _text(happening.failed),
            }
        case _:
            table, columns = _of_chamber(happening)
            return table, {"chamber": _text(chamber), **columns}


def happening_of(table: str, row: Mapping[str, Any]) -> Happening:
    """The happening that a row of this table tells of.

    Raises ValueError, KeyError or TypeError if the row holds what no version of fermd has ever
    written: of a record that a fault of the disk has cut short, SQLite gives NULL for the rest.
    """
    # Of changes of outputs there are thousands, and what is missing of one shows in the making.
    if table != "output_changes" and None in row.values():
        for name, value in row.items():
            if value is None and not may_be_nothing(table, name):
                raise ValueError(f"{table}: a row has no {name}")
    return _FROM_ROW[table](row)


_MAY_BE_NOTHING = {
    *("temp_c", "fault", "cleanly", "heat_c", "cool_c", "value", "value_limit", "beer_before_c"),
    *("reason_rule", "reason_value_c", "reason_limit_c", "reason_until_mono_s", "reason_number"),
    *("beer_after_c", "about_wall_utc_s", "takes_back_seq", "minimum_c", "mean_c", "maximum_c"),
}
"""Columns that need not have a value, and `lasted_s` of outages."""


def may_be_nothing(table: str, column: str) -> bool:
    """Whether a column may be NULL."""
    return column in _MAY_BE_NOTHING or (table, column) == ("outages", "lasted_s")


def reasons_json(reasons: tuple[Reason, ...]) -> str:
    """All reasons as a JSON list of objects; what a reason does not have is left out."""
    return json.dumps([_reason_object(reason) for reason in reasons], separators=(",", ":"))


def _of_chamber(
    event: TargetChanged
    | StepChanged
    | ProfileChanged
    | AlarmChanged
    | TrustChanged
    | CommandAnswered
    | GapSeen
    | OutageSeen
    | BrewerNote,
) -> tuple[str, _Columns]:
    match event:
        case TargetChanged():
            columns: _Columns = {"heat_c": event.heat_c, "cool_c": event.cool_c}
            columns |= {"source": _text(event.source), "who": _text(event.who)}
            return "target_changes", columns
        case StepChanged():
            return "step_changes", {
                "profile": _text(event.profile),
                "step_index": event.index,
                "step_kind": _text(event.kind),
                "step_name": _text(event.name),
                "change": event.change.value,
                "elapsed_s": event.elapsed_s,
                "who": _text(event.who),
            }
        case ProfileChanged():
            columns = {"profile": _text(event.profile), "change": event.change.value}
            return "profile_changes", {**columns, "who": _text(event.who)}
        case AlarmChanged():
            return "alarm_changes", {
                "alarm": _text(event.alarm),
                "subject": _text(event.subject),
                "phase": event.phase.value,
                "severity": event.severity.value,
                "value": event.value,
                "value_limit": event.limit,
                "who": _text(event.who),
            }
        case TrustChanged():
            fault = None if event.fault is None else event.fault.value
            columns = {"probe": _text(event.probe), "trusted": int(event.trusted)}
            return "trust_changes", {**columns, "fault": fault, "temp_c": event.temp_c}
        case CommandAnswered():
            columns = {"command": _text(event.command), "who": _text(event.who)}
            columns |= {"taken": int(event.taken), "why": _text(event.why)}
            return "command_answers", columns
        case GapSeen():
            return "gaps", {"lasted_s": event.lasted_s}
        case OutageSeen():
            return "outages", {
                "lasted_s": event.lasted_s,
                "cleanly": int(event.cleanly),
                "beer_before_c": event.beer_before_c,
                "beer_after_c": event.beer_after_c,
                "counted_s": event.counted_s,
            }
        case BrewerNote():
            return "notes", {
                "who": _text(event.who),
                "note": _text(event.text),
                "kind": _text(event.kind),
                "value": event.value,
                "about_wall_utc_s": event.about_utc_s,
                "takes_back_seq": event.takes_back_seq,
            }


def _output_columns(event: OutputChanged, certainty: str) -> _Columns:
    first = event.reasons[0] if event.reasons else None
    return {
        "duty": event.duty.value,
        "output": _text(event.output),
        "line": _text(event.line),
        "is_on": int(event.on),
        "certainty": certainty,
        "reason_rule": first.rule.value if first else None,
        "reason_value_c": first.value_c if first else None,
        "reason_limit_c": first.limit_c if first else None,
        "reason_until_mono_s": first.until_mono_s if first else None,
        "reason_number": first.number if first else None,
        "reasons_json": reasons_json(event.reasons),
    }


def _reason_object(reason: Reason) -> dict[str, object]:
    numbers = {
        "value_c": reason.value_c,
        "limit_c": reason.limit_c,
        "until_mono_s": reason.until_mono_s,
        "number": reason.number,
    }
    known = {k: v for k, v in numbers.items() if v is not None and math.isfinite(v)}
    return {"rule": reason.rule.value, **known}


def _text(text: str) -> str:
    # A lone surrogate (a byte that was no UTF-8 on its way in) would make the row unwritable.
    return text.encode("utf-8", "replace").decode("utf-8")


_SCAN = json.JSONDecoder().raw_decode
_RULES = {rule.value: rule for rule in Rule}
_DUTIES = {duty.value: duty for duty in Duty}


def _output_from(row: Mapping[str, Any]) -> OutputChanged | PresumedOff:
    return output_change(*[row[name] for name in OUTPUT_COLUMNS])


OUTPUT_COLUMNS = ("duty", "output", "line", "is_on", "certainty", "reasons_json")
"""The columns of `output_changes` that a change is made from. The other ones say what stands first
in `reasons_json`, too."""


def output_change(
    duty: str, output: str, line: str, is_on: int, certainty: str, reasons: str
) -> OutputChanged | PresumedOff:
    """The change that a row of `output_changes` tells of; raises ValueError or KeyError.

    Without a mapping in between, and by tables: a batch has thousands of them.
    """
    found, end = _SCAN(reasons)
    if end != len(reasons):
        raise ValueError(reasons)
    made = tuple([Reason(_RULES[each.pop("rule")], **each) for each in found])
    change = OutputChanged(_DUTIES[duty], output, line, bool(is_on), made)
    return PresumedOff(change) if certainty == "presumed" else change


def _step_from(row: Mapping[str, Any]) -> StepChanged:
    return StepChanged(
        row["profile"],
        row["step_index"],
        row["step_kind"],
        row["step_name"],
        StepChange(row["change"]),
        row["elapsed_s"],
        row["who"],
    )


def _alarm_from(row: Mapping[str, Any]) -> AlarmChanged:
    return AlarmChanged(
        row["alarm"],
        row["subject"],
        AlarmPhase(row["phase"]),
        Severity(row["severity"]),
        row["value"],
        row["value_limit"],
        row["who"],
    )


def _trust_from(row: Mapping[str, Any]) -> TrustChanged:
    fault = None if row["fault"] is None else ProbeFault(row["fault"])
    return TrustChanged(row["probe"], bool(row["trusted"]), fault, row["temp_c"])


_FROM_ROW: dict[str, Callable[[Mapping[str, Any]], Happening]] = {
    "output_changes": _output_from,
    "target_changes": lambda row: TargetChanged(
        row["heat_c"], row["cool_c"], row["source"], row["who"]
    ),
    "step_changes": _step_from,
    "profile_changes": lambda row: ProfileChanged(
        row["profile"], ProfileChange(row["change"]), row["who"]
    ),
    "alarm_changes": _alarm_from,
    "trust_changes": _trust_from,
    "command_answers": lambda row: CommandAnswered(
        row["command"], row["who"], bool(row["taken"]), row["why"]
    ),
    "gaps": lambda row: GapSeen(row["lasted_s"]),
    "outages": lambda row: OutageSeen(
        row["lasted_s"],
        bool(row["cleanly"]),
        row["beer_before_c"],
        row["beer_after_c"],
        row["counted_s"],
    ),
    "notes": lambda row: BrewerNote(
        row["who"],
        row["note"],
        row["kind"],
        row["value"],
        row["about_wall_utc_s"],
        row["takes_back_seq"],
    ),
    "clock_steps": lambda row: ClockStepped(row["stepped_by_s"]),
    "daemon_runs": lambda row: DaemonRun(
        row["change"],
        row["version"],
        None if row["cleanly"] is None else bool(row["cleanly"]),
    ),
    "profile_file_changes": lambda row: ProfileKept(row["profile"], row["change"], row["who"]),
    "message_outcomes": lambda row: MessageEnded(
        row["recipient"], row["message_number"], row["title"], row["failed"]
    ),
    "journal_incidents": lambda row: Incident(
        row["incident"], row["detail"], row["lost_readings"], row["lost_events"]
    ),
}
