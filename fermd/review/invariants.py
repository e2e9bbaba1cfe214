"""Replays a journal and says where a promise of fermd was broken: from its rows alone.

It knows nothing of the core. What it is held against are the site's settings; what it reads are
the rows that any SQLite tool can read. Checked are:

- heat and cooling of one chamber are never on together, and the changeover delay lies between;
- no output starts before its minimum off time, its power-up delay and its rest, nor sooner after
  its last start than both times together, nor more often than its starts per hour; none stops
  before its minimum run time without a danger;
- without a trustworthy reading of the vessel, or of the air, nothing that needs it is on;
- no cooling with the beer below its freezing margin, no cooling or heating with the air beyond its
  limits, for longer than the readings take to be believed;
- no run is longer than the longest run, or goes on without an effect, and what is ended for that,
  and a lost probe, raise their alarm;
- every change of an output is a change, has a reason that can be one and a temperature that was
  read, and what was on at a stop was switched off;
- what hangs on one supply circuit never adds up to more than its limit.

Times are counted on one clock for the whole journal, on which the time between two boots is nought:
it is never more than what has passed, so a pause that is long enough there was long enough. After a
start that does not follow an orderly stop of the same boot the past counts as not known: as the
worst that could have been, stopped just then after as many starts as are allowed. Readings that
have been thinned away cannot be checked any more; everything else is kept for good.

While the loop hung nobody was in charge: what should have happened then is asked for after it.

The journal does not hold the site's settings. Who knows that they were changed, and when, says so
(`TakenOver`).
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sqlite_utils import Database

from fermd.control.settings import ChamberSettings, SiteSettings
from fermd.journal.readonly import connect_to_read
from fermd.review.alarm_replay import AlarmReplay
from fermd.review.circuit_replay import CircuitReplay
from fermd.review.output_replay import OutputReplay
from fermd.review.reading_replay import ReadingReplay
from fermd.review.unattended import GAPS, Unattended
from fermd.review.violation import Row, Violation

LONGEST_SAMPLE_PERIOD_S = 60.0
"""The longest that a site file may set: the most lenient for who does not know it."""


@dataclass(frozen=True, slots=True)
class TakenOver:
    """A site file that was read again: its settings were in force from then on."""

    boot_id: str
    """A boot that the journal has. Of one that wrote nothing the journal does not know when it was:
    whoever knows names the boot that came next."""
    mono_s: float
    """On the clock of that boot, s."""
    settings: SiteSettings


def violations(
    path: Path,
    settings: SiteSettings,
    sample_period_s: float = LONGEST_SAMPLE_PERIOD_S,
    taken_over: Sequence[TakenOver] = (),
) -> list[Violation]:
    """Return every broken promise in a journal, in the order of its rows.

    `settings` were in force at first; `taken_over` are those that followed, oldest first. An empty
    list is as it should be. Raises sqlite3.Error if the journal cannot be read, ValueError if it
    does not know a boot of `taken_over`.
    """
    found: list[Violation] = []
    with closing(connect_to_read(path)) as connection:
        db = Database(connection, execute_plugins=False)
        later = _by_boot(db, taken_over)
        for chamber in settings.chambers:
            rows = _rows(db, chamber.name)
            found.extend(_of_chamber(rows, chamber, sample_period_s, later))
        found.extend(_of_circuits(_rows(db, None), settings, later))
    return sorted(found, key=lambda broken: broken.seq)


_Later = list[tuple[int, float, SiteSettings]]
"""Settings with the boot and the moment (mono_s) from which on they were in force."""


def _by_boot(db: Database, taken_over: Sequence[TakenOver]) -> _Later:
    numbers = {row["boot_id"]: row["boot"] for row in db.query("SELECT boot, boot_id FROM boots")}
    unknown = [one.boot_id for one in taken_over if one.boot_id not in numbers]
    if unknown:
        named = ", ".join(unknown)
        raise ValueError(f"the journal has no row of boot {named}: name the next one that it has")
    return [(numbers[one.boot_id], one.mono_s, one.settings) for one in taken_over]


def _of_chamber(
    rows: Iterable[Row], chamber: ChamberSettings, sample_period_s: float, later: _Later
) -> Iterator[Violation]:
    unattended = Unattended()
    readings = ReadingReplay(chamber, sample_period_s)
    outputs = OutputReplay(chamber, readings, unattended, sample_period_s)
    alarms = AlarmReplay(chamber, unattended, sample_period_s)
    name, waiting = chamber.name, list(later)
    for row in rows:
        while waiting and (row["boot"], row["mono_s"]) >= waiting[0][:2]:
            new = {one.name: one for one in waiting.pop(0)[2].chambers}
            if name in new:
                readings.adopt(new[name])
                outputs.adopt(new[name], row["t_s"])
        yield from alarms.pass_time(row)
        yield from outputs.pass_time(row)
        match row["what"]:
            case "reading":
                readings.reading(row)
                yield from outputs.reading(row)
            case "trust":
                readings.trust(row)
                alarms.trust(row)
            case "output":
                yield from outputs.output(row)
                alarms.output(row)
            case "alarm":
                alarms.alarm(row)
            case "unattended":
                unattended.begins(row)
            case "incident":
                outputs.lose_track()
            case "daemon":
                yield from outputs.daemon(row)
                readings.daemon(row)
                alarms.daemon(row)


def _of_circuits(rows: Iterable[Row], settings: SiteSettings, later: _Later) -> Iterator[Violation]:
    circuits, waiting = CircuitReplay(settings), list(later)
    for row in rows:
        while waiting and (row["boot"], row["mono_s"]) >= waiting[0][:2]:
            circuits.adopt(waiting.pop(0)[2])
        if row["what"] == "output":
            yield from circuits.output(row)
        elif row["what"] == "daemon":
            circuits.daemon(row)


# The columns that a row has, by what it is; all others are NULL.
_COLUMNS: tuple[str, ...] = ("chamber", "duty", "output", "line", "is_on", "certainty")
_COLUMNS += ("reason_rule", "reason_value_c", "reason_limit_c", "probe", "temp_c", "trusted")
_COLUMNS += ("alarm", "subject", "phase", "change", "cleanly", "until_mono_s")

_OF_CHAMBER = "WHERE (:chamber IS NULL OR chamber = :chamber)"


def _select(what: str, table: str, columns: str, where: str = "") -> str:
    has = columns.split()
    shown = ", ".join(name if name in has else f"NULL AS {name}" for name in _COLUMNS)
    return f"SELECT boot, mono_s, seq, '{what}' AS what, {shown} FROM {table} {where}"  # noqa: S608 - constants


_OUTPUTS = (
    _select(
        "output",
        "output_changes",
        "duty output line is_on certainty reason_rule reason_value_c reason_limit_c chamber",
        _OF_CHAMBER,
    ),
    _select("daemon", "daemon_runs", "change cleanly"),
    _select("incident", "journal_incidents", "", "WHERE lost_events > 0"),
)
_THE_REST = (
    _select("trust", "trust_changes", "probe trusted chamber", _OF_CHAMBER),
    _select("alarm", "alarm_changes", "alarm subject phase chamber", _OF_CHAMBER),
    _select("unattended", f"({GAPS})", "until_mono_s chamber", _OF_CHAMBER),
)


_AS_IT_HAPPENED = " ORDER BY boot, mono_s, seq"


def _rows(db: Database, chamber: str | None) -> Iterator[Row]:
    """Everything that the checks need, as it happened; of all chambers, only what is switched.

    Readings are queued apart from events, so that their order is by the clock of their boot.
    """
    parts = _OUTPUTS if chamber is None else (*_OUTPUTS, *_THE_REST)
    query = " UNION ALL ".join(parts) + _AS_IT_HAPPENED
    rows: Iterator[dict[str, Any]] = db.query(query, {"chamber": chamber})
    if chamber is not None:
        rows = _merged(rows, _readings(db, chamber))
    boot: int | None = None
    t_s = offset_s = 0.0
    for row in rows:
        if row["boot"] != boot:
            boot, offset_s = row["boot"], t_s - row["mono_s"]
        t_s = row["t_s"] = row["mono_s"] + offset_s
        yield row


def _readings(db: Database, chamber: str) -> Iterator[dict[str, Any]]:
    """A chamber's readings by themselves: nine rows of ten, with a fifth of the columns."""
    named = "SELECT probe_key, probe FROM probes WHERE chamber = ?"
    probes = dict(db.execute(named, [chamber]).fetchall())
    for boot, mono_s, seq, key, temp_c in db.execute(
        "SELECT boot, mono_s, seq, probe_key, temp_c FROM readings "  # noqa: S608 - numbers
        f"WHERE probe_key IN ({', '.join(map(str, probes))}) {_AS_IT_HAPPENED}"
    ):
        yield {
            "boot": boot,
            "mono_s": mono_s,
            "seq": seq,
            "what": "reading",
            "probe": probes[key],
            "temp_c": temp_c,
            "certainty": None,
        }


def _merged(
    events: Iterator[dict[str, Any]], readings: Iterator[dict[str, Any]]
) -> Iterator[dict[str, Any]]:
    """Both as they happened, each of them being so by itself."""
    event = next(events, None)
    for reading in readings:
        while event is not None and (
            (event["boot"], event["mono_s"], event["seq"])
            < (reading["boot"], reading["mono_s"], reading["seq"])
        ):
            yield event
            event = next(events, None)
        yield reading
    if event is not None:
        yield event
    yield from events
