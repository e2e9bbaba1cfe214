"""`fermd status` and `fermd alarms` answer what a brewer asks, from a daemon that runs."""

import re
import signal
from pathlib import Path

import pytest
from cli_rig import BOUND_S, PROFILE, VESSEL_ID, RealDaemon, Terminal, on_terminal, run

from fermd.cli.exits import Failure
from fermd.cli.readback import worded
from fermd.cli.status_lines import age, all_right, board_lines, coming
from fermd.control.reading import Untrusted
from fermd.control.wording import Unit


def _start(daemon: RealDaemon, tmp_path: Path) -> None:
    file = tmp_path / "p.toml"
    file.write_text(PROFILE)
    assert run("start", str(file), env=daemon.environment).code == 0


def test_status_answers_in_the_order_in_which_a_brewer_asks(
    lager: RealDaemon, tmp_path: Path
) -> None:
    _start(lager, tmp_path)
    shown = run("status", env=lager.environment).out
    in_order = [
        "lager: all right",
        "Beer    19.50 °C",
        "Target  10.0 °C; profile Test lager",
        "Call    cooling is called for: the beer is at 19.50 °C, above 10.20 °C",
        "fridge  off",
        "cooling is called for; it stays off for another",
        "Next    now step 1 of 4 (hold)",
        "step 2 (ramp) in ",
        "Alarms  none",
        "This is 0 s old",
    ]
    places = [shown.index(words) for words in in_order]
    assert places == sorted(places)


def test_piped_output_has_no_colour_no_padding_and_no_broken_lines(
    lager: RealDaemon, tmp_path: Path
) -> None:
    _start(lager, tmp_path)
    shown = run("status", env=lager.environment).out
    assert "\x1b" not in shown
    assert not re.search(r" $", shown, re.M)
    assert re.search(r"fridge .* hour\)$", shown, re.M)


def test_fahrenheit_is_shown_in_every_sentence_and_never_in_json(
    lager: RealDaemon, tmp_path: Path
) -> None:
    _start(lager, tmp_path)
    shown = run("status", "--fahrenheit", env=lager.environment).out
    assert "°C" not in shown
    assert "the beer is at 67.10 °F, above 50.36 °F" in shown
    assert "Target  50.0 °F" in shown
    plain = run("status", "--fahrenheit", "--json", env=lager.environment)
    assert plain.json["chambers"]["lager"]["vessel"]["temp_c"] == 19.5


def test_a_lost_probe_is_told_in_the_first_line_with_its_last_reading(lager: RealDaemon) -> None:
    lager.probes.temp_c[VESSEL_ID] = None
    lager.until(lambda seen: isinstance(seen.chambers["lager"].decision.vessel, Untrusted))
    for option, last in (((), "19.50 °C"), (("-F",), "67.10 °F")):
        shown = run("status", *option, env=lager.environment).out
        assert shown.startswith("lager: the beer's temperature is not known\n")
        assert f"not known (disconnected); last {last}" in shown
        assert "fail-safe" in shown


def test_one_chamber_can_be_asked_for(two: RealDaemon) -> None:
    assert list(run("status", "--json", env=two.environment).json["chambers"]) == ["lager", "ale"]
    only = run("status", "--json", "--chamber", "ale", env=two.environment)
    assert list(only.json["chambers"]) == ["ale"]
    assert run("status", "-c", "ale", env=two.environment).out.startswith("ale: ")


def test_a_chamber_that_is_not_there_is_told_with_those_that_are(two: RealDaemon) -> None:
    ended = run("status", "-c", "stout", env=two.environment)
    assert ended.code == 64
    assert "'stout': no such chamber; there are lager, ale" in ended.err


def test_colours_are_on_a_terminal_only_and_not_with_no_color(lager: RealDaemon) -> None:
    coloured = on_terminal("status", env=lager.environment)
    assert coloured.code == 0
    assert "\x1b[32m" in coloured.out
    plain = on_terminal("status", env=lager.environment | {"NO_COLOR": "1"})
    assert "\x1b" not in plain.out
    forced = run("status", env=lager.environment | {"FORCE_COLOR": "1"})
    assert "\x1b" not in forced.out


def test_nothing_is_wider_than_the_terminal(lager: RealDaemon, tmp_path: Path) -> None:
    _start(lager, tmp_path)
    for columns in (40, 80):
        shown = on_terminal("status", env={**lager.environment, "NO_COLOR": "1"}, columns=columns)
        assert max(len(line) for line in shown.out.splitlines()) <= columns


def test_alarms_are_listed_and_acknowledged(lager: RealDaemon, tmp_path: Path) -> None:
    assert run("alarms", env=lager.environment).out == ""
    assert run("alarms", "--json", env=lager.environment).json == []
    _start(lager, tmp_path)
    for _ in range(2):
        assert run("skip", env=lager.environment).code == 0
    lager.until(lambda seen: seen.chambers["lager"].decision.alarms)
    listed = run("alarms", env=lager.environment).out
    assert "waiting-for-person" in listed
    assert "the profile waits for a person" in listed
    # Asked together, the only alarm is the one that is meant.
    ended = run("acknowledge", "--json", env=lager.environment)
    assert [one["alarm"] for one in ended.json] == ["waiting-for-person"]
    lager.until(lambda seen: seen.chambers["lager"].decision.alarms[0].phase == "acknowledged")
    again = run("acknowledge", env=lager.environment)
    assert again.code == 64
    assert "no alarm is raised" in again.err


def test_one_of_several_alarms_must_be_named(lager: RealDaemon, tmp_path: Path) -> None:
    _start(lager, tmp_path)
    for _ in range(2):
        run("skip", env=lager.environment)
    lager.probes.loose = True
    lager.until(lambda seen: len(seen.chambers["lager"].decision.alarms) == 3)
    which = run("acknowledge", env=lager.environment)
    assert which.code == 64
    assert "probe-unsteady vessel" in which.err
    assert "probe-unsteady air" in which.err
    wrong = run("acknowledge", "no-effect", env=lager.environment)
    assert "'no-effect': no such alarm is raised" in wrong.err
    assert run("acknowledge", "probe-unsteady", "air", env=lager.environment).code == 0
    assert run("acknowledge", "--all", env=lager.environment).code == 0
    assert {one["phase"] for one in run("alarms", "--json", env=lager.environment).json} == {
        "acknowledged"
    }


def test_a_status_that_is_old_is_never_called_all_right(lager: RealDaemon) -> None:
    status = run("status", "--json", env=lager.environment).json
    chamber = status["chambers"]["lager"]
    assert all_right(chamber, status)[0].startswith("all right")
    words, _ = all_right(chamber, status | {"age_s": 600.0})
    assert words == "not known: the control loop has not run for 10 min"


def test_what_comes_next_is_told_for_every_kind_of_step(lager: RealDaemon, tmp_path: Path) -> None:
    _start(lager, tmp_path)
    told = []
    for _ in range(4):
        status = run("status", "--json", env=lager.environment).json
        told.append(" ".join(coming(status["chambers"]["lager"], status)))
        run("skip", env=lager.environment)
    assert re.search(r"step 2 \(ramp\) in (4 d 23 h|5 d) \(", told[0])
    assert "step 3 (wait for a person) in" in told[1]
    assert "waits for you: taste it; then `fermd confirm`" in told[2]
    assert "the last step holds without end" in told[3]
    status = run("status", "--json", env=lager.environment).json
    assert coming(status["chambers"]["lager"], status) == ["nothing is planned"]


def test_a_planned_start_is_shown_at_the_time_that_was_said(
    lager: RealDaemon, tmp_path: Path
) -> None:
    """In the site's time zone, whatever zone the machine is set to."""
    file = tmp_path / "p.toml"
    file.write_text(PROFILE)
    for zone in ("UTC", "America/New_York"):
        there = lager.environment | {"TZ": zone}
        assert run("start", str(file), "--at", "fri 18:00", env=there).code == 0
        shown = run("status", env=there).out
        assert re.search(r"profile Test lager starts at Fri .*, 18:00$", shown, re.M)


def test_watch_keeps_the_screen_up_to_date_until_ctrl_c(lager: RealDaemon) -> None:
    with Terminal("status", "--watch", env=lager.environment) as terminal:
        terminal.until("Beer    19.50 °C")
        lager.probes.temp_c[VESSEL_ID] = 20.0
        terminal.until("Beer    20.00 °C")
        terminal.child.send_signal(signal.SIGINT)
        assert terminal.child.wait(BOUND_S) == 130
    assert "Traceback" not in terminal.shown


def test_trouble_with_the_board_and_the_journal_is_told_below_the_chambers(
    lager: RealDaemon,
) -> None:
    status = run("status", "--json", env=lager.environment).json
    alarm = {
        "alarm": "clock-stepped",
        "subject": "",
        "phase": "raised",
        "severity": "notice",
        "words": "notice: the clock was stepped",
    }
    journal = {"kind": "not-writing", "detail": "the disk is full"}
    shown = [str(line) for line in board_lines(status | {"alarms": [alarm], "journal": journal})]
    assert shown == ["Board: notice: the clock was stepped", "Journal: the disk is full"]
    assert "not known to be set" in str(age(status | {"clock_is_set": False}))
    critical = alarm | {"severity": "critical"}
    assert all_right(status["chambers"]["lager"], status | {"alarms": [critical]})[0] == (
        "needs you now"
    )


def test_a_daemon_of_another_version_is_told_instead_of_guessed_at(lager: RealDaemon) -> None:
    chamber = run("status", "--json", env=lager.environment).json["chambers"]["lager"]
    assert worded(chamber, Unit.FAHRENHEIT)["vessel"]["words"] == "67.10 °F"
    newer = chamber | {"call": "something new"}
    with pytest.raises(Failure, match="same version"):
        worded(newer, Unit.FAHRENHEIT)
