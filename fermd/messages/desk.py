"""Which alarms people have been told of, and what to tell them next. Pure: no clock, no file.

Theory of operation. For every alarm the desk remembers whether it stands and what people know of it
(`Told`). What is new is not told at once but gathered for a while; when the oldest has waited long
enough, everything that has something to say is told together. So ten alarms in a minute are one
message, and what was over before it was told is never told.

An alarm that was raised `FLAP_RAISES` times within `FLAP_WITHIN_S` comes and goes: that is told
once, and then no more of it until it has kept one state for `STEADY_S`. What can spoil a batch is
told again, with growing waits, until somebody acknowledges it. "All right again" is told of what
was told before, and of nothing else.

Times are on the monotonic clock of the present boot. After another boot `rebase` lets every wait
begin anew.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass, field, replace
from enum import StrEnum
from typing import Any, Final

from fermd.control.alarms import Alarm, AlarmKind
from fermd.control.events import AlarmPhase, Severity
from fermd.control.moment import Moment
from fermd.messages.item import About, AlarmKey, Instant, Item, instant, item_from
from fermd.messages.pace import STORM_WITHIN_S, Pace
from fermd.messages.urgency import Urgency, urgency_of

FLAP_RAISES: Final = 3
FLAP_WITHIN_S: Final = 3 * 3600.0
"""Raised so often within so long: it comes and goes. Longer than a fridge's cycle, which is what
mostly brings an alarm back (common practice, no source)."""
STEADY_S: Final = 3600.0
"""What came and went, and has then been one way for so long, has settled, s."""

MOST_NEWS: Final = 200
"""So much that is no alarm is gathered; more in one minute is noise."""


class Told(StrEnum):
    """What people know of an alarm. The values are stored: never rename one."""

    NOTHING = "nothing"
    STANDING = "standing"
    FLAPPING = "flapping"


@dataclass(frozen=True, slots=True)
class Watched:
    """One alarm, as people know it."""

    severity: Severity
    urgency: Urgency
    up: bool
    acknowledged: bool
    since: Instant
    """When it was first raised, of what is to be told."""
    changed: Instant
    """When it was raised or cleared last."""
    raised_mono_s: tuple[float, ...] = ()
    """When it was raised of late."""
    times: int = 1
    """How often it was raised since it was last all right for good."""
    told: Told = Told.NOTHING
    repeats: int = 0
    repeat_mono_s: float | None = None
    value: float | None = None


@dataclass(frozen=True, slots=True)
class Desk:
    """All that is remembered."""

    boot: str = ""
    watched: Mapping[AlarmKey, Watched] = field(default_factory=dict)
    news: tuple[Item, ...] = ()
    told_mono_s: tuple[float, ...] = ()
    """When something was told within the last hour; repeats do not count."""

    def to_plain(self) -> dict[str, Any]:
        """Return it as JSON can have it."""
        return {
            "boot": self.boot,
            "told_mono_s": list(self.told_mono_s),
            "watched": [[*key, asdict(one)] for key, one in self.watched.items()],
            "news": [item.to_plain() for item in self.news],
        }


def desk_from(plain: Mapping[str, Any]) -> Desk:
    """Read what `to_plain` gave.

    Raises KeyError, TypeError or ValueError if it is something else.
    """
    watched = {}
    for chamber, kind, subject, one in plain["watched"]:
        watched[chamber, AlarmKind(kind).value, subject] = Watched(
            **{
                **one,
                "severity": Severity(one["severity"]),
                "urgency": Urgency(one["urgency"]),
                "told": Told(one["told"]),
                "since": Instant(**one["since"]),
                "changed": Instant(**one["changed"]),
                "raised_mono_s": tuple(one["raised_mono_s"]),
            }
        )
    news = tuple(item_from(item) for item in plain["news"])
    return Desk(str(plain["boot"]), watched, news, tuple(map(float, plain["told_mono_s"])))


def rebase(desk: Desk, now: Moment, boot: str) -> Desk:
    """Carry a desk over to this boot, whose monotonic clock began anew."""
    if desk.boot == boot:
        return desk
    watched = {}
    for key, one in desk.watched.items():
        due = None if one.repeat_mono_s is None else now.mono_s
        here = replace(one.changed, mono_s=now.mono_s, boot=boot)
        raised = (now.mono_s,) * len(one.raised_mono_s)
        watched[key] = replace(one, changed=here, raised_mono_s=raised, repeat_mono_s=due)
    return replace(desk, boot=boot, watched=watched, told_mono_s=())


def observe(
    desk: Desk, alarms: Iterable[tuple[str, Alarm]], now: Moment, *, settled: bool = True
) -> Desk:
    """Take note of the alarms that stand, each with its chamber.

    Just after a start (not `settled`) an alarm that is not there yet may still come back: what is
    gone then does not count as over.
    """
    watched = dict(desk.watched)
    standing = {(chamber, a.kind.value, a.subject): a for chamber, a in alarms}
    for key, alarm in standing.items():
        watched[key] = _stands(watched.get(key), alarm, now, desk.boot)
    for key, one in desk.watched.items():
        if key in standing:
            continue
        if one.up and settled:
            watched[key] = replace(one, up=False, changed=instant(now, desk.boot))
        elif not one.up and _is_forgotten(one, now):
            del watched[key]
    return desk if watched == desk.watched else replace(desk, watched=watched)


def _stands(one: Watched | None, alarm: Alarm, now: Moment, boot: str) -> Watched:
    seen = alarm.phase is AlarmPhase.ACKNOWLEDGED
    here = instant(now, boot)
    if one is None or (not one.up and one.told is Told.NOTHING and _is_forgotten(one, now)):
        since = here
        if alarm.raised_mono_s is not None and 0 <= alarm.raised_mono_s <= now.mono_s:
            ago_s = now.mono_s - alarm.raised_mono_s
            since = Instant(alarm.raised_mono_s, boot, now.wall_utc_s - ago_s, now.wall_trusted)
        urgency = urgency_of(alarm.kind)
        raised = (now.mono_s,)
        return Watched(alarm.severity, urgency, True, seen, since, here, raised, value=alarm.value)
    if one.up:
        kept = seen or (one.acknowledged and one.told is Told.FLAPPING)
        return one if kept == one.acknowledged else replace(one, acknowledged=kept)
    late = tuple(at for at in one.raised_mono_s if now.mono_s - at < FLAP_WITHIN_S)
    fresh = one.told is Told.NOTHING
    return replace(
        one,
        up=True,
        acknowledged=seen or (one.acknowledged and one.told is Told.FLAPPING),
        since=here if fresh else one.since,
        changed=here,
        # The first of late stays: since then it has been coming and going.
        raised_mono_s=(*late[: FLAP_RAISES - 1], now.mono_s),
        times=one.times + 1,
        value=alarm.value,
    )


def _is_forgotten(one: Watched, now: Moment) -> bool:
    return one.told is Told.NOTHING and now.mono_s - one.changed.mono_s >= FLAP_WITHIN_S


def add_news(desk: Desk, items: Iterable[Item]) -> Desk:
    """Take note of what happened that is no alarm."""
    news = (*desk.news, *items)
    return desk if len(news) == len(desk.news) else replace(desk, news=news[-MOST_NEWS:])


def due(desk: Desk, now: Moment, pace: Pace) -> tuple[Desk, tuple[Item, ...]]:
    """Return what is to be told now, and the desk on which it has been told."""
    to_say = _all_to_say(desk, now, pace, early=False)
    if not _is_time(desk, to_say, now, pace):
        return desk, ()
    # What has waited half its time comes along, so that repeats do not come one by one.
    to_say = _all_to_say(desk, now, pace, early=True)
    watched = dict(desk.watched)
    items = list(desk.news)
    for key, about in to_say.items():
        one = watched[key]
        if about is About.FLAPPING:
            one = replace(one, since=_first_raised(one, now, desk.boot))
        items.append(_item(key, one, about))
        watched[key] = _after(one, about, now, pace)
    told = tuple(at for at in desk.told_mono_s if now.mono_s - at < STORM_WITHIN_S)
    if any(item.about is not About.STILL for item in items):
        told = (*told, now.mono_s)
    return replace(desk, watched=watched, news=(), told_mono_s=told), tuple(items)


def _is_time(desk: Desk, to_say: Mapping[AlarmKey, About], now: Moment, pace: Pace) -> bool:
    """Whether anything has been gathered for long enough; in a storm that is longer.

    Not for what is new and can spoil a batch.
    """
    # What was left over by another boot has waited, too.
    waits = [
        item.since.mono_s if item.since.boot == desk.boot else float("-inf") for item in desk.news
    ]
    for key, about in to_say.items():
        one = desk.watched[key]
        since_s = one.raised_mono_s[0] if about is About.FLAPPING else one.changed.mono_s
        new = about is About.RAISED and len(one.raised_mono_s) == 1
        urgent = new and one.urgency is Urgency.AT_ONCE
        if urgent and now.mono_s - since_s >= pace.gather_s:
            return True
        if about is About.STILL and one.repeat_mono_s is not None:
            # It has waited already, unless there is a storm.
            since_s = one.repeat_mono_s - pace.gather_s
        waits.append(since_s)
    lately = sum(now.mono_s - at < STORM_WITHIN_S for at in desk.told_mono_s)
    return bool(waits) and now.mono_s - min(waits) >= pace.gather_in_storm_s(lately)


def _all_to_say(desk: Desk, now: Moment, pace: Pace, *, early: bool) -> dict[AlarmKey, About]:
    found = {}
    for key, one in desk.watched.items():
        early_s = pace.wait_s(one.repeats) / 2 if early else 0.0
        found[key] = _what_to_say(one, now, early_s, STEADY_S / 2 if early else STEADY_S)
    return {key: about for key, about in found.items() if about is not None}


def _what_to_say(one: Watched, now: Moment, early_s: float, steady_s: float) -> About | None:
    if one.told is Told.FLAPPING:
        if not one.up and now.mono_s - one.changed.mono_s >= steady_s:
            return About.OVER
    elif _comes_and_goes(one, now):
        # Also if it is over at this moment: that is how it goes.
        return About.FLAPPING
    elif one.up and one.told is Told.NOTHING:
        # Who has acknowledged it knows of it.
        return None if one.acknowledged else About.RAISED
    elif not one.up and one.told is Told.STANDING:
        return About.OVER
    wants = one.up or one.told is Told.FLAPPING
    repeat = one.repeat_mono_s
    if wants and not one.acknowledged and repeat is not None and now.mono_s >= repeat - early_s:
        return About.STILL
    return None


def _comes_and_goes(one: Watched, now: Moment) -> bool:
    raised = [at for at in one.raised_mono_s if now.mono_s - at < FLAP_WITHIN_S]
    return len(raised) >= FLAP_RAISES and not one.acknowledged


def _first_raised(one: Watched, now: Moment, boot: str) -> Instant:
    mono_s = one.raised_mono_s[0]
    return Instant(mono_s, boot, now.wall_utc_s - (now.mono_s - mono_s), now.wall_trusted)


def _item(key: AlarmKey, one: Watched, about: About) -> Item:
    chamber, kind, subject = key
    count = one.times if about is About.FLAPPING or one.told is Told.FLAPPING else one.repeats + 1
    return Item(
        about,
        chamber,
        kind,
        subject,
        one.severity,
        one.urgency,
        one.since,
        until=one.changed if about is About.OVER else None,
        times=count,
        value=one.value,
        held=one.urgency is Urgency.DIGEST,
    )


def _after(one: Watched, about: About, now: Moment, pace: Pace) -> Watched:
    """Return an alarm after it has been told."""
    if about is About.OVER:
        quiet = replace(one, told=Told.NOTHING, repeats=0, repeat_mono_s=None)
        # What has settled begins anew; what is over for now may be back soon, and is counted on.
        settled = one.told is Told.FLAPPING
        return replace(quiet, times=0, raised_mono_s=()) if settled else quiet
    repeats = one.repeats + 1 if about is About.STILL else 0
    told = Told.FLAPPING if about is About.FLAPPING or one.told is Told.FLAPPING else Told.STANDING
    repeat = None
    if one.urgency is Urgency.AT_ONCE:
        repeat = now.mono_s + pace.wait_s(repeats)
    return replace(one, told=told, repeats=repeats, repeat_mono_s=repeat)
