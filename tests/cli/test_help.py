"""Every command has help with examples that can be typed, and help comes quickly."""

import importlib
import re
import resource
import shlex
import subprocess

import click
import pytest
from cli_rig import COMMAND, RealDaemon, process, process_environment, run

from fermd import __version__
from fermd.cli.catalogue import COMMANDS, SECTIONS, fermd
from fermd.cli.exits import EXIT_CODES


def _command(name: str) -> click.Command:
    command: click.Command = importlib.import_module(f"fermd.cli.{COMMANDS[name].module}").command
    return command


def _examples(name: str) -> list[str]:
    command = _command(name)
    given = getattr(command, "examples", None)
    if given is not None:
        return [line for line, _ in given]
    return re.findall(r"^\s+(fermd .*)$", command.epilog or "", re.M)


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_has_help_with_an_example(name: str) -> None:
    for option in ("--help", "-h"):
        shown = run(name, option)
        assert shown.code == 0
        assert f"fermd {name}" in shown.out.split("Examples:")[1]


@pytest.mark.parametrize("name", COMMANDS)
def test_every_example_can_be_typed(name: str) -> None:
    examples = _examples(name)
    assert examples
    for example in examples:
        inner = re.search(r"\$\((.*)\)", example)
        for line in (inner[1] if inner else example).split("&&"):
            words = shlex.split(line)
            words = words[: words.index(">")] if ">" in words else words
            assert words[0] == "fermd"
            # Parses the options and arguments and runs nothing.
            _command(words[1]).make_context(words[1], words[2:])


@pytest.mark.parametrize("name", COMMANDS)
def test_the_list_of_commands_says_what_the_command_itself_says(name: str) -> None:
    first_sentence = (_command(name).help or "").split("\n\n")[0].replace("\n", " ").strip()
    assert COMMANDS[name].short == first_sentence


def test_help_groups_the_commands_by_what_a_brewer_does_and_names_the_exit_codes() -> None:
    shown = run("--help").out
    assert [shown.index(f"{section}:") for section in SECTIONS] == sorted(
        shown.index(f"{section}:") for section in SECTIONS
    )
    for code, means in EXIT_CODES.items():
        assert re.search(rf"^  {code} +{re.escape(means)}$", shown, re.M)
    assert max(map(len, shown.splitlines())) <= 80 + len("progress and a summary.")


def test_help_costs_little_processor_time() -> None:
    def used_s() -> float:
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        subprocess.run([*COMMAND, "--help"], env=process_environment(), capture_output=True)
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime

    # Other work on the machine makes it slower, never quicker.
    assert min(used_s() for _ in range(5)) < 0.15


def test_help_loads_nothing_that_it_does_not_need() -> None:
    loaded = "import sys, fermd.cli.catalogue; print(*sys.modules)"
    shown = subprocess.run(
        [COMMAND[0], "-c", loaded], capture_output=True, text=True, check=True
    ).stdout.split()
    assert not {"rich", "httpx", "pydantic", "asyncio", "fermd.control"} & set(shown)


def test_the_version_is_told() -> None:
    assert run("--version").out == f"fermd {__version__}\n"


def test_without_a_command_the_help_is_an_error_of_usage() -> None:
    ended = run()
    assert ended.code == 64
    assert ended.out == ""
    assert "Commission:" in ended.err


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_completion_is_printed_for_every_shell(shell: str) -> None:
    assert "_FERMD_COMPLETE" in run("completion", shell).out


def test_a_shell_gets_commands_and_profiles_completed() -> None:
    def completed(words: str, position: int) -> list[str]:
        asked = {
            "_FERMD_COMPLETE": "bash_complete",
            "COMP_WORDS": words,
            "COMP_CWORD": str(position),
        }
        return process(env=asked).out.split()

    assert completed("fermd st", 1) == ["plain,status", "plain,start", "plain,stop"]
    assert "plain,lager-diacetyl-rest" in completed("fermd start lager", 2)


def test_a_shell_gets_the_chambers_of_the_running_daemon_completed(two: RealDaemon) -> None:
    asked = {
        "_FERMD_COMPLETE": "bash_complete",
        "COMP_WORDS": "fermd target 10 --chamber ",
        "COMP_CWORD": "4",
    }
    assert process(env=asked | two.environment).out.split() == ["plain,lager", "plain,ale"]
    assert process(env=asked | {"FERMD_SOCKET": "/nowhere"}).out.split() == []


def test_the_group_knows_its_commands_in_the_order_of_the_help() -> None:
    assert fermd.list_commands(click.Context(fermd)) == list(COMMANDS)
