"""The unit and the files beside it, as systemd's own tools judge them."""

from __future__ import annotations

import grp
import itertools
import os
import re
import shlex
import stat
import subprocess
from pathlib import Path

import pytest
from click.testing import CliRunner
from service_manager import INSTALLED_COMMAND, UNIT

from fermd.cli import catalogue

EXPOSURE_LIMIT = 2.0

SAMPLE_PERIOD_S = 10.0
"""How often probes are sampled unless the site file says otherwise."""


def _keys(text: str) -> dict[str, list[str]]:
    keys: dict[str, list[str]] = {}
    for line in text.splitlines():
        if line and line[0] not in "#[":
            key, _, value = line.partition("=")
            keys.setdefault(key, []).append(value)
    return keys


KEYS = _keys(UNIT.read_text())


def _seconds(key: str) -> float:
    (text,) = KEYS[key]
    return float(text)


def _verify(tmp_path: Path, text: str) -> str:
    """What systemd-analyze has to say against a unit.

    It returns 0 on an unknown key and only prints, so the output is what counts. The command in
    the unit is not installed here; one that exists stands in for it, or that would be all it says.
    """
    unit = tmp_path / UNIT.name
    unit.write_text(text.replace(INSTALLED_COMMAND, "/bin/true"))
    ended = subprocess.run(
        ["systemd-analyze", "verify", "--man=no", "--recursive-errors=no", str(unit)],
        capture_output=True,
        text=True,
        check=False,
    )
    return ended.stdout + ended.stderr + ("" if ended.returncode == 0 else "failed")


@pytest.mark.debian("systemd")
def test_systemd_accepts_the_unit_without_a_word(tmp_path: Path) -> None:
    assert _verify(tmp_path, UNIT.read_text()) == ""


@pytest.mark.debian("systemd")
@pytest.mark.parametrize("mistake", ["WatchdogSecs=60", "Restart=evermore", "RestartSec=soon"])
def test_a_mistake_in_the_unit_would_be_noticed(tmp_path: Path, mistake: str) -> None:
    text = UNIT.read_text().replace("\n[Install]", f"\n{mistake}\n[Install]")
    assert _verify(tmp_path, text) != ""


@pytest.mark.debian("systemd")
def test_exposure_is_low() -> None:
    ended = subprocess.run(
        ["systemd-analyze", "security", "--offline=true", "--no-pager", str(UNIT)],
        capture_output=True,
        text=True,
        check=True,
    )
    found = re.search(r"Overall exposure level for fermd\.service: ([0-9.]+)", ended.stdout)
    assert found is not None, ended.stdout
    assert float(found[1]) <= EXPOSURE_LIMIT


def test_every_key_has_its_reason_above_it() -> None:
    lines = UNIT.read_text().splitlines()
    bare = [
        line
        for above, line in itertools.pairwise(lines)
        if line and line[0] not in "#[" and not above.startswith("# ")
    ]
    assert bare == []


def test_the_watchdog_waits_for_three_ticks_and_no_longer_than_a_few_minutes() -> None:
    assert 3 * SAMPLE_PERIOD_S <= _seconds("WatchdogSec") <= 180.0


def test_nothing_makes_systemd_give_up() -> None:
    assert KEYS["Restart"] == ["always"]
    assert _seconds("StartLimitIntervalSec") == 0.0
    assert not KEYS.keys() & {"RestartPreventExitStatus", "StartLimitBurst", "SuccessAction"}


def test_the_release_runs_on_the_same_site_file_as_the_daemon() -> None:
    (start,), (release,) = KEYS["ExecStart"], KEYS["ExecStopPost"]
    assert shlex.split(start)[0] == shlex.split(release)[0] == INSTALLED_COMMAND
    assert shlex.split(start)[2:] == shlex.split(release)[2:]


def test_the_units_subcommands_and_their_options_exist() -> None:
    for line in (*KEYS["ExecStart"], *KEYS["ExecStopPost"]):
        _program, name, *arguments = shlex.split(line)
        shown = CliRunner().invoke(catalogue.fermd, [name, "--help"])
        assert shown.exit_code == os.EX_OK, shown.output
        for option in (argument for argument in arguments if argument.startswith("-")):
            assert option in shown.output


def test_the_user_of_the_unit_is_the_one_that_is_made() -> None:
    made = (UNIT.parent / "fermd.sysusers.conf").read_text()
    (user,), (group,) = KEYS["User"], KEYS["SupplementaryGroups"]
    assert re.search(rf"^u {user} ", made, re.MULTILINE)
    assert re.search(rf"^m {user} +{group}$", made, re.MULTILINE)
    assert f'GROUP="{group}"' in (UNIT.parent / "99-fermd.rules").read_text()


@pytest.mark.debian("systemd")
@pytest.mark.skipif(os.geteuid() != 0, reason="systemd-sysusers reads /etc/shadow")
def test_systemd_would_make_the_user() -> None:
    ended = subprocess.run(
        ["systemd-sysusers", "--dry-run", str(UNIT.parent / "fermd.sysusers.conf")],
        capture_output=True,
        text=True,
        check=True,
    )
    exists = any(entry.gr_name == "fermd" for entry in grp.getgrall())
    assert exists or "Creating user 'fermd'" in ended.stderr


def _rule_for_a_probe(name: str) -> str | None:
    """The shell command that udev would run when a probe of this name is attached."""
    rules = (UNIT.parent / "99-fermd.rules").read_text()
    found = re.search(r'KERNEL=="([^"]+)", RUN\+="/bin/sh -c \'(.*)\'"$', rules, re.MULTILINE)
    assert found is not None
    if not any(Path(name).match(pattern) for pattern in found[1].split("|")):
        return None
    return found[2].replace("$$", "$")


def test_the_rule_lets_the_group_start_a_conversion_of_all_probes(tmp_path: Path) -> None:
    bus = tmp_path / "devices" / "w1_bus_master1"
    (bus / "28-000006b67845").mkdir(parents=True)
    trigger = bus / "therm_bulk_read"
    trigger.write_text("0\n")
    trigger.chmod(0o644)
    command = _rule_for_a_probe("28-000006b67845")
    assert command is not None
    command = command.replace("/sys%p", str(bus / "28-000006b67845"))
    own_group = grp.getgrgid(os.getgid()).gr_name
    subprocess.run(["/bin/sh", "-c", command.replace("fermd", own_group)], check=True)
    assert stat.S_IMODE(trigger.stat().st_mode) == 0o664


def test_the_rule_is_content_with_a_bus_that_converts_one_by_one(tmp_path: Path) -> None:
    probe = tmp_path / "28-000006b67845"
    probe.mkdir()
    command = _rule_for_a_probe(probe.name)
    assert command is not None
    subprocess.run(["/bin/sh", "-c", command.replace("/sys%p", str(probe))], check=True)


def test_the_rule_leaves_other_devices_of_the_bus_alone() -> None:
    assert _rule_for_a_probe("w1_bus_master1") is None
    assert _rule_for_a_probe("01-000000000000") is None


def test_the_installation_names_only_files_that_are_shipped() -> None:
    commands = (UNIT.parent / "install.md").read_text()
    named = re.findall(r"install -m \d+ ([\w.-]+) /", commands)
    # The schema beside them is for editors: nothing of the service reads it.
    shipped = {path.name for path in UNIT.parent.iterdir()} - {"site.schema.json"}
    assert sorted({*named}) == sorted(shipped)
