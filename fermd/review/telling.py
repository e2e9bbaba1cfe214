"""The journal's rows in words, by the core's own wording."""

from __future__ import annotations

from dataclasses import dataclass

from fermd.control import wording
from fermd.control.events import CommandAnswered
from fermd.control.scales import rescaled
from fermd.control.wording import Unit
from fermd.journal.reader import EventRow
from fermd.journal.rows import (
    BrewerNote,
    ClockStepped,
    DaemonRun,
    Happening,
    Incident,
    MessageEnded,
    PresumedOff,
    ProfileKept,
)


@dataclass(frozen=True, slots=True)
class Told:
    """One thing that happened, for people and machines."""

    seq: int
    wall_utc_s: float
    wall_trusted: bool
    chamber: str
    kind: str
    words: str

    def plain(self) -> dict[str, object]:
        """Return it as plain values for JSON."""
        return {
            "seq": self.seq,
            "wall_utc_s": round(self.wall_utc_s, 3),
            "wall_trusted": self.wall_trusted,
            "chamber": self.chamber,
            "kind": self.kind,
            "words": self.words,
        }


def tell(row: EventRow, unit: Unit = Unit.CELSIUS) -> Told:
    """Put a row into words."""
    return Told(
        row.seq,
        row.moment.wall_utc_s,
        row.moment.wall_trusted or row.wall_mended,
        row.chamber,
        type(row.happening).__name__,
        words(row.happening, row.moment.mono_s, unit),
    )


def words(happening: Happening, mono_s: float, unit: Unit = Unit.CELSIUS) -> str:
    """Put a happening into words; `mono_s` is when it happened."""
    match happening:
        case BrewerNote():
            return _note(happening, unit)
        case ClockStepped():
            way = "forward" if happening.by_s > 0 else "back"
            return f"the wall clock was set {way} by {wording.span(abs(happening.by_s))}"
        case DaemonRun():
            how = {True: " cleanly", False: " after a fault", None: ""}[happening.cleanly]
            return f"fermd {happening.version} {happening.change}{how}"
        case Incident():
            lost = happening.lost_readings + happening.lost_events
            return f"journal: {happening.detail}" + (f" ({lost} rows are lost)" if lost else "")
        case ProfileKept():
            return f"profile {happening.profile} {happening.change} by {happening.who}"
        case MessageEnded():
            what = f"message {happening.number} to {happening.recipient}"
            if happening.failed:
                return f"{what} failed ({happening.failed}): {happening.title}"
            return f"{what} was accepted: {happening.title}"
        case CommandAnswered():
            # The record has what was asked in °C, whoever reads it.
            return rescaled(wording.event(happening, mono_s, unit), unit)
        case PresumedOff():
            seen = wording.event(happening.change, mono_s, unit)
            return f"{seen} (nobody saw when)"
        case _:
            return wording.event(happening, mono_s, unit)


def _note(note: BrewerNote, unit: Unit) -> str:
    if note.takes_back_seq is not None:
        return f"{note.who} took back the note: {note.text}"
    kind = "" if note.kind == "other" else f" ({note.kind.replace('-', ' ')})"
    if note.kind == "calibration":
        # It tells two offsets.
        told = rescaled(note.text, unit, differences=True)
        return f"{told}{f' by {note.who}' if note.who else ''}"
    return f"note by {note.who}{kind}: {note_words(note)}"


def note_words(note: BrewerNote) -> str:
    """What a note says, with what was measured before it."""
    return ": ".join(filter(None, (_value(note), note.text)))


def _value(note: BrewerNote) -> str:
    if note.value is None:
        return ""
    if note.kind == "gravity":
        # Nobody says "1.012" of °P: see fermd.planning.batch.
        return f"{note.value:.3f}" if 0.98 <= note.value < 1.2 else f"{note.value:.1f} °P"
    return f"{note.value:g} g" if note.kind == "dry-hop" else f"{note.value:g}"
