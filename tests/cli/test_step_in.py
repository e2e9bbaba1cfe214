"""The commands with which a brewer steps in, against a loop that runs."""

import os
import pwd
from datetime import datetime
from pathlib import Path

import pytest
from cli_rig import PROFILE, RealDaemon, on_terminal, run

from fermd.control.decision import Mode
from fermd.journal.reader import JournalReader


@pytest.fixture
def profile(tmp_path: Path) -> str:
    file = tmp_path / "p.toml"
    file.write_text(PROFILE)
    return str(file)


def _mode(daemon: RealDaemon) -> Mode:
    snapshot = daemon.until(lambda seen: seen is not None)
    return snapshot.chambers["lager"].decision.mode


def _step(daemon: RealDaemon) -> int:
    status = run("status", "--json", env=daemon.environment).json
    return int(status["chambers"]["lager"]["profile"]["step"])


@pytest.mark.parametrize(
    ("said", "target_c"),
    [("10", 10.0), ("10.5C", 10.5), ("68F", 20.0), ("68 °F", 20.0), ("-1", -1.0), ("30.2f", -1.0)],
)
def test_a_target_is_set_in_either_unit(lager: RealDaemon, said: str, target_c: float) -> None:
    ended = run("target", said, "--json", env=lager.environment)
    assert ended.code == 0
    assert ended.json["taken"] is True
    seen = lager.until(lambda seen: seen.chambers["lager"].decision.target is not None)
    target = seen.chambers["lager"].decision.target
    assert target is not None
    assert target.heat_c == pytest.approx(target_c, abs=1e-3)


def test_a_target_that_would_freeze_the_beer_is_refused_with_what_is_allowed(
    lager: RealDaemon,
) -> None:
    ended = run("target", "-5", env=lager.environment)
    assert ended.code == os.EX_TEMPFAIL
    assert "refused: target -5 °C: must be from -1.5 °C" in ended.err
    plain = run("target", "-5", "--json", env=lager.environment)
    assert plain.code == os.EX_TEMPFAIL
    assert plain.json["taken"] is False
    assert "must be from" in plain.json["why"]


def test_commands_that_are_taken_say_nothing_where_nobody_looks(
    lager: RealDaemon, profile: str
) -> None:
    for line in (
        ["start", profile],
        ["pause"],
        ["resume"],
        ["extend", "12h"],
        ["skip"],
        ["target", "12"],
        ["off"],
        ["note", "hello"],
        ["stop", "--yes"],
    ):
        ended = run(*line, env=lager.environment)
        assert (ended.code, ended.out, ended.err) == (0, "", ""), line


def test_on_a_terminal_they_say_what_was_done_and_what_the_chamber_does_now(
    lager: RealDaemon,
) -> None:
    shown = on_terminal("target", "10", env=lager.environment).out
    assert "lager: 10.0 °C is the target from now on." in shown
    assert "cooling is called for; it stays off for another" in shown


def test_a_profile_goes_through_all_that_a_person_may_do(lager: RealDaemon, profile: str) -> None:
    started = run("start", profile, "--json", env=lager.environment)
    assert started.json == {
        "chamber": "lager",
        "command": "start-profile",
        "profile": "Test lager",
        "taken": True,
    }
    assert run("pause", env=lager.environment).code == 0
    assert run("skip", env=lager.environment).code == os.EX_TEMPFAIL
    assert run("resume", env=lager.environment).code == 0
    assert run("confirm", env=lager.environment).code == os.EX_TEMPFAIL
    assert run("extend", "-12h", env=lager.environment).code == 0
    status = run("status", "--json", env=lager.environment).json
    assert status["chambers"]["lager"]["profile"]["planned_s"] == 4.5 * 86400
    assert run("skip", env=lager.environment).code == 0
    assert _step(lager) == 2
    assert run("extend", "1h", env=lager.environment).code == os.EX_TEMPFAIL
    assert run("skip", env=lager.environment).code == 0
    assert run("confirm", env=lager.environment).code == 0
    assert _step(lager) == 4
    assert run("stop", "--yes", env=lager.environment).code == 0
    assert run("stop", "--yes", env=lager.environment).code == os.EX_TEMPFAIL
    assert _mode(lager) is Mode.HAND
    assert run("off", env=lager.environment).code == 0
    lager.until(lambda seen: seen.chambers["lager"].decision.mode is Mode.OFF)


def test_a_shipped_profile_is_started_by_its_name(lager: RealDaemon) -> None:
    ended = run("start", "lager-diacetyl-rest", "--json", env=lager.environment)
    assert ended.code == 0
    assert _step(lager) == 1


def test_a_profile_with_faults_never_reaches_the_daemon(lager: RealDaemon, tmp_path: Path) -> None:
    bad = tmp_path / "bad.toml"
    bad.write_text(PROFILE.replace('for = "5 d"', 'for = "5 weeks"'))
    ended = run("start", str(bad), env=lager.environment)
    assert ended.code == os.EX_CONFIG
    assert f"{bad}: step[1].for" in ended.err
    missing = run("start", "lager-diacetil-rest", env=lager.environment)
    assert missing.code == os.EX_NOINPUT
    assert 'did you mean "lager-diacetyl-rest"?' in missing.err


def test_a_profile_that_would_freeze_this_beer_is_refused(
    lager: RealDaemon, tmp_path: Path
) -> None:
    cold = tmp_path / "cold.toml"
    cold.write_text(PROFILE.replace("target_c = 2.0", "target_c = -4.0"))
    ended = run("start", str(cold), "--json", env=lager.environment)
    assert ended.code == os.EX_TEMPFAIL
    assert "step 4" in ended.json["why"]


def test_a_chamber_must_be_named_where_there_are_several(two: RealDaemon) -> None:
    ended = run("target", "18", env=two.environment)
    assert ended.code == os.EX_USAGE
    assert "--chamber: say which chamber is meant; there are lager, ale" in ended.err
    assert run("target", "18", "--chamber", "ale", env=two.environment).code == 0


def test_ending_a_profile_asks_a_person_and_takes_no_for_an_answer(
    lager: RealDaemon, profile: str
) -> None:
    run("start", profile, env=lager.environment)
    no = on_terminal("stop", env=lager.environment, typed="n\n")
    assert no.code == 1
    assert "End profile Test lager in chamber lager at step 1 of 4?" in no.out
    assert _mode(lager) is Mode.PROFILE
    assert on_terminal("stop", env=lager.environment, typed="y\n").code == 0
    lager.until(lambda seen: seen.chambers["lager"].decision.mode is Mode.HAND)


def test_where_nobody_can_be_asked_ending_a_profile_needs_yes(
    lager: RealDaemon, profile: str
) -> None:
    run("start", profile, env=lager.environment)
    ended = run("stop", env=lager.environment, typed="y\n")
    assert ended.code == os.EX_USAGE
    assert "say --yes if it is meant" in ended.err
    assert _mode(lager) is Mode.PROFILE


def test_ctrl_c_at_the_question_does_nothing(lager: RealDaemon, profile: str) -> None:
    run("start", profile, env=lager.environment)
    # No controlling terminal there, so that the key is not a signal: end of input it is.
    ended = on_terminal("stop", env=lager.environment, typed="\x04")
    assert ended.code == 130
    assert _mode(lager) is Mode.PROFILE


def test_the_record_says_who_stepped_in(lager: RealDaemon) -> None:
    run("target", "12", env=lager.environment)
    run("note", "dry", "hopped", env=lager.environment)
    name = pwd.getpwuid(os.getuid()).pw_name
    if os.getuid() == 0 and "SUDO_USER" in os.environ:
        name = os.environ["SUDO_USER"]
    told = [one["words"] for one in run("log", "--json", env=lager.environment).json]
    assert any(f"asked by {name} and taken" in words for words in told)


def test_a_note_may_come_from_standard_input_and_must_not_be_empty(lager: RealDaemon) -> None:
    ended = run("note", "-", "--json", env=lager.environment, typed="two lines\nof it\n")
    assert ended.json["note"] == "two lines\nof it"
    for empty in (["note", ""], ["note", "-"]):
        ended = run(*empty, env=lager.environment)
        assert ended.code == os.EX_USAGE
        assert "empty" in ended.err
    long = run("note", "x" * 4001, env=lager.environment)
    assert long.code == os.EX_DATAERR
    assert "1 to 4000 characters" in long.err


def test_a_note_has_a_kind_a_value_and_the_time_that_it_is_about(lager: RealDaemon) -> None:
    line = ("note", "--kind", "gravity", "--value", "1.012", "--at", "12:00", "tastes", "clean")
    ended = run(*line, "--json", env=lager.environment)
    assert ended.code == 0, ended.err
    assert ended.json == {
        "chamber": "lager", "note": "tastes clean", "kind": "gravity", "value": 1.012,
        "at": "12:00", "taken": True,
    }  # fmt: skip
    run("note", "--kind", "dry-hop", "--value", "60", env=lager.environment)
    lager.journal.flush()
    told = run("log", env=lager.environment).out
    user = pwd.getpwuid(os.getuid()).pw_name
    assert f"note by {user} (gravity): 1.012: tastes clean" in told
    assert f"note by {user} (dry hop): 60 g" in told
    [(_, note), _] = JournalReader(lager.site.journal_path).notes("lager", 10)
    noon = datetime.fromtimestamp(note.about_utc_s or 0.0, lager.site.zone)
    assert (noon.hour, noon.minute) == (12, 0)


@pytest.mark.parametrize(
    ("line", "why"),
    [
        (("--kind", "gravity", "--value", "101.2"), "a specific gravity, 0.980 to 1.200"),
        (("--kind", "gravity", "tasted", "sweet"), "a specific gravity, 0.980 to 1.200"),
        (("--at", "2099-01-01 12:00", "prophecy"), "has not been yet"),
        (("--at", "soon", "prophecy"), "at = 'soon'"),
    ],
)
def test_the_daemon_says_what_is_wrong_with_a_note(
    lager: RealDaemon, line: tuple[str, ...], why: str
) -> None:
    ended = run("note", *line, env=lager.environment)
    assert ended.code == os.EX_DATAERR
    assert why in ended.err


def test_a_running_profile_is_not_replaced_without_being_asked(
    lager: RealDaemon, profile: str
) -> None:
    assert run("start", profile, env=lager.environment).code == 0
    again = run("start", profile, env=lager.environment)
    assert again.code == 64
    assert "--yes" in again.err
    assert run("start", profile, "--yes", env=lager.environment).code == 0
    # A start at a time to come replaces nothing yet.
    assert run("start", profile, "--at", "fri 18:00", env=lager.environment).code == 0


def test_a_planned_start_is_told_by_its_moment(lager: RealDaemon, profile: str) -> None:
    shown = on_terminal(
        "start", profile, "--at", "2031-12-24 08:00", env=lager.environment | {"NO_COLOR": "1"}
    )
    assert "starts at Wed 24 Dec, 08:00" in shown.out


def test_a_change_stands_in_the_journal_with_who_and_why(lager: RealDaemon, profile: str) -> None:
    run("start", profile, env=lager.environment)
    changed = run("extend", "12h", "--why", "the airlock is still busy", env=lager.environment)
    assert changed.code == 0
    assert lager.journal.flush()
    told = run("log", env=lager.environment).out
    user = pwd.getpwuid(os.getuid()).pw_name
    assert f"make the step 12 h longer, asked by {user} and taken" in told
    assert f"note by {user}: why: the airlock is still busy" in told
