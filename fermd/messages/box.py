"""What waits for one recipient. Pure: no clock, no file.

What waits is merged as it comes: of one alarm there is one item, the newest word on it. So a
recipient that could not be reached for an hour gets one message that says how things stand, and
not an hour's messages one by one.

A message is made of everything that may go now, and is under way until its end is known. One that
was refused is taken apart and its items wait again, merged with what is newer. One whose end nobody
knows (the process was killed, the time limit ran out) is sent again as it was, with the same
number, unless it has grown old.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass, replace
from typing import Any, Final

from fermd.config.messages import RecipientSettings
from fermd.control.events import Severity
from fermd.messages.item import About, Item, item_from
from fermd.messages.urgency import Urgency

MOST_WAITING: Final = 100
"""More than this waits for nobody; the oldest small things give way and are counted."""

_RANK: Final = {severity: rank for rank, severity in enumerate(Severity)}


@dataclass(frozen=True, slots=True)
class UnderWay:
    """A message that is being sent, or whose end nobody knows."""

    number: int
    """Counts messages up over all recipients, for ever: the same number is the same message."""
    title: str
    text: str
    severity: Severity
    made_wall_utc_s: float
    items: tuple[Item, ...]
    doubtful: bool = False
    """It may have arrived."""


@dataclass(frozen=True, slots=True)
class Box:
    """One recipient's."""

    waiting: tuple[Item, ...] = ()
    left_out: int = 0
    """Items that gave way."""
    under_way: UnderWay | None = None
    failed: str = ""
    """Why the last attempt failed; empty if it did not."""

    def to_plain(self) -> dict[str, Any]:
        """Return it as JSON can have it."""
        return asdict(self)


def box_from(plain: Mapping[str, Any]) -> Box:
    """Read what `to_plain` gave.

    Raises KeyError, TypeError or ValueError if it is something else.
    """
    way = plain["under_way"]
    under_way = None
    if way is not None:
        items = tuple(item_from(item) for item in way["items"])
        severity = Severity(way["severity"])
        under_way = UnderWay(**{**way, "items": items, "severity": severity})
    waiting = tuple(item_from(item) for item in plain["waiting"])
    return Box(waiting, int(plain["left_out"]), under_way, str(plain["failed"]))


def is_for(item: Item, recipient: RecipientSettings) -> bool:
    """Whether a recipient is told of this."""
    if _RANK[item.severity] < _RANK[recipient.least]:
        return False
    return not item.chamber or not recipient.chambers or item.chamber in recipient.chambers


def put(box: Box, items: Iterable[Item]) -> Box:
    """Let items wait, merged with what waits already."""
    waiting = list(box.waiting)
    for item in items:
        _merge(waiting, item)
    left_out = box.left_out
    while len(waiting) > MOST_WAITING:
        small = [item for item in waiting if item.urgency is not Urgency.AT_ONCE]
        waiting.remove((small or waiting)[0])
        left_out += 1
    return replace(box, waiting=tuple(waiting), left_out=left_out)


def _merge(waiting: list[Item], item: Item) -> None:
    earlier = next((one for one in waiting if item.key and one.key == item.key), None)
    if earlier is None:
        waiting.append(item)
        return
    place = waiting.index(earlier)
    untold = earlier.about in (About.RAISED, About.MISSED)
    if item.about is About.OVER and untold:
        waiting[place] = replace(item, about=About.MISSED, since=earlier.since)
    elif item.about is About.STILL and untold:
        # Nobody has been told yet that it is so: this is the first word of it.
        waiting[place] = replace(item, about=About.RAISED, since=earlier.since)
    else:
        waiting[place] = item


def release_digest(box: Box) -> Box:
    """Let go what waited for the digest."""
    if not any(item.held for item in box.waiting):
        return box
    waiting = tuple(replace(item, held=False) for item in box.waiting)
    return replace(box, waiting=waiting)


def may_go(item: Item, *, quiet: bool) -> bool:
    """Whether an item is told now; `quiet`: quiet hours hold."""
    return not item.held and (not quiet or item.urgency is Urgency.AT_ONCE)


def begin(box: Box, message: UnderWay) -> Box:
    """Take a message's items out of what waits: it is under way."""
    waiting = tuple(item for item in box.waiting if item not in message.items)
    return replace(box, waiting=waiting, left_out=0, under_way=message)


def arrived(box: Box) -> Box:
    """Take note that the message under way has been accepted."""
    return replace(box, under_way=None, failed="")


def refused(box: Box, why: str) -> Box:
    """Take the message under way apart: it has not been accepted."""
    if box.under_way is None:
        return box
    newer = box.waiting
    older = replace(box, waiting=box.under_way.items, under_way=None, failed=why)
    return put(older, newer)


def in_doubt(box: Box, why: str) -> Box:
    """Take note that nobody knows whether the message under way has arrived."""
    if box.under_way is None:
        return box
    return replace(box, under_way=replace(box.under_way, doubtful=True), failed=why)
