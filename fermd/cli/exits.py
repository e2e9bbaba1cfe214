"""How a command ends: one table of exit codes (those of sysexits.h), and failures that have one."""

from __future__ import annotations

import os
import signal
import sys
from collections.abc import Mapping
from typing import Final

import click

ANSWERED_NO: Final = 1
HUNG_UP: Final = 128 + signal.SIGHUP
INTERRUPTED: Final = 128 + signal.SIGINT
PIPE_CLOSED: Final = 128 + signal.SIGPIPE
TERMINATED: Final = 128 + signal.SIGTERM
"""Ends by a signal are counted as shells do."""

EXIT_CODES: Final[Mapping[int, str]] = {
    os.EX_OK: "done",
    ANSWERED_NO: "nothing was done: the question was answered with no",
    os.EX_USAGE: "the command line is wrong",
    os.EX_DATAERR: "the daemon does not understand a value, or a document to import is wrong",
    os.EX_NOINPUT: "a file that was named is not there",
    os.EX_UNAVAILABLE: "the daemon cannot be reached, or there is no probe",
    os.EX_SOFTWARE: "a fault in fermd itself",
    os.EX_CANTCREAT: "a file or a lock cannot be made",
    os.EX_IOERR: "reading or writing failed",
    os.EX_TEMPFAIL: "refused by the daemon, or held by protection",
    os.EX_PROTOCOL: "the daemon's answer cannot be understood",
    os.EX_NOPERM: "this user may not",
    os.EX_CONFIG: "a site file or a profile is wrong",
    HUNG_UP: "the terminal was closed",
    INTERRUPTED: "interrupted with Ctrl-C",
    PIPE_CLOSED: "whoever was reading has gone",
    TERMINATED: "ended with kill",
}
"""Every exit code and what it means."""


class Failure(click.ClickException):
    """The command cannot be done: what is wrong and what to do, and the exit code."""

    def __init__(self, message: str, exit_code: int) -> None:
        super().__init__(message)
        self.code = exit_code


def told(message: str) -> str:
    """An error's text as it is shown; each line begins with the program's name.

    What was typed stands in it as it was typed, and must not garble the terminal.
    """
    lines = message.splitlines() or [""]
    return "\n".join(f"fermd: {_printable(line)}" for line in lines)


def _printable(line: str) -> str:
    return "".join(c if c.isprintable() or c == "\t" else "\N{REPLACEMENT CHARACTER}" for c in line)


def usage_told(error: click.UsageError) -> str:
    """What is wrong with the command line, and where to read on."""
    path = error.ctx.command_path if error.ctx is not None else "fermd"
    message = error.format_message()
    if not message.endswith((".", "?", "!", ")")):
        message += "."
    return f"{told(message)}\nSee `{path} --help`."


def complain(text: str) -> None:
    """Say something on standard error; if nobody can hear it, so be it."""
    try:
        print(text, file=sys.stderr, flush=True)
    except OSError:
        # Standard error is closed; the exit code still tells.
        return
