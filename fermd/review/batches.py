"""The batches of a journal: from the start of a profile to its end.

They are numbered from 1 in the order of their starts, all chambers together, so that a number means
the same batch for as long as the journal lives.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from enum import StrEnum

from sqlite_utils import Database

from fermd.control.events import ProfileChange
from fermd.journal.boot_ends import ends_by_boot
from fermd.journal.schema import READING_TABLES, ROLLUP_TABLES
from fermd.review.time_axis import TimeAxis


class HowEnded(StrEnum):
    """What a batch ended by."""

    FINISHED = "finished"
    STOPPED = "stopped"
    FOLLOWED = "followed"
    """The next profile was started in its place."""
    RUNNING = "running"
    """It has not ended; its `end_s` is the newest that the record has."""


@dataclass(frozen=True, slots=True)
class Batch:
    """One batch."""

    number: int
    """From 1, in the order of the starts."""
    chamber: str
    profile: str
    start_s: float
    """On the time axis of the record (POSIX, s); so is `end_s`."""
    end_s: float
    ended: HowEnded

    @property
    def is_running(self) -> bool:
        """Whether it has not ended yet."""
        return self.ended is HowEnded.RUNNING


_ENDS = {
    ProfileChange.STOPPED: HowEnded.STOPPED,
    ProfileChange.FINISHED: HowEnded.FINISHED,
}


def read_batches(db: Database, axis: TimeAxis) -> list[Batch]:
    """Read all batches of a journal, oldest first."""
    found: list[Batch] = []
    running: dict[str, int] = {}
    _, end_s = read_ends(db, axis)
    for row in db.query(
        "SELECT seq, boot, mono_s, chamber, profile, change FROM profile_changes ORDER BY seq"
    ):
        at_s, chamber, change = axis.at_s(row), row["chamber"], row["change"]
        if change == ProfileChange.STARTED:
            _end(found, running, chamber, at_s, HowEnded.FOLLOWED)
            running[chamber] = len(found)
            number = len(found) + 1
            until_s = max(at_s, end_s)
            found.append(Batch(number, chamber, row["profile"], at_s, until_s, HowEnded.RUNNING))
        elif change in _ENDS:
            _end(found, running, chamber, at_s, _ENDS[change])
    return found


def _end(
    found: list[Batch], running: dict[str, int], chamber: str, at_s: float, how: HowEnded
) -> None:
    place = running.pop(chamber, None)
    if place is not None:
        found[place] = replace(found[place], end_s=at_s, ended=how)


def read_ends(db: Database, axis: TimeAxis) -> tuple[float, float]:
    """Return the first and the last moment of which there is a reading (POSIX, s).

    Raises LookupError if there is none.
    """
    times_s = [axis.offset_s_by_boot[boot] + mono_s for boot, mono_s in _edges(db)]
    if not times_s:
        raise LookupError("the journal has no reading")
    return min(times_s), max(times_s)


def _edges(db: Database) -> Iterator[tuple[int, float]]:
    # By each table's own order, from both ends: nothing is counted through.
    for table in ROLLUP_TABLES:
        yield from ends_by_boot(db, table, "min").items()
        yield from ends_by_boot(db, table, "max").items()
    for order in ("ASC", "DESC"):
        for table in READING_TABLES:
            yield from db.execute(
                f"SELECT boot, mono_s FROM {table} ORDER BY seq {order} LIMIT 1"  # noqa: S608 - constants
            ).fetchall()


def read_chambers(db: Database) -> list[str]:
    """Return the chambers that the journal has readings of, in the order of their first."""
    rows = db.execute("SELECT chamber FROM probes GROUP BY chamber ORDER BY min(probe_key)")
    return [chamber for (chamber,) in rows.fetchall()]
