"""One chamber over a span, as the journal tells it: readings, runs, target and all that happened.

Everything comes from rows, on the time axis of the record (POSIX, s; see time_axis.py).
"""

from __future__ import annotations

import sqlite3
from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Sequence
from contextlib import closing, contextmanager
from dataclasses import dataclass, field
from pathlib import Path

from sqlite_utils import Database

from fermd.control.events import OutputChanged
from fermd.journal.readonly import connect_to_read
from fermd.journal.rows import Happening, PresumedOff, happening_of
from fermd.journal.schema import EVENT_TABLES, KNOWN_VERSION, version_of
from fermd.review.record import Run
from fermd.review.roles import Roles, read_roles
from fermd.review.series import Series, read_series
from fermd.review.target_track import Corner, read_target, target_at
from fermd.review.time_axis import TimeAxis


@dataclass(frozen=True, slots=True)
class Happened:
    """One thing that happened, and when."""

    at_s: float
    boot: int
    mono_s: float
    seq: int
    chamber: str
    """Empty for what befell the whole board."""
    what: Happening


@dataclass(frozen=True, slots=True)
class Course:
    """A chamber over a span."""

    chamber: str
    start_s: float
    end_s: float
    roles: Roles
    probes: dict[str, Series]
    runs: tuple[Run, ...]
    """Every run that touches the span, in order; those at its edges whole."""
    target: tuple[Corner, ...]
    happened: tuple[Happened, ...]
    """In the order of time."""
    before: tuple[Happened, ...] = field(default=())
    """The last of each kind before the span: what stood when it began."""

    @property
    def vessel(self) -> Series | None:
        """The readings of the vessel probe; None where there are none."""
        return self.probes.get(self.roles.vessel)

    @property
    def air(self) -> Series | None:
        """The readings of the air probe; None without one."""
        return None if self.roles.air is None else self.probes.get(self.roles.air)

    @property
    def lasted_s(self) -> float:
        """Length of the span, s."""
        return self.end_s - self.start_s

    def target_at(self, at_s: float) -> tuple[float, float] | None:
        """The target at a moment as (heat, cool), °C; None if there was none."""
        return target_at(self.target, at_s)

    def of(self, *kinds: type[Happening]) -> list[Happened]:
        """What happened of these kinds."""
        return [one for one in self.happened if isinstance(one.what, kinds)]

    def runs_of(self, duty: str) -> list[Run]:
        """The runs of the outputs with this duty."""
        return [run for run in self.runs if run.duty == duty]


class OnTime:
    """How long outputs of one duty were on, for any span of time."""

    def __init__(self, runs: Sequence[Run]) -> None:
        self._spans = sorted((run.start_s, run.end_s) for run in runs if run.end_s is not None)
        self._starts = [start_s for start_s, _ in self._spans]
        self._ends = [end_s for _, end_s in self._spans]

    def within_s(self, from_s: float, to_s: float) -> float:
        """How much of a span it was on, s."""
        first, last = bisect_right(self._ends, from_s), bisect_left(self._starts, to_s)
        return sum(
            min(end_s, to_s) - max(start_s, from_s) for start_s, end_s in self._spans[first:last]
        )

    def share(self, from_s: float, to_s: float) -> float:
        """The same as a share, 0 to 1."""
        return self.within_s(from_s, to_s) / max(1e-9, to_s - from_s)

    def is_on(self, at_s: float) -> bool:
        """Whether it was on at a moment."""
        place = bisect_right(self._starts, at_s) - 1
        return place >= 0 and at_s < self._ends[place]


class JournalNotForReview(Exception):  # noqa: N818 - reads as what it says
    """The journal cannot be reviewed; the text names the file, the cause and what to do."""


@contextmanager
def opened(path: Path) -> Iterator[Database]:
    """A journal opened for reading only. Raises JournalNotForReview, inside the block too."""
    try:
        with closing(connect_to_read(path)) as connection:
            if (version := version_of(connection)) != KNOWN_VERSION:
                raise JournalNotForReview(
                    f"{path}: has schema version {version}, and {KNOWN_VERSION} is needed; let "
                    "this version of the daemon open it once, or read it with its own version"
                )
            yield Database(connection, execute_plugins=False)
    except (sqlite3.Error, OSError) as error:
        first = (str(error).splitlines() or [repr(error)])[0]
        remedy = "see whether it is a journal of fermd, and its permissions"
        raise JournalNotForReview(f"{path}: cannot be read: {first}; {remedy}") from error


def read_course(
    db: Database,
    axis: TimeAxis,
    chamber: str,
    start_s: float,
    end_s: float,
    roles: Roles | None = None,
) -> Course:
    """Read a chamber over a span.

    Which probe is where is found in the journal unless `roles` says it.
    """
    probes = read_series(db, axis, chamber, start_s, end_s)
    happened = _read_happened(db, axis, chamber, start_s, end_s)
    inside = tuple(one for one in happened if start_s <= one.at_s <= end_s)
    before = {
        (type(one.what), getattr(one.what, "output", "") or getattr(one.what, "probe", "")): one
        for one in happened
        if one.at_s < start_s
    }
    runs = [
        run
        for run in _runs(happened, end_s)
        if run.start_s <= end_s and (run.end_s is None or run.end_s >= start_s)
    ]
    return Course(
        chamber,
        start_s,
        end_s,
        roles or read_roles(probes, happened),
        probes,
        tuple(runs),
        read_target(db, chamber, axis),
        inside,
        tuple(before.values()),
    )


LOOK_BACK_S = 2 * 86400.0
"""What stood at the start of a span is looked for so long before it, s: no run is longer. Of a
probe's trust, without end."""


_OURS = {
    # The board's alarms belong to no chamber; those about a line, to the one that switches it.
    "alarm_changes": "(chamber = :chamber OR chamber = '' AND subject IN "
    "(SELECT line FROM output_changes WHERE chamber = :chamber))"
}


def _read_happened(
    db: Database, axis: TimeAxis, chamber: str, start_s: float, end_s: float
) -> list[Happened]:
    found: list[Happened] = []
    spans = " OR ".join(
        f"(boot = {boot} AND mono_s BETWEEN {start_s - LOOK_BACK_S - offset_s!r} "
        f"AND {end_s - offset_s!r})"
        for boot, offset_s in axis.offset_s_by_boot.items()
    )
    for table in EVENT_TABLES:
        where = "1" if table == "trust_changes" else f"({spans})"
        of_board = "chamber" not in db.table(table).columns_dict
        for row in db.query(
            f"SELECT * FROM {table} WHERE {where}"  # noqa: S608 - constants and numbers
            + ("" if of_board else f" AND {_OURS.get(table, 'chamber = :chamber')}"),
            {"chamber": chamber},
        ):
            try:
                what = happening_of(table, row)
            except (ValueError, KeyError, TypeError) as error:
                raise sqlite3.DatabaseError(f"a row of {table} is damaged ({error})") from error
            found.append(
                Happened(
                    axis.at_s(row),
                    row["boot"],
                    row["mono_s"],
                    row["seq"],
                    row.get("chamber", ""),
                    what,
                )
            )
    found.sort(key=lambda one: (one.boot, one.seq))
    return found


def _runs(happened: Sequence[Happened], end_s: float) -> Iterator[Run]:
    """Pair each `on` with what follows it for the same output."""
    running: dict[str, tuple[float, OutputChanged]] = {}
    found: list[Run] = []
    for one in happened:
        change = one.what.change if isinstance(one.what, PresumedOff) else one.what
        if not isinstance(change, OutputChanged):
            continue
        begun = running.pop(change.output, None)
        if begun is not None:
            # Two starts with no stop between: rows were lost.
            found.append(_run(*begun, None if change.on else one.at_s))
        if change.on:
            running[change.output] = one.at_s, change
    found += [
        _run(at_s, change, max(at_s, end_s), is_over=False) for at_s, change in running.values()
    ]
    return iter(sorted(found, key=lambda run: run.start_s))


def _run(
    start_s: float, change: OutputChanged, end_s: float | None, *, is_over: bool = True
) -> Run:
    rule = change.reasons[0].rule.value if change.reasons else ""
    return Run(change.output, change.duty.value, start_s, end_s, rule, is_over)
