"""`fermd check`, `fermd profiles`, `fermd example` and `fermd log`: what works without a daemon."""

import os
from pathlib import Path

import pytest
from cli_rig import ALE, LAGER, PROFILE, RealDaemon, on_terminal, run

from fermd.config.profile_file import load_profile, shipped_profiles
from fermd.hardware.fake_w1 import FakeW1Tree


def _site(folder: Path, text: str = LAGER + ALE) -> Path:
    path = folder / "fermd.toml"
    text = text.replace("W1ROOT", str(folder / "w1")).replace("SOCKET", str(folder / "s"))
    path.write_text(text.replace("JOURNAL", str(folder / "journal.db")))
    return path


def test_the_examples_that_are_printed_are_good_site_files(tmp_path: Path) -> None:
    for option in ([], ["--short"]):
        site = tmp_path / "fermd.toml"
        site.write_text(run("example", *option).out)
        ended = run("check", "--site", str(site))
        assert (ended.code, ended.err) == (0, "")
        assert "all right (site file, chambers: lager)" in ended.out


def test_check_tells_all_faults_of_all_files_at_once(tmp_path: Path) -> None:
    broken = (LAGER + ALE).replace("gpio = 17", "gpio = 17.5").replace('"cool"', '"cold"')
    site = _site(tmp_path, broken)
    profile = tmp_path / "bad.toml"
    profile.write_text(PROFILE.replace("target_c = 10.0", "target_c = 100"))
    ended = run("check", "--site", str(site), str(profile), "no-such-profile")
    assert ended.code == os.EX_CONFIG
    lines = ended.err.splitlines()
    assert any(line.startswith(f"{site}: output.fridge.gpio = 17.5: ") for line in lines)
    assert any(line.startswith(f'{site}: output.fridge.duty = "cold": ') for line in lines)
    assert any(line.startswith(f"{profile}: step[1].target_c = 100: ") for line in lines)
    assert any("no-such-profile" in line for line in lines)


def test_check_as_json_names_key_value_and_reason(tmp_path: Path) -> None:
    site = _site(tmp_path, LAGER.replace("gpio = 17", "gpio = 17.5"))
    ended = run("check", "--site", str(site), "cold-crash", "--json")
    assert ended.code == os.EX_CONFIG
    told = ended.json
    assert told["ok"] is False
    (fault,) = told["files"][0]["faults"]
    assert (fault["key"], fault["value"]) == ("output.fridge.gpio", "17.5")
    assert "whole number" in fault["why"]
    assert told["files"][1]["ok"] is True


def test_a_profile_is_held_against_the_chambers_of_the_site(tmp_path: Path) -> None:
    site = _site(tmp_path)
    profile = tmp_path / "cold.toml"
    profile.write_text(PROFILE.replace("target_c = 2.0", "target_c = -4.0"))
    ended = run("check", "--site", str(site), str(profile))
    assert ended.code == os.EX_CONFIG
    assert "in chamber lager" in ended.err
    assert "in chamber ale" in ended.err
    one = run("check", "--site", str(site), str(profile), "--chamber", "ale")
    assert "in chamber lager" not in one.err
    none = run("check", "--site", str(site), str(profile), "--chamber", "stout")
    assert none.code == os.EX_USAGE
    assert "there are lager, ale" in none.err


def test_probes_of_the_site_that_are_not_on_the_bus_are_faults_if_asked_for(
    tmp_path: Path,
) -> None:
    tree = FakeW1Tree(tmp_path)
    site = _site(tmp_path, LAGER.replace("W1ROOT", str(tree.root)))
    assert run("check", "--site", str(site)).code == 0
    ended = run("check", "--site", str(site), "--bus")
    assert ended.code == os.EX_CONFIG
    assert 'probe.vessel.id = "28-000006b67845": is not on the bus' in ended.err


def test_every_shipped_profile_is_listed_and_shown_with_its_length() -> None:
    listed = {one["name"]: one for one in run("profiles", "--json").json}
    assert set(listed) == set(shipped_profiles())
    assert listed["lager-diacetyl-rest"]["planned_s"] == 23.5 * 86400
    shown = run("profiles").out
    for name, path in shipped_profiles().items():
        assert name in shown
        one = run("profiles", name).out
        assert load_profile(path).name in one
        assert one.splitlines()[-1].startswith("In all ")


def test_a_profile_is_shown_step_by_step_with_its_durations(tmp_path: Path) -> None:
    file = tmp_path / "p.toml"
    file.write_text(PROFILE)
    shown = run("profiles", str(file)).out.splitlines()
    rows = [line.split(maxsplit=1) for line in shown[2:6]]
    assert [number for number, _ in rows] == ["1", "2", "3", "4"]
    assert "10.0 °C     5 d" in rows[0][1]
    # From 10 to 16 °C at 2 °C a day.
    assert "to 16.0 °C  3 d" in rows[1][1]
    assert "a person  waits for a person: taste it" in rows[2][1]
    assert "no end" in rows[3][1]
    assert shown[6] == "In all 8 d, and what the beer or a person takes besides."
    assert "°C" not in run("profiles", str(file), "-F").out
    steps = run("profiles", str(file), "--json").json["steps"]
    assert [step["takes_s"] for step in steps] == [5 * 86400, 3 * 86400, None, 0]


def test_own_profiles_stand_beside_the_shipped_ones_and_a_broken_one_hides_none(
    tmp_path: Path,
) -> None:
    (tmp_path / "mine.toml").write_text(PROFILE)
    (tmp_path / "broken.toml").write_text("name =")
    ended = run("profiles", "--folder", str(tmp_path), "--json")
    assert {one["name"]: one["own"] for one in ended.json}["mine"] is True
    assert len(ended.json) == len(shipped_profiles()) + 1
    assert "broken.toml" in ended.err
    beside = {"FERMD_SITE": str(tmp_path / "fermd.toml")}
    (tmp_path / "profiles").mkdir()
    (tmp_path / "profiles" / "mine.toml").write_text(PROFILE)
    assert run("profiles", "mine", env=beside).out.startswith("Test lager\n")


def test_the_log_is_told_by_the_daemon_and_by_its_journal_alike(lager: RealDaemon) -> None:
    run("target", "12", env=lager.environment)
    run("note", "pitched", env=lager.environment)
    events = ("note by", "target 12.0 °C (hand)", "started")
    while "note by" not in (told := run("log", env=lager.environment).out):
        continue
    for words in events:
        assert words in told
    # People read downward: what came first stands first.
    assert told.index("started") < told.index("target 12.0 °C") < told.index("note by")
    from_file = run("log", "--journal", str(lager.site.journal_path)).out
    assert from_file == told
    in_fahrenheit = run("log", "-F", env=lager.environment).out
    assert "target 53.6 °F (hand)" in in_fahrenheit
    assert len(run("log", "--last", "2", "--json", env=lager.environment).json) == 2


def test_the_log_of_one_chamber_leaves_out_the_others(two: RealDaemon) -> None:
    run("note", "-c", "ale", "bubbling", env=two.environment)
    while "bubbling" not in run("log", env=two.environment).out:
        continue
    chambers = {
        one["chamber"] for one in run("log", "-c", "ale", "--json", env=two.environment).json
    }
    assert chambers == {"", "ale"}
    lager_only = run("log", "-c", "lager", env=two.environment).out
    assert "bubbling" not in lager_only


def test_the_log_is_read_from_the_journal_when_no_daemon_runs() -> None:
    with RealDaemon() as daemon:
        run("note", "the last word", env=daemon.environment)
    ended = run("log", env=daemon.environment)
    assert ended.code == 0
    assert "note by" in ended.out
    assert "stopped cleanly" in ended.out.splitlines()[-1]
    daemon.remove()


def test_a_note_cannot_garble_the_terminal_of_whoever_reads_it(lager: RealDaemon) -> None:
    run("note", "\x1b[2J\x1b]0;ha\x07 gone\nsecond line", env=lager.environment)
    while "gone" not in (told := run("log", env=lager.environment).out):
        continue
    assert "\x1b" not in told
    assert "gone second line" in told
    assert "\x1b[2J" not in on_terminal("log", env=lager.environment | {"NO_COLOR": "1"}).out
    assert "\x1b" in run("log", "--json", env=lager.environment).json[-1]["words"]


@pytest.mark.parametrize("content", [b"", b"not a journal", b"SQLite format 3\0" + b"\xff" * 5000])
def test_a_file_that_is_no_journal_is_told_in_one_line(tmp_path: Path, content: bytes) -> None:
    file = tmp_path / "journal.db"
    file.write_bytes(content)
    ended = run("log", "--journal", str(file))
    assert ended.code == os.EX_IOERR
    assert str(file) in ended.err
    assert run("log", "--journal", str(tmp_path / "none.db")).code == os.EX_NOINPUT
