"""Whatever is typed, the answer is an exit code of the table and never a traceback."""

import os
from collections.abc import Iterator
from pathlib import Path

import pytest
from cli_rig import LAGER, RealDaemon, run
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fermd.cli.catalogue import COMMANDS
from fermd.cli.exits import EXIT_CODES

# These work until somebody ends them.
ENDLESS = {"run", "demo", "try"}
QUICK = sorted(set(COMMANDS) - ENDLESS)

TYPED = """
    --json --yes --chamber lager ale -c -F --site --socket --for 10 -1 68F 12h -6h on off heat
    cool fridge cold-crash --all --last 5 -- - --bus --root --folder --journal --short bash
    /dev/null /dev/zero / . --debug --help
"""

WORDS = st.one_of(
    st.text(max_size=12),
    st.sampled_from([*TYPED.split(), "\udcff", "\0"]),
    st.floats().map(str),
    st.integers().map(lambda number: f"{number}h"),
)
ALLOWED = set(EXIT_CODES) - {os.EX_SOFTWARE}

LINES = st.tuples(st.sampled_from(QUICK), st.lists(WORDS, max_size=5))


@pytest.fixture(scope="module")
def standing() -> Iterator[RealDaemon]:
    with RealDaemon() as daemon:
        yield daemon
    daemon.remove()


@given(st.lists(WORDS, max_size=4))
@settings(max_examples=50, deadline=None)
def test_any_words_after_the_name_of_the_program(words: list[str]) -> None:
    assert run(*words).code in ALLOWED


@given(LINES)
@settings(max_examples=150, deadline=None)
def test_any_words_after_the_name_of_a_command_without_a_daemon(
    line: tuple[str, list[str]],
) -> None:
    assert run(line[0], *line[1]).code in ALLOWED


@given(LINES)
@settings(
    max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
def test_any_words_after_the_name_of_a_command_with_a_daemon(
    standing: RealDaemon, line: tuple[str, list[str]]
) -> None:
    assert run(line[0], *line[1], env=standing.environment).code in ALLOWED


@given(st.one_of(st.binary(max_size=200), st.text(max_size=200).map(str.encode)))
@settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
def test_any_bytes_as_a_site_file_or_a_profile(tmp_path: Path, content: bytes) -> None:
    file = tmp_path / "any.toml"
    file.write_bytes(content)
    assert run("check", "--site", str(file), str(file)).code in ALLOWED
    file.write_bytes(LAGER.encode() + content)
    assert run("check", "--site", str(file)).code in ALLOWED
