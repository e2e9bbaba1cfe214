"""What is due when: changes at once, the rest again in time, nothing of a loop that stands still.

The snapshots are those of the real loop on the simulated board. What the payloads look like is held
against the published schema in test_published.py.
"""

from __future__ import annotations

import itertools
import random
import tempfile
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest
from broker_rig import SITE

from fermd.broker.backoff import LONGEST_S, STEADY_S, Backoff
from fermd.broker.edition import Edition
from fermd.broker.payloads import Teller, utc
from fermd.broker.topics import STATE_AGAIN_S, Topics, reading_expiry_s
from fermd.config.site_file import parse_site
from fermd.hardware.simulated_clock import SimulatedClock
from fermd.journal.writer import SqliteJournal
from fermd.service.daemon import wiring
from fermd.service.loop import ControlLoop
from fermd.service.snapshot import Snapshot
from fermd.service.trial import trial_board

READINGS = {f"fermd/cellar/chamber/lager/reading/{probe}" for probe in ("vessel", "air", "room")}


@pytest.fixture(scope="module")
def ticks() -> Iterator[list[Snapshot]]:
    """The first minutes of a board, tick by tick."""
    with tempfile.TemporaryDirectory(prefix="fermd-") as place:
        text = SITE.replace("FOLDER", place).replace("NAME", "cellar").replace("PACE", "60")
        site = parse_site(text, Path(place) / "fermd.toml")
        assert site.simulated is not None
        clock = SimulatedClock()
        board = trial_board(site, site.simulated, clock)
        Path(place, "cellar").mkdir()
        journal = SqliteJournal(
            site.journal_path, boot_id=clock.boot_id(), moment=clock.now(), version="test"
        )
        loop = ControlLoop(site.settings, wiring(site), clock, board.probes, board.relays, journal)
        found = []
        with board.probes:
            for n in range(60):
                loop.tick()
                assert loop.snapshot is not None
                found.append(loop.snapshot)
                clock.wait_until(10.0 * (n + 1))
        journal.close(clock.now(), cleanly=True)
        yield found


def edition() -> Edition:
    return Edition(Topics("fermd", "cellar"), Teller("cellar", "Europe/Vienna"), 10.0)


def topics(published: Edition, snapshot: Snapshot, real_s: float = 0.0) -> set[str]:
    return {message.topic for message in published.due(snapshot, real_s)}


def test_the_first_look_publishes_everything_and_the_second_at_the_same_tick_nothing(
    ticks: list[Snapshot],
) -> None:
    published = edition()
    assert published.due(None, 0.0) == []
    assert len(topics(published, ticks[20])) == 4 + len(READINGS)
    # A loop that stands still: whatever the broker has of it has to run out.
    assert topics(published, ticks[20], 10 * STATE_AGAIN_S) == set()


def test_where_nothing_changes_only_readings_are_told(ticks: list[Snapshot]) -> None:
    published = edition()
    topics(published, ticks[20])
    assert topics(published, replace(ticks[20], tick=1000, moment=ticks[21].moment)) == READINGS


def test_state_is_told_again_before_it_runs_out(ticks: list[Snapshot]) -> None:
    published = edition()
    topics(published, ticks[20])
    later = replace(ticks[20], tick=1000)
    assert len(topics(published, later, STATE_AGAIN_S) - READINGS) == 4


def test_readings_keep_their_distance_whatever_the_pace_of_the_ticks(ticks: list[Snapshot]) -> None:
    slow = Edition(Topics("fermd", "cellar"), Teller("cellar", "Europe/Vienna"), 30.0)
    told = [snapshot.moment.mono_s for snapshot in ticks if topics(slow, snapshot) >= READINGS]
    assert {late - early for early, late in itertools.pairwise(told)} == {30.0}


def test_a_new_connection_is_told_everything(ticks: list[Snapshot]) -> None:
    published = edition()
    first = topics(published, ticks[20])
    published.anew()
    assert topics(published, ticks[20]) == first


def test_a_reading_outlasts_one_that_is_lost_and_not_three() -> None:
    assert reading_expiry_s(10.0, 10.0) == 30
    assert reading_expiry_s(10.0, 60.0) == 180
    assert reading_expiry_s(2.0, 2.0) == 30


def test_times_are_rfc_3339_in_utc_or_not_told() -> None:
    # RFC 3339, 5.8: the examples there have fractions of a second and Z.
    told = utc(482196050.52)
    assert told == "1985-04-12T23:20:50.520Z"
    assert datetime.fromisoformat(told).tzinfo == UTC
    assert utc(1e18) is None
    assert utc(float("nan")) is None


def test_tries_grow_rare_and_are_never_given_up_and_never_in_step() -> None:
    one, other = Backoff(random.Random(1)), Backoff(random.Random(2))
    waits = [one.next_s() for _ in range(200)]
    assert waits != [other.next_s() for _ in range(200)]
    assert all(0.5 * LONGEST_S <= wait_s <= LONGEST_S for wait_s in waits[8:])
    # In the first hour without a broker fewer than a hundred lines even if each were told.
    hour = next(n for n in range(200) if sum(waits[:n]) > 3600)
    assert hour < 100
    assert not one.lasted(STEADY_S - 1)
    assert one.next_s() > 1.0
    assert one.lasted(STEADY_S)
    assert one.next_s() <= 1.0
