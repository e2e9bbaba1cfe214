"""Endpoints to step in by: commands and notes.

A command goes through the loop like any other, and protection has the last word.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Annotated, Any, Final, Literal, get_args

from annotated_types import Ge, Le
from pydantic import StringConstraints

from fermd.control.commands import Command
from fermd.control.scales import Unit, rescaled
from fermd.journal.reader import EventRow
from fermd.journal.rows import BrewerNote
from fermd.review.telling import words
from fermd.web import orders, shapes, undoing
from fermd.web.doors import Right
from fermd.web.endpoint import Call, Endpoint, Shape
from fermd.web.house import House, InUnit, no_chamber
from fermd.web.refusals import RefusedError, fault

LONGEST_NOTE_CHARS: Final = 4000
MOST_NOTES_LOOKED_AT: Final = 1000

NoteKind = Literal["gravity", "tasting", "dry-hop", "other"]

TAG: Final = "step in"


class Note(Shape):
    """Something for the record, in the brewer's own words or as a number."""

    text: Annotated[
        str, StringConstraints(strip_whitespace=True, max_length=LONGEST_NOTE_CHARS)
    ] = ""
    who: orders.Text = "unknown"
    """Who writes; over the network the session's name counts instead."""
    kind: NoteKind = "other"
    value: Annotated[float, Ge(-1e6), Le(1e6)] | None = None
    """A gravity (1.012, or °P), grams of hops, points for the taste."""
    at: orders.Text | None = None
    """The time that it is about, if not now: a local time such as "18:00", "2026-12-04 18:00", or
    seconds since 1970. A time of day or a weekday is the last that there was."""


class TakenNote(shapes.Taken):
    """A note that is on record."""


class TakenBack(shapes.Taken):
    """A note that was taken back."""

    text: str
    kind: str


def _is_gravity(value: float) -> bool:
    """Whether a number can be one: 0.98 to 1.2 are specific gravities, all others °P."""
    return -5.0 <= value <= 45.0


class SteppingIn:
    """The endpoints."""

    def __init__(self, house: House) -> None:
        self._house = house

    def endpoints(self) -> list[Endpoint]:
        """Return them, in the order of the description."""
        any_order = dict[str, Any]
        return [
            Endpoint(
                "POST", "/api/chambers/{chamber}/commands", self.command, Right.ACT, TAG,
                "Have a chamber take a command; answered once the loop has taken or refused it",
                shapes.Taken, InUnit, body=any_order, reads=dict, refusals=(404, 409, 503),
            ),
            Endpoint(
                "POST", "/api/site/commands", self.site_command, Right.ACT, TAG,
                "The same for the board: acknowledge an alarm of its own",
                shapes.Taken, InUnit, body=any_order, reads=dict, refusals=(409, 503),
            ),
            Endpoint(
                "POST", "/api/chambers/{chamber}/notes", self.note, Right.ACT, TAG,
                "Put a note on record: a gravity, a tasting, a dry hop or anything else",
                TakenNote, body=Note, refusals=(404, 503),
            ),
            Endpoint(
                "DELETE", "/api/chambers/{chamber}/notes/last", self.take_back_note, Right.ACT, TAG,
                "Take back the last note; the record keeps both",
                TakenBack, refusals=(404, 409, 503),
            ),
        ]  # fmt: skip

    async def command(self, call: Call) -> Mapping[str, Any]:
        """Have a chamber take a command."""
        command = orders.read(call.body, self._house.readers, call.caller.who)
        snapshot = self._house.site.snapshot()
        unit = call.query.unit
        if snapshot is None:
            return await self._order(call.chamber, command, unit)
        view = snapshot.chambers.get(call.chamber)
        if view is None:
            raise no_chamber(call.chamber, snapshot)
        taken = await self._order(call.chamber, command, unit)
        back = undoing.undo(command, view.decision, unit)
        return taken if back is None else {**taken, "undo": back}

    async def site_command(self, call: Call) -> Mapping[str, Any]:
        """Have the board take a command."""
        command = orders.read(call.body, self._house.readers, call.caller.who)
        return await self._order("", command, call.query.unit)

    async def _order(self, chamber: str, command: Command, unit: Unit) -> Mapping[str, Any]:
        asked = self._house.site.requests.ask(chamber, command)
        answer = await self._house.wait(asked.wait)
        if not answer.taken:
            raise RefusedError(409 if answer.from_loop else 503, rescaled(answer.why, unit))
        return {"taken": True}

    async def note(self, call: Call) -> Mapping[str, Any]:
        """Put a note on record."""
        note: Note = call.body
        if not note.text and note.value is None:
            raise RefusedError(
                422, f"text: must be 1 to {LONGEST_NOTE_CHARS} characters, or value a number"
            )
        if note.kind == "gravity" and (note.value is None or not _is_gravity(note.value)):
            why = "must be a specific gravity, 0.980 to 1.200, or degrees Plato, -5 to 45"
            raise RefusedError(422, f"value: {why}", [fault("value", note.value, why)])
        self._house.view(call)
        about_utc_s = None if note.at is None else self._about(note.at)
        who = call.who(note.who)
        written = BrewerNote(who, note.text, note.kind, note.value, about_utc_s)
        self._house.site.note(call.chamber, written)
        return {"taken": True}

    def _about(self, at: str) -> float:
        now_s = self._house.site.now().wall_utc_s
        if re.fullmatch(r"[0-9]{1,11}(\.[0-9]{1,9})?", at):
            found_s = float(at)
        else:
            try:
                found_s = self._house.readers.past(at)
            except ValueError as error:
                raise RefusedError(422, f"at = {at!r}: {error}") from error
        if found_s > now_s + 60.0:
            raise RefusedError(422, f"at = {at!r}: is in the future; a note is about what has been")
        return found_s

    async def take_back_note(self, call: Call) -> Mapping[str, Any]:
        """Take back a chamber's last note that has not been taken back."""
        self._house.view(call)
        last = await self._house.read(lambda: self._last_note(call.chamber))
        if last is None:
            raise RefusedError(409, "there is no note to take back")
        row, note = last
        taken_back = BrewerNote(
            call.who("local"), note.text, note.kind, note.value, note.about_utc_s, row.seq
        )
        self._house.site.note(call.chamber, taken_back)
        # So that who takes back two at once takes back two.
        await self._house.wait(self._house.site.written)
        told = words(note, row.moment.mono_s, Unit.CELSIUS)
        return {"taken": True, "text": told, "kind": note.kind}

    def _last_note(self, chamber: str) -> tuple[EventRow, BrewerNote] | None:
        self._house.site.written()
        rows = self._house.site.record.notes(chamber, MOST_NOTES_LOOKED_AT)
        gone = {note.takes_back_seq for _, note in rows if note.takes_back_seq is not None}
        standing = [
            (row, note)
            for row, note in rows
            if note.takes_back_seq is None
            and row.seq not in gone
            and note.kind in get_args(NoteKind)
        ]
        return standing[-1] if standing else None
