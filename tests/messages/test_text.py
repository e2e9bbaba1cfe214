"""A message says what, since when, what fermd did and what to do, as a phone can show it."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

import pytest
from desk_rig import BOOT, NOON_UTC_S, ZONE, at, scene
from test_box import item

from fermd.control.alarms import AlarmKind
from fermd.control.events import Severity
from fermd.messages.item import About, Instant, Item
from fermd.messages.text import (
    LONGEST_TEXT,
    LONGEST_TITLE,
    MOST_TOLD,
    Scene,
    severity_of,
    text_of,
    title_of,
)
from fermd.messages.urgency import Urgency


def told(*items: Item, left_out: int = 0, where: Scene | None = None) -> tuple[str, str]:
    here = where or scene(4000.0)
    return title_of(items, here), text_of(items, left_out, 7, here)


def test_since_when_is_local_time_and_how_long_ago() -> None:
    _, text = told(item(at_s=1000.0))
    # Held against the standard library's own conversion.
    local = datetime.fromtimestamp(NOON_UTC_S + 1000.0, ZONE)
    assert f"since Sat {local:%Y-%m-%d %H:%M} (50 min ago)" in text


@pytest.mark.parametrize("off_s", [-1e8, -3600.0, 3600.0, 1e8])
def test_a_clock_that_was_stepped_since_moves_the_time_with_it(off_s: float) -> None:
    where = replace(scene(4000.0), now=at(4000.0, off_s=off_s))
    _, text = told(item(at_s=1000.0), where=where)
    local = datetime.fromtimestamp(NOON_UTC_S + 1000.0 + off_s, ZONE)
    assert f"{local:%Y-%m-%d %H:%M} (50 min ago)" in text


def test_what_began_in_another_boot_with_an_unset_clock_says_so() -> None:
    when = Instant(50.0, "boot-0", 0.0, wall_trusted=False)
    _, text = told(replace(item(), since=when))
    assert "since a time that is not known (the clock was not set)" in text


def test_ten_alarms_are_counted_in_the_title_and_told_in_the_text() -> None:
    items = [item(subject=f"probe {n}", chamber="lager" if n % 2 else "ale") for n in range(10)]
    title, text = told(*items)
    assert title == "critical: 10 alarms (ale, lager)"
    assert all(f": probe {n}\n" in text for n in range(10))
    assert text.count("What to do: ") == 6


def test_what_is_left_out_is_counted() -> None:
    items = [item(subject=f"probe {n}") for n in range(MOST_TOLD + 5)]
    _, text = told(*items, left_out=3)
    assert "8 more; `fermd log` has all of it." in text


def test_the_worst_comes_first_and_what_is_over_last() -> None:
    over = item(About.OVER, "air")
    small = item(subject="room", severity=Severity.WARNING, urgency=Urgency.BY_DAY)
    title, text = told(over, small, item())
    assert text.index("vessel") < text.index("room") < text.index("air")
    assert title == "critical: 2 alarms, 1 over (lager)"
    assert severity_of([over]) is Severity.NOTICE


def test_peace_asks_for_nothing() -> None:
    title, text = told(item(About.OVER))
    assert title.startswith("all right again: lager: the vessel probe")
    assert "What to do" not in text
    assert "acknowledge" not in text


@pytest.mark.parametrize("kind", AlarmKind)
@pytest.mark.parametrize("about", [About.RAISED, About.STILL, About.FLAPPING])
def test_every_alarm_says_what_to_do_in_few_words(kind: AlarmKind, about: About) -> None:
    one = replace(item(about), alarm=kind.value, times=2)
    title, text = told(one)
    assert "What to do: " in text
    assert f"fermd alarms --explain {kind.value}" in text
    assert "?" not in title
    assert len(text) < 1000


def test_nothing_is_longer_than_can_be_sent() -> None:
    items = [replace(item(subject="x" * 400), chamber="y" * 40 + str(n)) for n in range(40)]
    title, text = told(*items)
    assert len(title) <= LONGEST_TITLE
    assert len(text) <= LONGEST_TEXT


def test_a_boot_that_is_the_same_needs_no_clock_for_how_long_ago() -> None:
    when = Instant(1000.0, BOOT, 0.0, wall_trusted=False)
    where = replace(scene(4000.0), now=at(4000.0, trusted=False))
    _, text = told(replace(item(), since=when), where=where)
    assert "(50 min ago)" in text
