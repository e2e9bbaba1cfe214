"""A broker that is not there, for hours of the batch: control is not disturbed, memory is bounded.

The boards here live 600 times faster than the clock on the wall, so that hours pass in seconds.
"""

from __future__ import annotations

import signal
import socket
import time
from threading import Event, Thread

import pytest
from broker_rig import Boards, Broker, Site, table, until

pytestmark = pytest.mark.debian("mosquitto", "mosquitto-clients")

PACE = 600.0
PERIOD_S = 10.0
HOUR_S = 3600.0


def lives_on(site: Site, for_s: float) -> tuple[float, float]:
    """Let a board live so long by its own clock; returns how long that was, and its ticks."""
    first = site.status()
    until(lambda: site.status()["up_s"] - first["up_s"] >= for_s)
    last = site.status()
    return last["up_s"] - first["up_s"], last["tick"] - first["tick"]


def test_a_broker_that_is_away_for_hours_costs_no_tick_and_no_memory(
    broker: Broker, boards: Boards
) -> None:
    broker.start()
    site = boards(pace=PACE)
    site.start()
    site.order("set-target", target_c=9.0)
    until(lambda: "fermd/cellar/chamber/lager/state" in broker.kept("fermd/#"))
    lives_on(site, HOUR_S)
    broker.stop(signal.SIGKILL)
    before_kb = site.resident_kb()
    lived_s, ticks = lives_on(site, 3 * HOUR_S)
    # Every sample period has its tick, but for those that orders add.
    assert ticks >= lived_s / PERIOD_S - 2
    # Kept in memory, three hours of readings and state would be 4,320 messages of some 300 bytes
    # and their objects: 4 MB and more. What is measured is the page cache's and allocator's noise.
    assert site.resident_kb() - before_kb < 2048
    (line,) = [one for one in site.told_of_broker() if "nothing is published" in one][-1:]
    assert "tried again and again" in line
    broker.start()
    until(lambda: "fermd/cellar/chamber/lager/state" in broker.kept("fermd/#"))


def test_what_happened_while_the_broker_was_away_is_told_when_it_is_back(
    broker: Broker, boards: Boards
) -> None:
    broker.start()
    site = boards(pace=PACE)
    site.start()
    until(lambda: "fermd/cellar/chamber/lager/state" in broker.kept("fermd/#"))
    broker.stop(signal.SIGKILL)
    until(lambda: any("nothing is published" in line for line in site.told_of_broker()))
    site.order("set-target", target_c=6.5)
    site.order("set-target", target_c=5.5)
    broker.start()
    with broker.listening("fermd/cellar/chamber/lager/event") as listener:
        until(lambda: any("5.5 °C" in one.told["words"] for one in listener.heard))
    words = [one.told["words"] for one in listener.heard if one.told["kind"] == "TargetChanged"]
    assert any("6.5 °C" in one for one in words)


NO_BROKER = [b"HTTP/1.1 400 Bad Request\r\n\r\n", b"\x20\xff\xff\xff", b"\x20\x7f", b""]
"""Another protocol, a length that MQTT 5.0, 1.5.5, does not have, half of a packet, silence."""


def test_something_that_is_no_broker_is_told_of_and_left_alone(boards: Boards) -> None:
    with socket.create_server(("127.0.0.1", 0)) as door:
        callers: list[socket.socket] = []

        def answer_all() -> None:
            while True:
                try:
                    callers.append(door.accept()[0])
                except OSError:
                    return
                callers[-1].sendall(NO_BROKER[min(len(callers), len(NO_BROKER)) - 1])
                if len(callers) < len(NO_BROKER):
                    callers[-1].shutdown(socket.SHUT_WR)

        Thread(target=answer_all, daemon=True).start()
        site = boards(more=table(door.getsockname()[1]), pace=PACE)
        site.start()
        first = site.status()
        until(lambda: len(callers) == len(NO_BROKER))
        last = site.status()
        lived_s, ticks = last["up_s"] - first["up_s"], last["tick"] - first["tick"]
        assert ticks >= lived_s / PERIOD_S - 2
        lines = [line.partition("again: ")[2] for line in site.told_of_broker()]
        assert 1 <= len(lines) == len(set(lines)) <= len(NO_BROKER)
        assert all("MQTT" in line or "broke off" in line for line in lines), lines
        assert "Traceback" not in site.log.read_text()
        # It waits for an answer just now, and its end does not.
        began_s = time.monotonic()
        assert site.end() == 0
        assert time.monotonic() - began_s < 4.0
        door.shutdown(socket.SHUT_RDWR)
        for caller in callers:
            caller.close()


def test_a_broker_that_stops_reading_holds_nothing_up(broker: Broker, boards: Boards) -> None:
    """A broker that hangs takes no more bytes, and its connection stays."""
    broker.start()
    site = boards(more=table(broker.port, "keepalive_s = 5\nreadings_every_s = 1\n"), pace=PACE)
    site.start()
    until(lambda: "fermd/cellar/chamber/lager/state" in broker.kept("fermd/#"))
    broker.pause()
    before_kb = site.resident_kb()
    lived_s, ticks = lives_on(site, HOUR_S)
    assert ticks >= lived_s / PERIOD_S - 2
    # Two keepalives without an answer, and the connection is given up.
    until(lambda: any("nothing is published" in line for line in site.told_of_broker()))
    assert site.resident_kb() - before_kb < 2048
    broker.go_on()
    Event().wait(0.1)
    until(lambda: broker.kept("fermd/#")["fermd/cellar/availability"].told["online"])
