"""How commands end: the codes of sysexits, one clear error, never a traceback."""

import os
import re
import signal
import socket
import subprocess
import threading
from pathlib import Path

import pytest
from cli_rig import COMMAND, LAGER, RealDaemon, process, process_environment, run

import fermd
from fermd.cli.exits import EXIT_CODES


@pytest.mark.parametrize(
    ("line", "names"),
    [
        ("statsu", ["'statsu'", "did you mean status?"]),
        ("xyzzy", ["'xyzzy'", "there are example, check"]),
        ("target", ["TEMPERATURE", "fermd target --help"]),
        ("target warm", ["'warm'", "10.5C", "50F"]),
        ("target 10K", ["'10K'"]),
        ("extend 12", ["'12'", "12h"]),
        ("try fridge maybe", ["'maybe'", "on", "off"]),
        ("try fridge on --for soon", ["'soon'", "90s"]),
        ("log --last 0", ["0", "1<=x<=1000"]),
        ("status --cahmber lager", ["--cahmber", "--chamber"]),
        ("status --watch", ["--watch", "terminal"]),
        ("note", ["WORDS"]),
        ("completion tcsh", ["'tcsh'", "bash"]),
    ],
)
def test_a_wrong_command_line_is_one_error_that_says_what_is_allowed(
    line: str, names: list[str]
) -> None:
    ended = run(*line.split())
    assert ended.code == os.EX_USAGE
    assert ended.out == ""
    for name in names:
        assert name in ended.err
    assert ended.err.startswith("fermd: ")
    assert ended.err.splitlines()[-1].startswith("See `fermd")


def test_without_a_daemon_the_error_names_the_socket_and_what_to_do(tmp_path: Path) -> None:
    place = tmp_path / "s"
    ended = process("status", "--socket", str(place))
    assert ended.code == os.EX_UNAVAILABLE
    assert ended.out == ""
    assert len(ended.err.splitlines()) == 1
    for part in (str(place), "not running", "systemctl start fermd", "--socket"):
        assert part in ended.err


def test_a_socket_that_a_killed_daemon_left_behind_is_told_from_a_running_one(
    tmp_path: Path,
) -> None:
    place = tmp_path / "s"
    with socket.socket(socket.AF_UNIX) as left_behind:
        left_behind.bind(str(place))
    ended = run("status", "--socket", str(place))
    assert ended.code == os.EX_UNAVAILABLE
    assert "nobody listens there" in ended.err


def test_a_file_that_is_no_socket_is_no_daemon(tmp_path: Path) -> None:
    place = tmp_path / "s"
    place.touch()
    assert run("status", "--socket", str(place)).code == os.EX_UNAVAILABLE


def test_a_path_that_no_socket_can_have_is_no_daemon(tmp_path: Path) -> None:
    ended = run("status", "--socket", str(tmp_path / ("x" * 200)))
    assert ended.code == os.EX_UNAVAILABLE


def _as_nobody(daemon: RealDaemon, *args: str) -> subprocess.CompletedProcess[str]:
    """Run a command without root's rights, which no file's mode can stop."""
    code = "from fermd.cli import main; main()"
    if os.getuid() == 0:
        loaded = (
            "import fermd.cli.client, fermd.cli.status, fermd.cli.check, fermd.config.site_file"
        )
        code = f"{loaded}; import os; os.setuid(65534); {code}"
    daemon.folder.chmod(0o755)
    return subprocess.run(
        [COMMAND[0], "-c", code, *args],
        env=process_environment(daemon.environment),
        capture_output=True,
        text=True,
        check=False,
    )


def test_a_user_who_may_not_talk_to_the_daemon_is_told_how_to(lager: RealDaemon) -> None:
    lager.site.socket_path.chmod(0)
    ended = _as_nobody(lager, "status")
    assert ended.returncode == os.EX_NOPERM
    assert "adduser" in ended.stderr
    assert "Traceback" not in ended.stderr


def test_a_site_file_that_may_not_be_read_is_told_apart_from_a_missing_one(
    lager: RealDaemon,
) -> None:
    lager.site_path.chmod(0)
    ended = _as_nobody(lager, "check")
    assert ended.returncode == os.EX_NOPERM
    assert f"{lager.site_path}: may not be read by this user" in ended.stderr


@pytest.mark.parametrize(
    "answer",
    [
        b"hello\n",
        b"HTTP/1.1 200 OK\r\nContent-Length: 2\r\n\r\n[]",
        b"HTTP/1.1 200 OK\r\nContent-Length: 2\r\n\r\n{x",
        b"HTTP/1.1 500 Oops\r\nContent-Length: 0\r\n\r\n",
        b"HTTP/1.1 404 Not Found\r\nContent-Length: 2\r\n\r\n{}",
        b"",
    ],
)
def test_something_else_on_the_socket_is_not_understood(tmp_path: Path, answer: bytes) -> None:
    place = tmp_path / "s"
    with socket.socket(socket.AF_UNIX) as listener:
        listener.bind(str(place))
        listener.listen()

        def talk() -> None:
            asked = b""
            while not asked:
                caller, _ = listener.accept()
                with caller:
                    asked = caller.recv(65536)
                    if asked:
                        caller.sendall(answer)

        talker = threading.Thread(target=talk)
        talker.start()
        ended = run("status", "--socket", str(place))
        talker.join()
    assert ended.code == os.EX_PROTOCOL
    assert "cannot be understood" in ended.err


def test_a_loop_that_has_not_run_yet_is_unavailable(tmp_path: Path) -> None:
    from fermd.web.api import application
    from fermd.web.orders import Readers
    from fermd.web.server import UnixServer

    class NotYet:
        requests = None

        def snapshot(self) -> None:
            return None

    with UnixServer(application(NotYet(), Readers(lambda _: None, lambda _: 0.0)), tmp_path / "s"):  # type: ignore[arg-type]
        ended = run("status", "--socket", str(tmp_path / "s"))
    assert ended.code == os.EX_UNAVAILABLE
    assert "try again" in ended.err


def test_a_site_file_that_is_not_there_is_no_input(tmp_path: Path) -> None:
    for command in ("check", "status", "probes", "log"):
        ended = run(command, "--site", str(tmp_path / "none.toml"))
        assert ended.code == os.EX_NOINPUT, command
        assert str(tmp_path / "none.toml") in ended.err


def test_a_site_file_with_a_fault_is_a_fault_of_configuration(tmp_path: Path) -> None:
    site = tmp_path / "fermd.toml"
    site.write_text("time_zone = 5\n")
    assert run("check", "--site", str(site)).code == os.EX_CONFIG
    site.write_text("socket_path = 5\n")
    ended = run("status", "--site", str(site))
    assert ended.code == os.EX_CONFIG
    assert "socket_path = 5: must be a path in quotes" in ended.err


def test_a_closed_pipe_ends_a_command_quietly() -> None:
    mine, theirs = os.pipe()
    os.close(mine)
    ended = subprocess.run(
        [*COMMAND, "example"], stdout=theirs, stderr=subprocess.PIPE, check=False
    )
    os.close(theirs)
    assert ended.returncode == 128 + signal.SIGPIPE
    assert ended.stderr == b""


def test_a_full_disk_under_the_output_is_one_error() -> None:
    with Path("/dev/full").open("w") as full:
        ended = subprocess.run(
            [*COMMAND, "example"], stdout=full, stderr=subprocess.PIPE, text=True, check=False
        )
    assert ended.returncode == os.EX_IOERR
    assert len(ended.stderr.splitlines()) == 1


def test_an_unexpected_error_is_one_line_and_a_traceback_only_if_asked_for() -> None:
    broken = (
        "import sys, fermd.cli.example, fermd.config.example as e\n"
        "e.example_site = lambda: 1 / 0\n"
        "from fermd.cli import main\n"
        "main()\n"
    )

    def ended(*args: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            [COMMAND[0], "-c", broken, *args], capture_output=True, text=True, check=False
        )

    short, long = ended("example"), ended("--debug", "example")
    assert short.returncode == long.returncode == os.EX_SOFTWARE
    assert short.stderr == (
        "fermd: unexpected error: ZeroDivisionError: division by zero; run it with "
        "`fermd --debug` for the traceback\n"
    )
    assert "Traceback" in long.stderr


def test_every_code_that_is_used_is_in_the_table() -> None:
    ours = {1, 128 + signal.SIGINT, 128 + signal.SIGPIPE, 128 + signal.SIGTERM, 128 + signal.SIGHUP}
    files = Path(fermd.__file__).parent.rglob("*.py")
    names = {name for file in files for name in re.findall(r"\bos\.(EX_[A-Z]+)", file.read_text())}
    used = {int(getattr(os, name)) for name in names}
    assert {os.EX_OK, os.EX_USAGE, os.EX_CONFIG} < used
    assert set(EXIT_CODES) == ours | used


def test_output_that_the_terminal_cannot_show_is_replaced(lager: RealDaemon) -> None:
    ascii_only = lager.environment | {"PYTHONIOENCODING": "ascii"}
    shown = process("status", env=ascii_only)
    assert shown.code == 0
    assert "19.50 ?C" in shown.out
    assert process("status", "--json", env=ascii_only).json["chambers"]["lager"]["vessel"][
        "words"
    ] == ("19.50 °C")


def test_the_socket_is_found_by_option_environment_and_site_file(lager: RealDaemon) -> None:
    named = str(lager.site.socket_path)
    assert run("status", "--socket", named).code == 0
    assert run("status", env={"FERMD_SOCKET": named}).code == 0
    assert run("status", "--site", str(lager.site_path)).code == 0
    assert run("status", env={"FERMD_SITE": str(lager.site_path)}).code == 0


def test_a_proxy_in_the_environment_is_not_asked(lager: RealDaemon) -> None:
    proxies = {"HTTP_PROXY": "http://127.0.0.1:1", "ALL_PROXY": "http://127.0.0.1:1"}
    assert run("status", env=lager.environment | proxies).code == 0


def test_the_test_site_is_a_sound_one(tmp_path: Path) -> None:
    site = tmp_path / "fermd.toml"
    text = LAGER.replace("JOURNAL", "/var/lib/fermd/j.db").replace("SOCKET", "/run/fermd/s")
    site.write_text(text.replace("W1ROOT", str(tmp_path)))
    assert run("check", "--site", str(site)).code == 0


@pytest.mark.parametrize("word", ["\x00", "\x1b[31m", "\u202e"])
def test_what_was_typed_does_not_garble_the_terminal(word: str) -> None:
    ended = run("log", word)
    assert ended.code == os.EX_USAGE
    assert ended.err.replace("\n", "").isprintable()
