"""`fermd messages`, `fermd alarms --explain` and what `fermd check` says of messages."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from receivers import Receiver

from fermd.cli.catalogue import fermd
from fermd.control.alarms import AlarmKind
from fermd.messages.pages import page

MARKER = "GEHEIM7f3a"

SITE = """\
time_zone = "Europe/Vienna"
journal_path = "journal.db"

[probe.vessel]
id = "28-000006b67845"

[chamber.lager]
vessel_probe = "vessel"

[simulated]

[messages]
secrets_file = "addresses.toml"

[messages.to.anna]

[messages.to.lamp]
command = ["/bin/sh", "-c", "cat > LAMP"]
"""


def site(folder: Path, anna: str, text: str = SITE) -> str:
    secrets = folder / "addresses.toml"
    secrets.touch(mode=0o600)
    secrets.write_text(f'anna = "{anna}"\n')
    path = folder / "fermd.toml"
    path.write_text(text.replace("LAMP", str(folder / "lamp")))
    return str(path)


def run(*arguments: str) -> Result:
    return CliRunner().invoke(fermd, list(arguments))


def test_a_try_message_goes_to_everybody_and_it_is_said_what_became_of_it(tmp_path: Path) -> None:
    with Receiver() as anna:
        place = site(tmp_path, anna.url(MARKER))
        done = run("messages", "--site", place, "--try")
        assert done.exit_code == 0
        assert done.stdout.splitlines() == [
            "anna: accepted; see whether it arrives.",
            "lamp: accepted; see whether it arrives.",
        ]
        assert "nothing is wrong" in anna.heard[0].text
        assert "nothing is wrong" in (tmp_path / "lamp").read_text()
        anna.status = 503
        done = run("messages", "--site", place, "--try")
        assert done.exit_code == 75
        assert "fermd: anna: not sent: " in done.stderr
        assert "503" in done.stderr
        assert "lamp: accepted" in done.stdout
        done = run("messages", "--site", place, "--try", "--to", "lamp", "--json")
        assert json.loads(done.stdout) == [{"to": "lamp", "accepted": True, "why": ""}]
        assert len(anna.heard) == 2
    assert MARKER not in done.output


def test_without_recipients_it_says_what_to_add(tmp_path: Path) -> None:
    place = site(tmp_path, "json://x/", SITE[: SITE.index("[messages]")])
    done = run("messages", "--site", place)
    assert isinstance(done.exception, BaseException)
    assert "add [messages.to.NAME]" in str(done.exception) + done.output


def test_nobody_of_that_name(tmp_path: Path) -> None:
    done = run("messages", "--site", site(tmp_path, "json://x/"), "--to", "carl")
    assert "no such recipient; there are anna, lamp" in str(done.exception) + done.output


@pytest.mark.parametrize(
    ("anna", "why"),
    [
        (f"jsom://{MARKER}@host/", "messages.to.anna.address"),
        (MARKER, "messages.secrets_file"),
    ],
)
def test_check_finds_an_address_that_cannot_be_sent_to(tmp_path: Path, anna: str, why: str) -> None:
    done = run("check", "--site", site(tmp_path, anna), "--json")
    assert done.exit_code == 78
    (file,) = json.loads(done.stdout)["files"]
    assert [fault["key"] for fault in file["faults"]] == [why]
    assert MARKER not in done.output


def test_check_finds_everything_about_messages_at_once(tmp_path: Path) -> None:
    text = SITE.replace("/bin/sh", "/nowhere/sh") + "\n[messages.to.bert]\n[messages.heartbeat]\n"
    done = run("check", "--site", site(tmp_path, "json://127.0.0.1/", text), "--json")
    assert done.exit_code == 78
    (file,) = json.loads(done.stdout)["files"]
    assert {fault["key"] for fault in file["faults"]} == {
        "messages.to.lamp.command",
        "messages.to.bert.address",
        "messages.heartbeat.address",
    }


def test_check_without_the_library_says_what_to_install(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    import importlib.util

    monkeypatch.setattr(importlib.util, "find_spec", lambda _: None)
    done = run("check", "--site", site(tmp_path, "json://127.0.0.1/"))
    assert done.exit_code == 78
    assert "messages.to: apprise is not installed: pip install 'fermd[messages]'" in done.output


@pytest.mark.parametrize("kind", AlarmKind)
def test_every_alarm_can_be_explained_without_a_daemon(kind: AlarmKind) -> None:
    done = run("alarms", "--explain", kind.value)
    assert done.exit_code == 0
    assert done.stdout == page(kind).text
    told = json.loads(run("alarms", "--explain", kind.value, "--json").stdout)
    assert told["to_do"] == page(kind).to_do


def test_an_alarm_that_there_is_not_is_told_with_those_that_there_are() -> None:
    done = run("alarms", "--explain", "beer-too-warn")
    assert "vessel-probe-lost" in str(done.exception) + done.output
