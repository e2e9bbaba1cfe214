"""The real process and those around it: service manager, second daemon, site file, full disk."""

from __future__ import annotations

import json
import os
import resource
import signal
import socket
import stat

import httpx
from process_rig import BELT_GPIO, FRIDGE_GPIO, SITE, Board, until

from fermd.control.events import OutputChanged
from fermd.journal.rows import Incident

WIDER = SITE + "\n[chamber.lager.heat]\nband_c = 3.0\n"


def test_the_service_manager_hears_ready_after_the_first_tick_and_is_fed_by_every_tick(
    board: Board,
) -> None:
    board.plug_in(18.0)
    board.start_and_tick()
    heard = board.listener.heard
    until(lambda: heard)
    assert heard[0].startswith("READY=1\nSTATUS=lager: ")
    until(lambda: board.listener.watchdogs() >= 3)
    ticks = board.tick()
    # Nothing but ticks feeds it: never more than there were.
    assert board.listener.watchdogs() <= board.tick()
    until(lambda: board.listener.watchdogs() >= ticks)
    assert "18.00 °C" in heard[-1]


def test_a_second_daemon_and_a_release_refuse_while_the_first_is_in_charge_and_say_who_is(
    board: Board,
) -> None:
    board.plug_in(16.0)
    first = board.start_and_tick()
    board.order("set-target", target_c=18.0)
    board.until_on(BELT_GPIO)
    for what in ("run", "release"):
        second = board.start(what)
        assert second.wait(60) == os.EX_TEMPFAIL
        complaint = board.complaint()
        assert f"process {first.pid}" in complaint
        assert "Traceback" not in complaint
    assert {edge.pid for edge in board.edges()} == {first.pid}
    assert board.is_on(BELT_GPIO)
    board.until_ticked()


def test_the_site_file_is_read_again_at_sighup_and_a_bad_one_changes_nothing(board: Board) -> None:
    board.plug_in(16.0)
    board.start_and_tick()
    board.order("set-target", target_c=18.0)
    board.until_on(BELT_GPIO)

    def told(words: str) -> bool:
        return any(words in heard for heard in board.listener.heard)

    for bad in (
        "time_zone = [",
        WIDER.replace("band_c", "bnad_c"),
        WIDER.replace('active = "low"', 'active = "high"'),
    ):
        board.listener.heard.clear()
        board.write_site(bad)
        board.daemon.send_signal(signal.SIGHUP)
        until(lambda: told("RELOADING=1"))
        until(lambda: told("READY=1"))
        board.until_ticked()
        assert board.is_on(BELT_GPIO)
        assert not told("was read again")

    board.listener.heard.clear()
    board.write_site(WIDER)
    board.daemon.send_signal(signal.SIGHUP)
    until(lambda: told("the site file was read again"))
    # The beer is 2 °C too cold, which is now within the band; the call goes on to its end, though.
    board.warm_to(18.0)
    board.until_off(BELT_GPIO)
    board.warm_to(16.0)
    until(lambda: board.lager()["vessel"]["temp_c"] == 16.0)
    assert not board.is_on(BELT_GPIO)
    board.warm_to(14.5)
    board.until_on(BELT_GPIO)


def test_a_daemon_killed_by_the_watchdog_leaves_a_socket_that_the_next_one_takes_over(
    board: Board,
) -> None:
    board.plug_in(18.0)
    board.start_and_tick()
    place = board.folder / "s"
    assert stat.S_IMODE(place.stat().st_mode) == 0o660
    board.end(signal.SIGABRT)
    assert place.exists()
    board.start_and_tick()
    assert stat.S_IMODE(place.stat().st_mode) == 0o660


def test_a_path_that_somebody_else_listens_on_is_left_to_him_and_the_relays_stay_off(
    board: Board,
) -> None:
    with socket.socket(socket.AF_UNIX) as somebody:
        somebody.bind(str(board.folder / "s"))
        somebody.listen()
        daemon = board.start()
        assert daemon.wait(60) == os.EX_UNAVAILABLE
        assert "another process listens there" in board.complaint()
        assert not any(edge.on for edge in board.edges())
    assert (board.folder / "s").exists()


def test_on_a_full_disk_control_goes_on_and_the_journal_catches_up_when_there_is_room(
    board: Board,
) -> None:
    board.plug_in(18.0)
    daemon = board.start_and_tick()
    board.order("set-target", target_c=18.0)
    _, hard = resource.prlimit(daemon.pid, resource.RLIMIT_FSIZE)
    # As a disk does when it is full, writing fails beyond what the journal has already.
    resource.prlimit(daemon.pid, resource.RLIMIT_FSIZE, (8192, hard))
    board.warm_to(16.0)
    board.until_on(BELT_GPIO)
    until(lambda: board.site_alarms().get("journal-not-writing") == "raised")
    assert board.status()["journal"]["kind"] == "not-writing"
    board.warm_to(18.0)
    board.until_off(BELT_GPIO)
    resource.prlimit(daemon.pid, resource.RLIMIT_FSIZE, (hard, hard))
    until(lambda: board.status()["journal"] is None)
    switched = [h.on for h in board.told(OutputChanged) if h.output == "belt"]
    assert switched == board.switchings(BELT_GPIO)[1:]
    assert "not-writing" in [h.incident for h in board.told(Incident)]


def test_a_journal_that_is_no_journal_is_kept_and_a_new_one_is_begun(board: Board) -> None:
    garbage = os.urandom(50_000)
    (board.folder / "journal.db").write_bytes(garbage)
    board.plug_in(20.0)
    board.start_and_tick()
    board.order("set-target", target_c=18.0)
    board.until_on(FRIDGE_GPIO)
    (kept,) = board.folder.glob("journal.db.set-aside-*")
    assert kept.read_bytes() == garbage
    assert board.site_alarms()["journal-set-aside"] == "raised"
    until(lambda: [h for h in board.told(OutputChanged) if h.output == "fridge"])


def test_a_command_for_a_stuck_loop_is_told_to_be_in_vain_and_is_not_carried_out_later(
    board: Board,
) -> None:
    board.plug_in(18.0)
    board.start_and_tick()
    board.plant("hang")
    answer = board.ask(
        "POST", "/api/chambers/lager/commands", {"command": "set-target", "target_c": 4.0}
    )
    assert answer.status_code == httpx.codes.SERVICE_UNAVAILABLE
    why = json.loads(answer.text)["why"]
    assert "the control loop did not answer within 5 s; the command is dropped" in why
    (board.folder / "hang").unlink()
    board.until_ticked(2)
    assert board.lager()["target"] is None
