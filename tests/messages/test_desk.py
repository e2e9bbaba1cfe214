"""What people are told of alarms, and what not: gathering, repeating, flapping, peace.

No standard says how often a person may be rung; the numbers are common practice without a source,
and each test says what a brewer would expect of them. Alarm storms and what to do against them
(grouping, first-up, time delays) are the matter of IEC 62682 and ISA-18.2, from memory.
"""

from __future__ import annotations

import itertools
import json
import random
from dataclasses import replace

import pytest
from desk_rig import BOOT, KINDS_BY_NAME, PACE, Table, at

from fermd.control.alarms import RULES, AlarmKind
from fermd.messages import desk as desks
from fermd.messages.desk import FLAP_WITHIN_S, STEADY_S, Desk, desk_from
from fermd.messages.item import About
from fermd.messages.pace import Pace
from fermd.messages.urgency import Urgency, urgency_of

LOST = AlarmKind.VESSEL_PROBE_LOST
LONG_RUN = AlarmKind.LONGEST_RUN


def abouts(told: list[tuple[object, ...]]) -> list[list[About]]:
    return [[item.about for item in items] for items in told]  # type: ignore[attr-defined]


def test_an_alarm_is_told_once_it_has_been_gathered_with_what_came_beside_it() -> None:
    table = Table()
    table.up(LOST, "vessel")
    assert table.wait(60) == []
    (told,) = table.wait(20)
    assert [(item.about, item.alarm, item.subject) for item in told] == [
        (About.RAISED, "vessel-probe-lost", "vessel")
    ]


def test_ten_alarms_in_a_minute_are_one_message() -> None:
    table = Table()
    for number in range(10):
        table.up(LOST, f"probe {number}")
        table.wait(5, step_s=5.0)
    (told,) = table.wait(120)
    assert len(told) == 10


def test_what_is_over_before_it_was_told_is_not_told() -> None:
    table = Table()
    table.up(LONG_RUN, "fridge")
    table.wait(30)
    table.down(LONG_RUN, "fridge")
    assert table.wait(6 * 3600) == []


def test_all_right_again_is_told_of_what_was_told_and_of_nothing_else() -> None:
    table = Table()
    table.up(LOST, "vessel")
    table.wait(120)
    table.up(LONG_RUN, "fridge")
    table.wait(20)
    table.down(LONG_RUN, "fridge")
    table.down(LOST, "vessel")
    (told,) = table.wait(3600)
    assert [(item.about, item.alarm) for item in told] == [(About.OVER, "vessel-probe-lost")]
    assert told[0].until is not None
    assert told[0].until.mono_s - told[0].since.mono_s == pytest.approx(140.0, abs=20.0)


def test_what_can_spoil_a_batch_is_told_again_after_growing_waits_until_acknowledged() -> None:
    table = Table()
    table.up(LOST, "vessel")
    table.wait(10 * 3600)
    times = [at_s for at_s, _ in table.told]
    waits = [later - earlier for earlier, later in itertools.pairwise(times)]
    assert waits == pytest.approx([900, 1800, 3600, 7200, 14400], abs=10.0)
    assert abouts([items for _, items in table.told])[1:] == [[About.STILL]] * 5
    table.seen(LOST, "vessel")
    assert table.wait(24 * 3600) == []


def test_repeats_of_several_alarms_come_in_one_message() -> None:
    table = Table()
    for number in range(6):
        table.up(LOST, f"probe {number}")
        table.wait(120)
    before = len(table.told)
    table.wait(3600)
    repeats = [items for _, items in table.told[before:]]
    assert len(repeats) <= 3
    assert len(repeats[-1]) == 6


def test_a_growth_of_one_is_a_fixed_interval() -> None:
    table = Table(pace=Pace(60.0, 600.0, 1.0, 14400.0))
    table.up(LOST, "vessel")
    table.wait(3600)
    times = [at_s for at_s, _ in table.told]
    assert [b - a for a, b in itertools.pairwise(times)] == pytest.approx([600] * 5, abs=10)


def test_a_wait_has_an_end_however_often_it_was_repeated() -> None:
    pace = Pace(60.0, 900.0, 10.0, 14400.0)
    assert pace.wait_s(10_000) == 14400.0
    assert Pace(60.0, 900.0, 1.0, 14400.0).wait_s(10_000) == 900.0


def test_what_cannot_spoil_a_batch_is_told_once() -> None:
    table = Table()
    table.up(LONG_RUN, "fridge")
    assert abouts(table.wait(48 * 3600)) == [[About.RAISED]]


def test_an_alarm_that_somebody_has_acknowledged_in_time_rings_nobody() -> None:
    table = Table()
    table.up(LOST, "vessel")
    table.wait(30)
    table.seen(LOST, "vessel")
    assert table.wait(3600) == []
    table.down(LOST, "vessel")
    assert table.wait(3600) == []


def test_an_alarm_that_comes_and_goes_is_one_message_that_says_so_and_one_when_it_has_settled() -> (
    None
):
    table = Table()
    for _ in range(40):
        table.up(LONG_RUN, "fridge")
        table.wait(120)
        table.down(LONG_RUN, "fridge")
        table.wait(120)
    told = [item for _, items in table.told for item in items]
    # The first time it came nobody could know.
    assert [item.about for item in told][:2] == [About.RAISED, About.OVER]
    assert [item.about for item in told].count(About.FLAPPING) == 1
    assert len(told) <= 6
    table.wait(STEADY_S + 120)
    last = table.told[-1][1][-1]
    assert (last.about, last.times) == (About.OVER, 40)
    assert table.wait(24 * 3600) == []


def test_what_comes_and_goes_and_can_spoil_a_batch_is_told_again_until_acknowledged() -> None:
    table = Table()
    for _ in range(30):
        table.up(LOST, "vessel")
        table.wait(120)
        table.down(LOST, "vessel")
        table.wait(120)
    told = [item.about for _, items in table.told for item in items]
    assert told.count(About.FLAPPING) == 1
    assert 1 <= told.count(About.STILL) <= 4
    table.seen(LOST, "vessel")
    assert table.wait(FLAP_WITHIN_S) == []


@pytest.mark.parametrize("seed", range(5))
def test_a_storm_of_a_thousand_changes_is_a_handful_of_messages(seed: int) -> None:
    chance, table = random.Random(seed), Table()
    kinds = [kind for kind in AlarmKind if urgency_of(kind) is not Urgency.DIGEST]
    keys = [(kind, f"{number}") for kind in kinds for number in range(3)]
    for _ in range(1000):
        kind, subject = chance.choice(keys)
        key = ("lager", kind.value, subject)
        if key in table.standing:
            table.down(kind, subject)
        else:
            table.up(kind, subject)
        table.wait(3, step_s=3.0)
    # Fifty minutes.
    assert len(table.told) <= 25
    told = [item for _, items in table.told for item in items]
    assert len(told) <= 8 * len(keys)
    table.standing.clear()
    table.wait(2 * FLAP_WITHIN_S)
    assert len(table.told) <= 30
    known = {item.key for item in told if item.about in (About.RAISED, About.FLAPPING)}
    over = {item.key for _, items in table.told for item in items if item.about is About.OVER}
    assert known == over
    assert table.wait(24 * 3600) == []


def test_what_flaps_faster_than_it_is_gathered_is_told_all_the_same() -> None:
    table = Table()
    for _ in range(60):
        table.up(LOST, "vessel")
        table.wait(5, step_s=5.0)
        table.down(LOST, "vessel")
        table.wait(5, step_s=5.0)
    assert abouts([items for _, items in table.told]) == [[About.FLAPPING]]
    assert table.told[0][0] - 1000.0 < 2 * PACE.gather_s


def test_in_a_storm_what_is_new_and_can_spoil_a_batch_still_comes_at_once() -> None:
    table = Table()
    for number in range(20):
        table.up(LONG_RUN, f"{number}")
        table.wait(60)
    before, began_s = len(table.told), table.now_s
    assert before < 12
    table.up(LOST, "vessel")
    table.wait(120)
    assert table.told[before][0] - began_s <= PACE.gather_s + 10.0


def test_a_clock_that_is_stepped_changes_no_wait() -> None:
    table = Table()
    table.up(LOST, "vessel")
    for number in range(400):
        alarms = [("lager", one) for one in table.standing.values()]
        now = at(table.now_s, off_s=(-1) ** number * 1e8)
        table.desk = desks.observe(table.desk, alarms, now)
        table.desk, items = desks.due(table.desk, now, PACE)
        if items:
            table.told.append((table.now_s, items))
        table.now_s += 10.0
    times = [at_s for at_s, _ in table.told]
    assert [b - a for a, b in itertools.pairwise(times)] == pytest.approx([900, 1800], abs=10.0)


def test_after_a_restart_nothing_is_told_twice_and_the_all_clear_still_comes() -> None:
    table = Table()
    table.up(LOST, "vessel")
    table.wait(120)
    table.desk = desk_from(json.loads(json.dumps(table.desk.to_plain())))
    assert table.wait(600) == []
    table.down(LOST, "vessel")
    assert abouts(table.wait(3600)) == [[About.OVER]]


def test_after_another_boot_waits_begin_anew_and_what_stands_is_repeated() -> None:
    table = Table()
    table.now_s = 900_000.0
    table.up(LOST, "vessel")
    table.wait(120)
    table.desk = desks.rebase(table.desk, at(50.0), "boot-2")
    table.now_s = 50.0
    assert abouts(table.wait(900)) == [[About.STILL]]
    table.down(LOST, "vessel")
    assert abouts(table.wait(3600)) == [[About.OVER]]


def test_just_after_a_start_what_is_not_there_yet_is_not_over() -> None:
    table = Table()
    table.up(LOST, "vessel")
    table.wait(120)
    unsettled = desks.observe(table.desk, [], at(table.now_s), settled=False)
    assert unsettled.watched == table.desk.watched


def test_what_is_long_gone_is_forgotten() -> None:
    table = Table()
    table.up(LONG_RUN, "fridge")
    table.wait(120)
    table.down(LONG_RUN, "fridge")
    table.wait(FLAP_WITHIN_S + 300)
    table.wait(10)
    assert replace(table.desk, told_mono_s=()) == Desk(BOOT)


@pytest.mark.parametrize("kind", RULES)
def test_every_alarm_has_its_urgency_and_a_critical_one_never_waits_for_the_morning(
    kind: AlarmKind,
) -> None:
    urgency = urgency_of(kind)
    if RULES[kind].severity == "critical":
        assert urgency is Urgency.AT_ONCE
    if RULES[kind].severity == "warning":
        assert urgency is not Urgency.DIGEST
    assert kind.value in KINDS_BY_NAME
