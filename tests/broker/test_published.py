"""What a broker is told by a daemon, and what whoever comes late finds there.

The broker and the listener are Debian's mosquitto and mosquitto_sub; the form of each message is
held against fermd/broker/payloads.schema.json by jsonschema.
"""

from __future__ import annotations

import signal
from datetime import UTC, datetime
from typing import Any

import pytest
from broker_rig import Boards, Broker, until

pytestmark = pytest.mark.debian("mosquitto", "mosquitto-clients")

TOPICS = {
    "fermd/cellar/availability",
    "fermd/cellar/state",
    "fermd/cellar/alarms",
    "fermd/cellar/chamber/lager/state",
    "fermd/cellar/chamber/lager/alarms",
    "fermd/cellar/chamber/lager/reading/vessel",
    "fermd/cellar/chamber/lager/reading/air",
    "fermd/cellar/chamber/lager/reading/room",
}


def test_who_comes_late_finds_every_state_and_the_newest_readings(
    broker: Broker, boards: Boards
) -> None:
    broker.start()
    site = boards()
    site.start()
    site.order("set-target", target_c=9.25)

    def target() -> object:
        return broker.kept("fermd/#")["fermd/cellar/chamber/lager/state"].told["target"]

    until(lambda: set(broker.kept("fermd/#")) == TOPICS)
    until(lambda: target() == {"heat_c": 9.25, "cool_c": 9.25})
    kept = broker.kept("fermd/#")
    for one in kept.values():
        one.check()
    assert kept["fermd/cellar/availability"].told["online"] is True
    vessel = kept["fermd/cellar/chamber/lager/reading/vessel"]
    status = site.status()["chambers"]["lager"]
    assert vessel.told["trusted"]
    assert vessel.told["temp_c"] == pytest.approx(status["vessel"]["temp_c"], abs=0.5)
    assert datetime.fromisoformat(vessel.told["taken_utc"]).tzinfo == UTC
    outputs = kept["fermd/cellar/chamber/lager/state"].told["outputs"]
    assert [one["output"] for one in outputs] == [one["name"] for one in status["outputs"]]


def test_a_reading_runs_out_and_availability_never_does(broker: Broker, boards: Boards) -> None:
    broker.start()
    boards().start()
    kept = until(lambda: one if set(one := broker.kept("fermd/#")) == TOPICS else None)
    for topic, one in kept.items():
        if "/reading/" in topic:
            assert one.expiry_s is not None
            assert 20 <= one.expiry_s <= 30
        elif topic.endswith("availability"):
            assert one.expiry_s is None
        else:
            assert one.expiry_s is not None
            assert 300 < one.expiry_s <= 900


def test_what_happens_is_told_as_an_event_and_not_kept(broker: Broker, boards: Boards) -> None:
    broker.start()
    site = boards(pace=600)
    with broker.listening("fermd/cellar/#") as listener:
        site.start()
        until(lambda: listener.of("/availability"))
        site.order("set-target", target_c=7.0)
        until(lambda: any(one.told["kind"] == "TargetChanged" for one in listener.of("/event")))
        # A simulated fridge that is called for starts, and both are told.
        until(lambda: any(one.told["kind"] == "OutputChanged" for one in listener.of("/event")))
        until(
            lambda: any(
                output["on"] for one in listener.of("lager/state") for output in one.told["outputs"]
            )
        )
        for one in listener.heard:
            one.check()
        numbers = [one.told["seq"] for one in listener.of("/event")]
        assert numbers == sorted(set(numbers))
    assert not [topic for topic in broker.kept("fermd/#") if topic.endswith("/event")]


def test_a_killed_daemon_is_told_of_by_its_last_will(broker: Broker, boards: Boards) -> None:
    broker.start()
    site = boards()
    site.start()
    until(lambda: "fermd/cellar/availability" in broker.kept("fermd/#"))
    site.end(signal.SIGKILL)
    will = until(
        lambda: (
            one
            if not (
                one := broker.kept("fermd/cellar/availability")["fermd/cellar/availability"]
            ).told["online"]
            else None
        )
    )
    will.check()
    assert will.told["why"] == "lost"
    # It comes back under the same name, and the same topic says so.
    site.start()
    until(lambda: broker.kept("fermd/#")["fermd/cellar/availability"].told["online"])


def test_a_stopped_daemon_says_so_itself(broker: Broker, boards: Boards) -> None:
    broker.start()
    site = boards()
    site.start()
    until(lambda: "fermd/cellar/availability" in broker.kept("fermd/#"))
    assert site.end() == 0
    last = broker.kept("fermd/#")["fermd/cellar/availability"]
    last.check()
    assert (last.told["online"], last.told["why"]) == (False, "stopped")


def test_a_broker_that_has_forgotten_all_is_told_all_again(broker: Broker, boards: Boards) -> None:
    broker.start()
    site = boards()
    site.start()
    until(lambda: set(broker.kept("fermd/#")) == TOPICS)
    broker.stop(signal.SIGKILL)
    broker.start()
    until(lambda: set(broker.kept("fermd/#")) == TOPICS)
    assert broker.kept("fermd/#")["fermd/cellar/availability"].told["online"] is True


def test_fermd_subscribes_to_nothing_so_that_no_message_can_command(
    broker: Broker, boards: Boards
) -> None:
    broker.start()
    boards().start()
    until(lambda: set(broker.kept("fermd/#")) == TOPICS)
    log = broker.log.read_text()
    assert "Received CONNECT from 127.0.0.1" in log or "as fermd-cellar" in log
    subscribed = [line for line in log.splitlines() if "SUBSCRIBE from fermd" in line]
    assert subscribed == []
    assert "Received PUBLISH from fermd-cellar" in log


PROFILE = """\
name = "Dry hop"

[[step]]
kind = "hold"
target_c = 18.0
for = "10 min"

[[step]]
kind = "wait"
target_c = 18.0
prompt = "Add the hops"

[[step]]
kind = "final-hold"
target_c = 18.0
"""


def test_who_waits_for_the_brewer_says_so_until_somebody_comes(
    broker: Broker, boards: Boards
) -> None:
    broker.start()
    site = boards(pace=600)
    alarms, state = "fermd/cellar/chamber/lager/alarms", "fermd/cellar/chamber/lager/state"
    with broker.listening("fermd/cellar/#") as listener:
        site.start()
        site.order("start-profile", profile_toml=PROFILE)

        def newest(topic: str) -> Any:
            found = listener.of(topic)
            return found[-1].told if found else {}

        until(lambda: newest(alarms).get("alarms"))
        (alarm,) = newest(alarms)["alarms"]
        assert (alarm["alarm"], alarm["phase"]) == ("waiting-for-person", "raised")
        until(lambda: newest(state)["profile"]["step"] == 2)
        assert newest(state)["profile"]["prompt"] == "Add the hops"
        site.order("confirm-step")
        until(lambda: newest(alarms)["alarms"] == [])
        for one in listener.heard:
            one.check()
        told = [one.told["words"] for one in listener.of("/event")]
        assert any("waiting" in words or "Add the hops" in words for words in told), told
