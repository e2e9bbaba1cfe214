"""The real process: relays and journal follow the beer, and nothing that ends it starts a fridge.

A process is killed, stopped, broken and stuck; what its relays did is seen from outside.
"""

from __future__ import annotations

import os
import signal
import sqlite3

import pytest
from daemon_on_mock_pins import PACE, PLANTED
from process_rig import (
    BELT_GPIO,
    FRIDGE_GPIO,
    LEASE_S,
    MINIMUM_OFF_S,
    PERIOD_S,
    Board,
    until,
)

from fermd.control.events import OutageSeen, OutputChanged
from fermd.control.reasons import Rule
from fermd.journal.rows import ClockStepped, DaemonRun, PresumedOff

PROFILE = """\
name = "Lager"

[[step]]
kind = "hold"
target_c = 18.0
for = "30 d"

[[step]]
kind = "final-hold"
target_c = 4.0
"""


def cooling(board: Board) -> Board:
    """A fridge that runs, because a profile wants the beer colder than it is."""
    board.plug_in(20.0)
    board.start_and_tick()
    board.order("start-profile", profile_toml=PROFILE)
    board.until_on(FRIDGE_GPIO)
    return board


def heating(board: Board) -> Board:
    board.plug_in(16.0)
    board.start_and_tick()
    board.order("set-target", target_c=18.0)
    board.until_on(BELT_GPIO)
    return board


def changes(board: Board, gpio: int) -> list[tuple[bool, Rule]]:
    line = f"gpio:pinctrl-bcm2711:{gpio}"
    told = [h for h in board.told(OutputChanged) if h.line == line]
    return [(h.on, h.reasons[0].rule) for h in told]


def test_relays_and_journal_follow_the_beer_from_a_probe_that_comes_late_to_an_orderly_stop(
    board: Board,
) -> None:
    board.start_and_tick()
    board.order("set-target", target_c=18.0)
    # No probe at all: the daemon is in charge, everything off, and somebody is called.
    lost = until(lambda: [a for a in board.lager()["alarms"] if a["alarm"] == "vessel-probe-lost"])
    assert lost[0]["subject"] == "vessel"
    assert not board.lager()["vessel"]["trusted"]
    assert not any(edge.on for edge in board.edges())
    # The first thing that each line saw was its off level.
    for gpio in (FRIDGE_GPIO, BELT_GPIO):
        assert board.switchings(gpio) == [False]

    board.plug_in(20.0)
    until(lambda: board.lager()["vessel"]["trusted"])
    board.until_on(FRIDGE_GPIO)
    board.warm_to(16.0)
    stopped = board.until_off(FRIDGE_GPIO)
    started = board.until_on(BELT_GPIO)
    assert started.mono_s - stopped.mono_s >= 60.0  # the changeover delay

    assert board.end(signal.SIGTERM) == os.EX_OK
    assert board.switchings(FRIDGE_GPIO) == [False, True, False]
    assert board.switchings(BELT_GPIO) == [False, True, False]
    assert changes(board, FRIDGE_GPIO) == [(True, Rule.ABOVE_BAND), (False, Rule.OPPOSITE_CALLED)]
    assert changes(board, BELT_GPIO) == [(True, Rule.BELOW_BAND), (False, Rule.STOPPING)]
    assert board.rows()[-1].happening == DaemonRun("stopped", "0.1.0", True)


def test_after_kill_9_in_the_middle_of_a_run_the_fridge_stays_off_for_its_minimum_off_time(
    board: Board,
) -> None:
    cooling(board)
    board.until_ticked()
    before = board.lager()["profile"]
    board.end(signal.SIGKILL)
    # Nothing of the process ran, and this board keeps its outputs: the relay is still on.
    assert board.is_on(FRIDGE_GPIO)

    # What the service manager runs after every end takes it off.
    released = board.start("release")
    assert released.wait(60) == os.EX_OK
    assert not board.is_on(FRIDGE_GPIO)
    off_s = board.edges(FRIDGE_GPIO)[-1].mono_s

    board.start_and_tick()
    assert not board.is_on(FRIDGE_GPIO)
    on_s = board.until_on(FRIDGE_GPIO).mono_s
    assert on_s - off_s >= MINIMUM_OFF_S

    after = board.lager()["profile"]
    assert (after["name"], after["step"]) == (before["name"], before["step"])
    # No step is repeated, and none gets a second that was not under control.
    ran_s = (on_s - off_s) + 3 * PERIOD_S
    assert after["elapsed_s"] <= before["elapsed_s"] + ran_s
    (outage,) = until(lambda: board.told(OutageSeen))
    assert not outage.cleanly
    assert outage.lasted_s > 0
    (presumed,) = board.told(PresumedOff)
    assert presumed.change.line.endswith(f":{FRIDGE_GPIO}")


def test_a_killed_daemon_that_nobody_released_is_off_before_the_next_one_does_anything(
    board: Board,
) -> None:
    heating(board)
    first = board.daemon.pid
    board.end(signal.SIGKILL)
    assert board.is_on(BELT_GPIO)
    # Not even a journal that somebody holds for writing keeps it from that.
    with sqlite3.connect(board.folder / "journal.db") as somebody:
        somebody.execute("BEGIN EXCLUSIVE")
        board.start()
        until(lambda: board.edges()[-1].pid != first)
        board.until_off(BELT_GPIO)
        board.until_on(BELT_GPIO)
        until(lambda: board.site_alarms().get("journal-not-writing") == "raised")
        somebody.rollback()
    somebody.close()
    for gpio in (BELT_GPIO, FRIDGE_GPIO):
        assert not next(edge for edge in board.edges(gpio) if edge.pid != first).on
    until(lambda: board.status()["journal"] is None)
    assert [on for on, _ in changes(board, BELT_GPIO)][-1]


def test_a_wall_clock_set_back_and_forward_leaves_protection_and_loop_unharmed(
    board: Board,
) -> None:
    cooling(board)
    offset_s = 0.0
    for by_s in (-3600.0, 1e8, -2e8):
        offset_s += by_s
        board.set_wall_by(offset_s)
        until(lambda by_s=by_s: any(abs(h.by_s - by_s) < 5.0 for h in board.told(ClockStepped)))
        board.until_ticked()
        assert board.is_on(FRIDGE_GPIO)
    assert board.switchings(FRIDGE_GPIO) == [False, True]
    board.warm_to(17.0)
    off_s = board.until_off(FRIDGE_GPIO).mono_s
    board.set_wall_by(offset_s + 1e6)
    board.warm_to(20.0)
    board.set_wall_by(offset_s - 1e6)
    assert board.until_on(FRIDGE_GPIO).mono_s - off_s >= MINIMUM_OFF_S
    # Neither a profile's clock nor the record's order came to harm.
    assert board.lager()["profile"]["step"] == 1
    assert [row.seq for row in board.rows()] == sorted(row.seq for row in board.rows())


@pytest.mark.parametrize("how", [signal.SIGTERM, signal.SIGINT])
def test_a_signal_to_end_leaves_every_relay_off_and_an_orderly_record(
    board: Board, how: signal.Signals
) -> None:
    heating(board)
    assert board.end(how) == os.EX_OK
    assert not board.is_on(BELT_GPIO)
    assert board.told(DaemonRun)[-1].cleanly
    assert any(heard.startswith("STOPPING=1") for heard in board.listener.heard)
    assert not (board.folder / "s").exists()


def test_an_exception_that_nobody_expects_ends_the_process_with_its_relays_off(
    board: Board,
) -> None:
    heating(board)
    board.plant("explode")
    assert board.daemon.wait(60) == os.EX_SOFTWARE
    assert not board.is_on(BELT_GPIO)
    assert changes(board, BELT_GPIO)[-1] == (False, Rule.STOPPING)
    assert board.told(DaemonRun)[-1].cleanly is False
    complaint = board.complaint()
    assert "fault of its own" in complaint
    assert PLANTED in complaint


def test_a_stuck_loop_starves_the_watchdog_while_the_lease_lets_the_relays_go(
    board: Board,
) -> None:
    cooling(board)
    hang = board.plant("hang")
    off = board.until_off(FRIDGE_GPIO)
    on_s = [edge for edge in board.edges(FRIDGE_GPIO) if edge.on][-1].mono_s
    # The lease's thread looks at the clock every real second.
    assert off.mono_s - on_s <= LEASE_S + 1.5 * PACE
    # The page still answers from its copy, and says how old that is.
    fed = board.listener.watchdogs()
    until(lambda: board.status()["age_s"] > 5 * PERIOD_S)
    assert board.listener.watchdogs() == fed

    hang.unlink()
    until(lambda: board.site_alarms().get("lease-expired") == "raised")
    until(lambda: changes(board, FRIDGE_GPIO)[-1] == (False, Rule.LEASE_EXPIRED))
    # It was told before it decided: the fridge is not started again at once.
    assert board.until_on(FRIDGE_GPIO).mono_s - off.mono_s >= MINIMUM_OFF_S
    assert board.listener.watchdogs() > fed
