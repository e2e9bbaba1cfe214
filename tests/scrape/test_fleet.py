"""Three boards, one broker and one store of time series find one another.

mosquitto, prometheus and promtool are Debian's; they run with the files of fermd/broker/fleet.
"""

from __future__ import annotations

import os
import re
import signal
import subprocess
import tomllib
from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest
from broker_rig import Heard, until
from prometheus_rig import FLEET, NAMES, PASSWORD, TOKEN, Fleet, fleet

from fermd.config.example import SHORT_SITE
from fermd.config.site_file import parse_site
from fermd.web.collector import read_token

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


README = (FLEET.parent / "README.md").read_text()


def blocks(language: str) -> list[str]:
    return re.findall(rf"```{language}\n(.*?)```", README, re.S)


def test_every_command_of_the_documentation_does_what_it_says(
    cellars: Fleet, tmp_path: Path
) -> None:
    commands = [one for one in blocks("sh") if "pip install" not in one]
    assert len(commands) == 4
    broker = f"-h 127.0.0.1 -p {cellars.broker.port} --cafile {cellars.folder}/ca.pem -u reader"
    ended = subprocess.run(
        ["bash", "-euo", "pipefail", "-c", "\n".join(commands)],
        env=os.environ
        | {
            "BROKER": f"{broker} -P {PASSWORD}",
            "FERMD": f"http://{cellars.addresses['cellar']}",
            "FLEET": str(FLEET),
            "FOLDER": str(tmp_path),
            "METRICS_TOKEN": TOKEN,
            "PASSWORD_OF_CELLAR": "secret one",
            "PASSWORD_OF_READER": "secret two",
        },
        capture_output=True,
        text=True,
        check=False,
    )
    assert ended.returncode == 0, ended.stdout + ended.stderr
    for name in NAMES:
        assert f"fermd/{name}/availability {{" in ended.stdout
        assert f"fermd/{name}/chamber/lager/reading/vessel {{" in ended.stdout
    assert len(read_token(tmp_path / "metrics-token")) == 64
    users = (tmp_path / "passwords").read_text().splitlines()
    assert [line.partition(":")[0] for line in users] == ["cellar", "reader"]


def test_every_query_of_the_documentation_is_answered(cellars: Fleet) -> None:
    (queries,) = blocks("promql")
    until(lambda: len(cellars.prometheus.values("fermd_target_celsius")) == 2 * len(NAMES))
    for query in queries.splitlines():
        found = cellars.prometheus.values(query)
        # No alarm stands.
        assert len(found) == (0 if "fermd_alarm" in query else len(NAMES)), query


def test_the_tables_of_the_documentation_are_taken() -> None:
    board, secrets, web = blocks("toml")
    top, _, table = board.partition("\n\n")
    site = parse_site(f"{top}\n{SHORT_SITE}\n{table}\n{web}", Path("/etc/fermd/fermd.toml"))
    assert site.known_as == "cellar"
    assert site.broker is not None
    assert site.broker.effective_port == 8883
    assert site.web is not None
    assert site.web.metrics_token_file == Path("/var/lib/fermd/metrics-token")
    assert set(tomllib.loads(secrets)) == {"user", "password"}


def test_the_topics_of_the_documentation_are_those_of_the_broker(cellars: Fleet) -> None:
    told = {line.split("`")[1] for line in README.splitlines() if line.startswith("| `fermd/SITE")}
    lasting = {topic for topic in told if not topic.endswith("/event")}
    assert len(told) == len(lasting) + 2
    # A reading may have run out for a moment, if the machine is slow.
    until(lambda: {generic(topic) for topic in kept(cellars)} == lasting)


def generic(topic: str) -> str:
    topic = re.sub(r"^fermd/[^/]+", "fermd/SITE", topic)
    topic = re.sub(r"/chamber/[^/]+", "/chamber/NAME", topic)
    return re.sub(r"/reading/[^/]+", "/reading/PROBE", topic)


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
