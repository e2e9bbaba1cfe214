"""What waits for one recipient: merged as it comes, taken apart when it is refused."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest
from desk_rig import BOOT, NOON_UTC_S
from hypothesis import given
from hypothesis import strategies as st

from fermd.config.messages import RecipientSettings
from fermd.control.alarms import AlarmKind
from fermd.control.events import Severity
from fermd.messages import box as boxes
from fermd.messages.box import MOST_WAITING, Box, UnderWay, box_from
from fermd.messages.item import About, Instant, Item
from fermd.messages.urgency import Urgency


def item(
    about: About = About.RAISED,
    subject: str = "vessel",
    *,
    at_s: float = 1000.0,
    chamber: str = "lager",
    severity: Severity = Severity.CRITICAL,
    urgency: Urgency = Urgency.AT_ONCE,
    held: bool = False,
) -> Item:
    when = Instant(at_s, BOOT, NOON_UTC_S + at_s, wall_trusted=True)
    until = when if about is About.OVER else None
    kind = "" if about is About.NEWS else AlarmKind.VESSEL_PROBE_LOST.value
    return Item(
        about, chamber, kind, subject, severity, urgency, when, until, words="news", held=held
    )


def waiting(*items: Item) -> Box:
    return boxes.put(Box(), items)


def message(box: Box) -> UnderWay:
    return UnderWay(1, "title", "text", Severity.CRITICAL, NOON_UTC_S, box.waiting)


@pytest.mark.parametrize(
    ("earlier", "later", "told"),
    [
        (About.RAISED, About.OVER, About.MISSED),
        (About.RAISED, About.STILL, About.RAISED),
        (About.RAISED, About.FLAPPING, About.FLAPPING),
        (About.STILL, About.OVER, About.OVER),
        (About.OVER, About.RAISED, About.RAISED),
        (About.MISSED, About.RAISED, About.RAISED),
        (About.FLAPPING, About.OVER, About.OVER),
    ],
)
def test_of_one_alarm_only_the_newest_word_waits(earlier: About, later: About, told: About) -> None:
    (one,) = waiting(item(earlier), item(later, at_s=2000.0)).waiting
    assert one.about is told


def test_what_was_raised_and_is_over_keeps_when_it_began() -> None:
    (one,) = waiting(item(About.RAISED, at_s=1000.0), item(About.OVER, at_s=2000.0)).waiting
    assert one.until is not None
    assert (one.since.mono_s, one.until.mono_s) == (1000.0, 2000.0)


def test_news_are_never_merged() -> None:
    assert len(waiting(item(About.NEWS), item(About.NEWS)).waiting) == 2


def test_what_was_refused_is_merged_with_what_is_newer() -> None:
    box = waiting(item(), item(subject="air"))
    box = boxes.begin(box, message(box))
    assert box.waiting == ()
    box = boxes.put(box, [item(About.OVER, at_s=2000.0)])
    box = boxes.refused(box, "no network")
    assert [(one.subject, one.about) for one in box.waiting] == [
        ("vessel", About.MISSED),
        ("air", About.RAISED),
    ]
    assert (box.under_way, box.failed) == (None, "no network")


def test_what_may_have_arrived_stays_as_it_was() -> None:
    box = waiting(item())
    box = boxes.begin(box, message(box))
    box = boxes.put(box, [item(About.OVER, at_s=2000.0)])
    doubtful = boxes.in_doubt(box, "no end within 45 s")
    assert doubtful.under_way == replace(message(waiting(item())), doubtful=True)
    assert [one.about for one in doubtful.waiting] == [About.OVER]


def test_small_things_give_way_to_what_can_spoil_a_batch() -> None:
    small = [
        item(About.NEWS, urgency=Urgency.DIGEST, severity=Severity.NOTICE, held=True)
        for _ in range(MOST_WAITING)
    ]
    box = boxes.put(waiting(*small), [item(subject=f"{n}") for n in range(10)])
    assert (len(box.waiting), box.left_out) == (MOST_WAITING, 10)
    assert sum(one.urgency is Urgency.AT_ONCE for one in box.waiting) == 10


def test_each_recipient_has_its_severities_and_its_chambers() -> None:
    warning = item(severity=Severity.WARNING)
    assert boxes.is_for(warning, RecipientSettings())
    assert not boxes.is_for(warning, RecipientSettings(least=Severity.CRITICAL))
    assert not boxes.is_for(warning, RecipientSettings(chambers=("ale",)))
    assert boxes.is_for(warning, RecipientSettings(chambers=("ale", "lager")))
    # What concerns the board concerns everybody.
    assert boxes.is_for(item(chamber=""), RecipientSettings(chambers=("ale",)))


steps = st.lists(
    st.one_of(
        st.tuples(st.just("put"), st.sampled_from(list(About)), st.integers(0, 3)),
        st.tuples(st.sampled_from(["begin", "arrived", "refused", "doubt"])),
    ),
    max_size=60,
)


@given(steps)
def test_whatever_happens_the_newest_word_on_each_alarm_is_never_lost(
    deeds: list[tuple[object, ...]],
) -> None:
    box, newest, at_s = Box(), {}, 0.0
    for deed in deeds:
        at_s += 1.0
        match deed:
            case ("put", About() as about, int() as subject):
                if about is About.NEWS:
                    continue
                newest[str(subject)] = at_s
                box = boxes.put(box, [replace(item(about, str(subject)), value=at_s)])
            case ("begin",) if box.under_way is None and box.waiting:
                box = boxes.begin(box, message(box))
            case ("arrived",) if box.under_way is not None:
                for one in box.under_way.items:
                    if newest.get(one.subject) == one.value:
                        del newest[one.subject]
                box = boxes.arrived(box)
            case ("refused",):
                box = boxes.refused(box, "why")
            case ("doubt",):
                box = boxes.in_doubt(box, "why")
        box = box_from(json.loads(json.dumps(box.to_plain())))
        keys = [one.key for one in box.waiting]
        assert len(keys) == len(set(keys))
        under_way = () if box.under_way is None else box.under_way.items
        held = {one.subject: one.value for one in (*under_way, *box.waiting)}
        assert newest.items() <= held.items()
