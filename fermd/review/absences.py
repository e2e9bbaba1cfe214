"""When nobody was in charge, and what the brewer wrote down."""

from __future__ import annotations

from dataclasses import dataclass

from fermd.control.events import GapSeen, OutageSeen
from fermd.journal.rows import BrewerNote
from fermd.review.course import Course
from fermd.review.telling import note_words


@dataclass(frozen=True, slots=True)
class Absence:
    """A span in which the daemon was away or did not run its loop."""

    start_s: float
    end_s: float
    kind: str
    """`power` (the board was started anew), `daemon` (the board went on), or `gap` (the loop stood
    still)."""
    lasted_s: float | None
    """None: it cannot be known."""
    cleanly: bool | None
    """Whether the daemon before had ended by its own stop; None for a gap."""
    beer_before_c: float | None
    beer_after_c: float | None


@dataclass(frozen=True, slots=True)
class Note:
    """What the brewer wrote down."""

    at_s: float
    """The time that it is about."""
    who: str
    words: str


def absences(course: Course) -> tuple[Absence, ...]:
    """List when nobody was in charge."""
    found: list[Absence] = []
    boot = max((one.boot for one in course.before), default=None)
    for one in course.happened:
        if isinstance(one.what, GapSeen):
            since_s = one.at_s - one.what.lasted_s
            found.append(Absence(since_s, one.at_s, "gap", one.what.lasted_s, None, None, None))
        elif isinstance(one.what, OutageSeen):
            # What tells of an outage comes some rows after the start of the board.
            kind = "daemon" if boot in (None, one.boot) else "power"
            found.append(_outage(one.at_s, one.what, kind))
        if boot is None or isinstance(one.what, OutageSeen):
            boot = one.boot
    return tuple(found)


def _outage(at_s: float, seen: OutageSeen, kind: str) -> Absence:
    return Absence(
        at_s if seen.lasted_s is None else at_s - seen.lasted_s,
        at_s,
        kind,
        seen.lasted_s,
        seen.cleanly,
        seen.beer_before_c,
        seen.beer_after_c,
    )


def notes(course: Course) -> tuple[Note, ...]:
    """List the brewer's notes but for those that were taken back, in the order of their times."""
    found = course.of(BrewerNote)
    back = {one.what.takes_back_seq for one in found if isinstance(one.what, BrewerNote)}
    told: list[Note] = []
    for one in found:
        note = one.what
        if not isinstance(note, BrewerNote) or note.takes_back_seq is not None or one.seq in back:
            continue
        about_s = one.at_s if note.about_utc_s is None else note.about_utc_s
        told.append(Note(about_s, note.who, note_words(note)))
    return tuple(sorted(told, key=lambda note: note.at_s))
