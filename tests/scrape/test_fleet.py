"""Three boards, one broker and one store of time series find one another.

mosquitto, prometheus and promtool are Debian's; they run with the files of fermd/broker/fleet.
"""

from __future__ import annotations

import signal
import subprocess
from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest
from broker_rig import Heard, until
from prometheus_rig import FLEET, NAMES, PASSWORD, TOKEN, Fleet, fleet

pytestmark = pytest.mark.debian("mosquitto", "mosquitto-clients", "openssl", "prometheus")


@pytest.fixture(scope="module")
def cellars() -> Iterator[Fleet]:
    with fleet() as one:
        yield one


def kept(fleet: Fleet) -> dict[str, Heard]:
    return fleet.broker.kept("fermd/#", *fleet.reader)


def test_every_board_is_up_and_scraped_without_an_error(cellars: Fleet) -> None:
    addresses = {(address,) for address in cellars.addresses.values()}
    until(lambda: set(cellars.prometheus.values("up == 1")) == addresses)
    targets = cellars.prometheus.ask("targets")["activeTargets"]
    assert [one["lastError"] for one in targets] == ["", "", ""]
    assert {one["health"] for one in targets} == {"up"}
    names = cellars.prometheus.values("fermd_info")
    assert {site for _, site, _ in names} == set(NAMES)
    assert {(address, site) for address, site, _ in names} == {
        (address, name) for name, address in cellars.addresses.items()
    }


def test_the_store_knows_the_beer_and_the_outputs_of_each_board(cellars: Fleet) -> None:
    for n, board in enumerate(cellars.boards.values()):
        board.order("set-target", target_c=16.0 - n)

    def targets() -> dict[str, float]:
        found = cellars.prometheus.values('fermd_target_celsius{bound="cool"}')
        return {address: value for (_, _, address), value in found.items()}

    wanted = {cellars.addresses[name]: 16.0 - n for n, name in enumerate(NAMES)}
    until(lambda: targets() == wanted)
    beer = cellars.prometheus.values('fermd_temperature_celsius{role="vessel"}')
    on = cellars.prometheus.values("fermd_output_on")
    for name, board in cellars.boards.items():
        lager = board.status()["chambers"]["lager"]
        address = cellars.addresses[name]
        # A minute of it passes in a second: between the two questions it moves a little.
        told_c = beer["lager", address, "vessel", "vessel"]
        assert told_c == pytest.approx(lager["vessel"]["temp_c"], abs=0.5)
        for output in lager["outputs"]:
            assert on["lager", output["duty"], address, output["name"]] in (0.0, 1.0)
    assert len(on) == 2 * len(NAMES)


def test_the_rules_that_are_shipped_are_taken_and_quiet(cellars: Fleet) -> None:
    (group,) = cellars.prometheus.ask("rules")["groups"]
    until(
        lambda: (
            {
                rule["health"]
                for group in cellars.prometheus.ask("rules")["groups"]
                for rule in group["rules"]
            }
            == {"ok"}
        )
    )
    assert {rule["name"] for rule in group["rules"]} >= {"BoardSilent", "ChamberAlarm"}
    firing = [one for one in cellars.prometheus.ask("alerts")["alerts"] if one["state"] == "firing"]
    assert firing == []


def test_the_broker_has_every_board_below_its_own_name(cellars: Fleet) -> None:
    wanted = {f"fermd/{name}/chamber/lager/reading/vessel" for name in NAMES}
    until(lambda: wanted <= set(kept(cellars)))
    found = kept(cellars)
    for one in found.values():
        one.check()
    assert {topic.split("/")[1] for topic in found} == set(NAMES)
    for name in NAMES:
        assert found[f"fermd/{name}/availability"].told["online"] is True
        assert found[f"fermd/{name}/state"].told["site"] == name


def test_a_board_can_neither_read_others_nor_write_in_their_name(cellars: Fleet) -> None:
    loft = ["--cafile", f"{cellars.folder}/ca.pem", "-u", "loft", "-P", PASSWORD]
    assert cellars.broker.kept("fermd/#", *loft) == {}
    lie = [
        "mosquitto_pub", "-V", "5", "-h", "127.0.0.1", "-p", str(cellars.broker.port), *loft,
        "-r", "-q", "1", "-t", "fermd/cellar/availability", "-m", "{}",
    ]  # fmt: skip
    subprocess.run(lie, check=False, capture_output=True)
    assert kept(cellars)["fermd/cellar/availability"].told["online"] is True


def test_the_figures_of_a_live_board_are_clean_by_promtool(cellars: Fleet) -> None:
    answer = httpx.get(
        f"http://{cellars.addresses['cellar']}/metrics",
        headers={"Authorization": f"Bearer {TOKEN}", "Accept": "text/plain"},
    )
    assert answer.headers["content-type"].startswith("text/plain; version=0.0.4")
    assert "fermd_temperature_celsius{" in answer.text
    lint = subprocess.run(
        ["promtool", "check", "metrics"],
        input=answer.text,
        capture_output=True,
        text=True,
        check=False,
    )
    assert (lint.returncode, lint.stdout, lint.stderr) == (0, "", "")


def test_a_killed_board_is_missed_by_broker_and_store_and_the_others_are_not(
    cellars: Fleet,
) -> None:
    cellars.boards["barn"].end(signal.SIGKILL)
    until(lambda: not kept(cellars)["fermd/barn/availability"].told["online"])
    until(lambda: cellars.prometheus.values("up == 0").keys() == {(cellars.addresses["barn"],)})
    until(
        lambda: (
            [
                (one["labels"]["alertname"], one["labels"]["instance"])
                for one in cellars.prometheus.ask("alerts")["alerts"]
                if one["labels"]["alertname"] == "BoardSilent"
            ]
            == [("BoardSilent", cellars.addresses["barn"])]
        )
    )
    assert kept(cellars)["fermd/cellar/availability"].told["online"] is True
    assert len(cellars.prometheus.values("up == 1")) == 2


@pytest.mark.parametrize(
    "command", [("check", "rules", "fermd.rules.yml"), ("test", "rules", "fermd.rules.test.yml")]
)
def test_the_rules_ring_when_they_should_by_promtool(command: tuple[str, ...]) -> None:
    ended = subprocess.run(
        ["promtool", *command], cwd=FLEET, capture_output=True, text=True, check=False
    )
    assert ended.returncode == 0, ended.stdout + ended.stderr
    assert "SUCCESS" in ended.stdout


def test_every_rule_is_tested() -> None:
    rules = (FLEET / "fermd.rules.yml").read_text().splitlines()
    tested = (FLEET / "fermd.rules.test.yml").read_text()
    names = [line.partition("alert: ")[2] for line in rules if "- alert:" in line]
    assert len(names) == 7
    for name in names:
        assert f"alertname: {name}" in tested


def test_the_configuration_of_the_store_is_sound_by_promtool(tmp_path: Path) -> None:
    token = tmp_path / "token"
    token.touch()
    text = (FLEET / "prometheus.yml").read_text()
    (tmp_path / "prometheus.yml").write_text(
        text.replace("/etc/prometheus/fermd-token", str(token))
    )
    (tmp_path / "fermd.rules.yml").write_text((FLEET / "fermd.rules.yml").read_text())
    ended = subprocess.run(
        ["promtool", "check", "config", "prometheus.yml"],
        cwd=tmp_path, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert ended.returncode == 0, ended.stdout + ended.stderr
