"""The words of a message: what, since when, what fermd does, what a person should do.

The names of alarms, readings and reasons are the core's own words (fermd.control.wording), advice
comes from the alarm's page. Times are the brewer's local time and how long ago.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final
from zoneinfo import ZoneInfo

from fermd.control import wording
from fermd.control.alarms import AlarmKind
from fermd.control.events import Severity
from fermd.control.moment import Moment
from fermd.control.wording import Unit
from fermd.messages.item import About, Instant, Item
from fermd.messages.pages import page
from fermd.service.snapshot import Snapshot

MOST_IN_FULL: Final = 6
"""So many items are told with advice; a message is read on a phone."""
MOST_TOLD: Final = 30
"""So many are told at all; the rest is counted."""
LONGEST_TITLE: Final = 120
LONGEST_TEXT: Final = 6000

_OVER: Final = (About.OVER, About.MISSED)
_RANK: Final = {severity: rank for rank, severity in enumerate(Severity)}


@dataclass(frozen=True, slots=True)
class Scene:
    """What the words depend on beside the items."""

    now: Moment
    boot: str
    zone: ZoneInfo
    unit: Unit = Unit.CELSIUS
    snapshot: Snapshot | None = None
    board: str = ""
    """What the board is called among others; empty: it is not said."""
    trial: bool = False
    """A simulated site: no beer is in danger."""


def title_of(items: Sequence[Item], scene: Scene) -> str:
    """The one line that a phone shows."""
    board = f"{scene.board}: " if scene.board else ""
    trial = "trial: " if scene.trial else ""
    return _cut(board + trial + _title(items), LONGEST_TITLE)


def severity_of(items: Sequence[Item]) -> Severity:
    """The worst severity of what still stands; a notice if all of it is over."""
    standing = [item.severity for item in items if item.about not in _OVER]
    return max(standing, key=_RANK.__getitem__, default=Severity.NOTICE)


def text_of(items: Sequence[Item], left_out: int, number: int, scene: Scene) -> str:
    """The message itself."""
    ordered = sorted(items, key=lambda item: (item.about in _OVER, -_RANK[item.severity]))
    parts = []
    for place, item in enumerate(ordered[:MOST_TOLD]):
        parts.append(_told(item, scene, in_full=place < MOST_IN_FULL))
    more = max(0, len(ordered) - MOST_TOLD) + left_out
    if more:
        parts.append(f"{more} more; `fermd log` has all of it.")
    parts += _beer(items, scene)
    if any(item.alarm and item.about not in _OVER for item in items):
        parts.append("To be told no more of it: fermd acknowledge, or the page.")
    parts.append(f"(fermd message {number})")
    return _cut("\n\n".join(parts), LONGEST_TEXT)


def name_of(item: Item) -> str:
    """Name what an item is about: the chamber and the alarm, or what happened."""
    where = item.chamber or "board"
    if not item.alarm:
        return f"{where}: {item.words}"
    words = wording.alarm(item.alarm, item.subject)
    if item.alarm == AlarmKind.OUTAGE.value and item.value is not None:
        words += f" for {wording.span(item.value)}"
    return f"{where}: {words}"


def _title(items: Sequence[Item]) -> str:
    standing = [item for item in items if item.about not in _OVER]
    if len(items) == 1:
        (item,) = items
        opening = {
            About.OVER: "all right again: ",
            About.MISSED: "over by now: ",
            About.STILL: f"{item.severity.value}, still: ",
            About.FLAPPING: f"{item.severity.value}, comes and goes: ",
            About.RAISED: f"{item.severity.value}: ",
            About.NEWS: "" if item.severity is Severity.NOTICE else f"{item.severity.value}: ",
        }[item.about]
        return opening + name_of(item)
    where = ", ".join(dict.fromkeys(item.chamber or "board" for item in items))
    if not standing:
        return f"all right again: {len(items)} alarms ({where})"
    alarms = sum(bool(item.alarm) for item in standing)
    told = []
    if alarms:
        told.append(f"{alarms} alarm" + ("s" if alarms > 1 else ""))
    if len(standing) > alarms:
        told.append(f"{len(standing) - alarms} other news")
    if len(items) > len(standing):
        told.append(f"{len(items) - len(standing)} over")
    return f"{severity_of(items).value}: {', '.join(told)} ({where})"


def _told(item: Item, scene: Scene, *, in_full: bool) -> str:
    lines = [name_of(item)]
    lines += [f"  {line}" for line in _times(item, scene)]
    if item.about in _OVER or not in_full:
        return "\n".join(lines)
    if item.alarm:
        advice = page(AlarmKind(item.alarm))
        if item.about is not About.STILL or item.times <= 2:
            lines.append(f"  What fermd does: {advice.fermd_does}")
        lines.append(f"  What to do: {advice.to_do}")
        lines.append(f"  More: fermd alarms --explain {item.alarm}")
    elif item.to_do:
        lines.append(f"  What to do: {item.to_do}")
    return "\n".join(lines)


def _times(item: Item, scene: Scene) -> list[str]:
    since = _at(item.since, scene)
    match item.about:
        case About.NEWS:
            return [since]
        case About.OVER | About.MISSED:
            until = "now" if item.until is None else _at(item.until, scene, ago=False)
            never = ", before you could be told" if item.about is About.MISSED else ""
            return [f"all right again: it lasted from {_at(item.since, scene, ago=False)} to "
                    f"{until}{_length(item)}{never}"]  # fmt: skip
        case About.FLAPPING:
            return [f"it comes and goes: {item.times} times since {since}; you will hear of it "
                    "again once it has settled"]  # fmt: skip
        case About.STILL:
            return [f"since {since}, not acknowledged yet, told before ({item.times}×)"]
    return [f"since {since}"]


def _length(item: Item) -> str:
    until = item.until
    if until is None:
        return ""
    if until.boot == item.since.boot:
        return f" ({wording.span(until.mono_s - item.since.mono_s)})"
    if until.wall_trusted and item.since.wall_trusted:
        return f" ({wording.span(until.wall_utc_s - item.since.wall_utc_s)})"
    return ""


def _at(when: Instant, scene: Scene, *, ago: bool = True) -> str:
    wall_utc_s, ago_s = when.wall_seen(scene.now, scene.boot), when.ago_s(scene.now, scene.boot)
    shown = "a time that is not known (the clock was not set)"
    if wall_utc_s is not None:
        try:
            there = datetime.fromtimestamp(wall_utc_s, scene.zone)
        except (OverflowError, ValueError, OSError):
            return shown
        shown = f"{_DAYS[there.weekday()]} {there:%Y-%m-%d %H:%M}"
    if not ago or ago_s is None:
        return shown
    return f"{shown} ({wording.span(ago_s)} ago)"


_DAYS: Final = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")


def _beer(items: Sequence[Item], scene: Scene) -> list[str]:
    """Say how the chambers that are told of stand at this moment, and what their outputs do."""
    if scene.snapshot is None:
        return []
    told = []
    for name in dict.fromkeys(item.chamber for item in items if item.chamber):
        view = scene.snapshot.chambers.get(name)
        if view is None:
            continue
        mono_s, decision = scene.snapshot.moment.mono_s, view.decision
        lines = [
            f"{name} now: beer {wording.reading(decision.vessel, mono_s, scene.unit)}, "
            f"target {wording.target(decision.target, scene.unit)}"
        ]
        lines += [f"  {wording.output(one, mono_s, scene.unit)}" for one in decision.outputs]
        told.append("\n".join(lines))
    return told


def _cut(text: str, longest: int) -> str:
    return text if len(text) <= longest else text[: longest - 1] + "…"
