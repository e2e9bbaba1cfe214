"""Command lines: made from the options that the commands really have, with what people mistype.

The commands run in this process, without a daemon and with one that is in charge.
"""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Sequence
from pathlib import Path
from typing import Any, Final, Self

import click
from cli_rig import LAGER, PROFILE, RealDaemon, run
from hostile import STRANGE_NUMBERS, misspelt, strange_texts
from hypothesis import strategies as st
from territory import Territory, Verdict

from fermd.cli.catalogue import COMMANDS, fermd
from fermd.cli.exits import EXIT_CODES

ENDLESS: Final = {"run", "demo", "try", "rehearse", "size", "preview"}
"""These work until somebody ends them, or for seconds."""
ALLOWED: Final = set(EXIT_CODES) - {os.EX_SOFTWARE}
NAMES: Final = sorted(set(COMMANDS) - ENDLESS)
GOOD: Final = (
    *("lager", "10", "-1", "68F", "12h", "-6h", "2 d", "fri 18:00", "on", "off", "heat", "cool"),
    *("lager-diacetyl-rest", "fridge", "bash", "SITE", "PROFILE", "SPOILT", "FOLDER", "MISSING"),
)


def _options(name: str) -> list[str]:
    command = fermd.get_command(click.Context(fermd), name)
    assert command is not None
    return [
        text
        for parameter in command.params
        if isinstance(parameter, click.Option)
        for text in parameter.opts
        if text not in ("--watch",)
    ]


OPTIONS: Final = {name: _options(name) for name in NAMES}


@st.composite
def lines(draw: st.DrawFn) -> list[str]:
    """A command line."""
    name = draw(st.sampled_from(NAMES))
    words = []
    for _ in range(draw(st.integers(0, 5))):
        kind = draw(st.integers(0, 9))
        if kind < 4 and OPTIONS[name]:
            words.append(draw(st.sampled_from(OPTIONS[name])))
        elif kind < 8:
            words.append(draw(st.sampled_from(GOOD)))
        else:
            words.append(
                draw(
                    st.one_of(
                        strange_texts,
                        st.sampled_from(
                            [*STRANGE_NUMBERS, "/dev/null", "/dev/zero", "--", "\udcff"]
                        ),
                    )
                )
            )
        if draw(st.integers(0, 14)) == 0:
            words[-1] = misspelt(words[-1], draw)
    if draw(st.integers(0, 19)) == 0:
        name = misspelt(name, draw)
    if name in ENDLESS:
        name = "status"
    return [name, *words]


class Arguments(Territory):
    """A command line, and whether there is a daemon."""

    name = "arguments"
    inputs = st.tuples(lines(), st.booleans(), st.one_of(st.just(""), st.just("y\n")))

    def __enter__(self) -> Self:
        self._folder = Path(tempfile.mkdtemp(prefix="fermd-cli-"))
        self._daemon = RealDaemon()
        self._daemon.__enter__()
        self._before = Path.cwd()
        os.chdir(self._folder)
        for name, text in {"SITE": LAGER, "PROFILE": PROFILE, "SPOILT": "[["}.items():
            Path(name).write_text(text, "utf-8")
        Path("FOLDER").mkdir()
        return self

    def __exit__(self, *_: object) -> None:
        os.chdir(self._before)
        self._daemon.__exit__(None, None, None)
        self._daemon.remove()
        shutil.rmtree(self._folder)

    def judge(self, given: Any) -> Sequence[Verdict]:
        words, with_daemon, typed = given
        environment = self._daemon.environment if with_daemon else {}
        ended = run(*words, env=environment, typed=typed)
        assert ended.code in ALLOWED, ended
        said = ended.err.strip()
        if ended.code == os.EX_OK:
            return [Verdict(True)]
        assert said or ended.out, "it failed without a word"
        assert all(c.isprintable() or c in "\n\t" for c in said), "would garble a terminal"
        return [Verdict(False, said.splitlines()[0] if said else "")]
