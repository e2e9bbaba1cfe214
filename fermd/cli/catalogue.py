"""Which commands there are, in the order in which a brewer needs them; and how one ends.

A command's file is imported when the command is used, not before. Whatever happens in a command,
here it becomes one clear message and an exit code; a traceback is shown only with `--debug`.
"""

from __future__ import annotations

import importlib
import os
import sys
import traceback
from collections.abc import Mapping, Sequence
from typing import Any, Final, NamedTuple, NoReturn

import click

from fermd import __version__
from fermd.cli.exits import (
    EXIT_CODES,
    INTERRUPTED,
    PIPE_CLOSED,
    Failure,
    complain,
    told,
    usage_told,
)

PROGRAM: Final = "fermd"
COMPLETION_VARIABLE: Final = "_FERMD_COMPLETE"


class Entry(NamedTuple):
    """One command."""

    module: str
    """Its file in this folder."""
    short: str
    """What it does, in a few words; the first sentence of its own help."""


SECTIONS: Final[Mapping[str, Mapping[str, Entry]]] = {
    "Commission": {
        "example": Entry("example", "Print a site file to start from."),
        "check": Entry("check", "Check the site file and profiles, and tell all that is wrong."),
        "probes": Entry("probes", "List the probes and read them."),
        "calibrate": Entry("calibrate", "Calibrate a probe in ice water."),
        "password": Entry("password", "Set the password of the page on the network."),
        "try": Entry("try_output", "Try an output for a while, with its protection kept."),
        "demo": Entry(
            "demo", "Run a whole batch on a simulated chamber, with live progress and a summary."
        ),
    },
    "Plan": {
        "preview": Entry("preview", "Show a profile on the calendar, and what to beware of."),
        "rehearse": Entry("rehearse", "Rehearse a whole batch on a simulated chamber."),
        "size": Entry("size", "Say whether the chamber is big enough, with the working shown."),
    },
    "Run": {
        "run": Entry("run", "Take charge of a site until stopped (what the service runs)."),
        "status": Entry("status", "Show what every chamber does and why."),
        "profiles": Entry("profiles", "List the profiles, or show one."),
        "import": Entry("import_steps", "Make a profile from a recipe in BeerJSON or BeerXML."),
        "export": Entry("export_steps", "Write a profile as BeerJSON."),
        "start": Entry("start", "Start a profile."),
        "cancel": Entry("cancel", "Take back a planned start."),
        "release": Entry("release", "Drive every relay of a site off and leave it off."),
    },
    "Step in": {
        "target": Entry("target", "Set a target by hand."),
        "off": Entry("off", "Switch a chamber off: no target, no heat, no cooling."),
        "pause": Entry("pause", "Pause the profile and hold the target where it is."),
        "resume": Entry("resume", "Go on with the paused profile."),
        "skip": Entry("skip", "Go to the profile's next step now."),
        "goto": Entry("goto", "Go to a step of the profile now, forward or back."),
        "change": Entry("change", "Change the running profile: this step's target, or the rest."),
        "undo": Entry("undo", "Undo every change to the running profile."),
        "extend": Entry("extend", "Make the present step longer or shorter."),
        "confirm": Entry("confirm", "Give the word that a waiting step waits for."),
        "stop": Entry("stop", "End the profile and hold its last target."),
        "acknowledge": Entry("acknowledge", "Say that an alarm has been seen."),
    },
    "Look back": {
        "alarms": Entry("alarms", "List the alarms that are not cleared, or explain one."),
        "messages": Entry(
            "messages",
            "List the messages that wait for a recipient, or send everybody a try message.",
        ),
        "note": Entry("note", "Write a note into the journal."),
        "log": Entry("log", "Tell what happened."),
        "review": Entry(
            "review", "Review a batch: how it was held, what disturbed it, what it cost."
        ),
        "extract": Entry("extract", "Write a span of the record as CSV or Parquet."),
    },
    "Keep": {
        "backup": Entry("backup", "Copy the journal while it is in use."),
        "restore": Entry("restore", "Put a backup in the journal's place."),
        "repair": Entry("repair", "Check the journal, and carry what is readable into a new one."),
        "completion": Entry("completion", "Print what makes a shell complete fermd's commands."),
    },
}

COMMANDS: Final[Mapping[str, Entry]] = {
    name: entry for section in SECTIONS.values() for name, entry in section.items()
}


class Catalogue(click.Group):
    """All commands, each loaded when it is needed."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002 - click's signature
        """Return the commands' names in the order of the help."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # noqa: ARG002
        """Load a command's file."""
        entry = COMMANDS.get(cmd_name)
        if entry is None:
            return None
        command: click.Command = importlib.import_module(f"fermd.cli.{entry.module}").command
        return command

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Find the command that the arguments begin with, or say which one may be meant."""
        name = args[0]
        if name not in COMMANDS and not name.startswith("-"):
            import difflib

            close = difflib.get_close_matches(name[:40], COMMANDS, n=1)
            meant = f"did you mean {close[0]}?" if close else f"there are {', '.join(COMMANDS)}"
            ctx.fail(f"{printable(name)!r} is not a command; {meant}")
        return super().resolve_command(ctx, args)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:  # noqa: ARG002
        """Write the commands by section; no command is loaded for it."""
        widest = max(len(name) for name in COMMANDS)
        for section, entries in SECTIONS.items():
            with formatter.section(section):
                rows = [(name.ljust(widest), entry.short) for name, entry in entries.items()]
                formatter.write_dl(rows)

    def format_epilog(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:  # noqa: ARG002
        """Write the examples, where to read on, and the exit codes."""
        with formatter.section("Examples"):
            formatter.write_dl(
                [
                    ("fermd example > fermd.toml", "begin a site file"),
                    ("fermd check --site fermd.toml", "is it right?"),
                    ("fermd probes", "which probes are there?"),
                    ("fermd status", "is everything all right?"),
                    ("fermd COMMAND --help", "more of these for each command"),
                ]
            )
        with formatter.section("Exit codes"):
            formatter.write_dl([(str(code), means) for code, means in EXIT_CODES.items()])

    def main(
        self,
        args: Sequence[str] | None = None,
        prog_name: str | None = None,
        complete_var: str | None = None,
        standalone_mode: bool = True,  # noqa: ARG002
        windows_expand_args: bool = True,  # noqa: ARG002
        **extra: Any,
    ) -> NoReturn:
        """Run the command that the arguments name; end the process with its exit code."""
        name = prog_name or PROGRAM
        arguments = list(sys.argv[1:] if args is None else args)
        instruction = os.environ.get(complete_var or COMPLETION_VARIABLE)
        if instruction:
            from click.shell_completion import shell_complete

            variable = complete_var or COMPLETION_VARIABLE
            sys.exit(shell_complete(self, {}, name, variable, instruction))
        sys.exit(self._outcome(name, arguments, extra))

    def _outcome(self, name: str, arguments: list[str], extra: dict[str, Any]) -> int:
        """Run it; whatever it ends with becomes an exit code."""
        debug = "--debug" in arguments
        try:
            code = self._run(name, arguments, extra)
            sys.stdout.flush()
        except click.UsageError as error:
            return _usage(error)
        except click.ClickException as error:
            complain(told(error.format_message()))
            return error.code if isinstance(error, Failure) else os.EX_USAGE
        except (KeyboardInterrupt, EOFError, click.Abort):
            complain("")
            return INTERRUPTED
        except BrokenPipeError:
            _close_stdout()
            return PIPE_CLOSED
        except OSError as error:
            if debug:
                traceback.print_exc()
            where = f"{error.filename}: " if error.filename else ""
            complain(told(f"{where}{error.strerror or error}"))
            _close_stdout()
            return os.EX_IOERR
        except Exception as error:  # noqa: BLE001 - the last one to know; told below
            return _fault(error, debug)
        return code

    def _run(self, name: str, arguments: list[str], extra: dict[str, Any]) -> int:
        for stream in (sys.stdout, sys.stderr):
            if hasattr(stream, "reconfigure"):
                # A terminal that does not know "°" gets a "?", not an exception.
                stream.reconfigure(errors="replace")
        try:
            with self.make_context(name, arguments, **extra) as context:
                self.invoke(context)
        except click.exceptions.Exit as end:
            return end.exit_code
        return os.EX_OK


def printable(text: str) -> str:
    """Without what could garble a terminal; shortened."""
    shown = text if len(text) <= 60 else text[:60] + "…"
    return "".join(c if c.isprintable() else "\N{REPLACEMENT CHARACTER}" for c in shown)


def _usage(error: click.UsageError) -> int:
    if isinstance(error, click.exceptions.NoArgsIsHelpError):
        complain(error.format_message())
    else:
        complain(usage_told(error))
    return os.EX_USAGE


def _fault(error: Exception, debug: bool) -> int:
    from fermd.config.errors import ConfigError

    if isinstance(error, ConfigError):
        complain(told(str(error)))
        return error.exit_code
    if debug:
        traceback.print_exc()
        return os.EX_SOFTWARE
    first = (str(error).splitlines() or [""])[0]
    what = f"{type(error).__name__}: {printable(first)}"
    complain(told(f"unexpected error: {what}; run it with `fermd --debug` for the traceback"))
    return os.EX_SOFTWARE


def _close_stdout() -> None:
    """Let what is left in the buffer go nowhere, so that the interpreter's exit is quiet."""
    try:
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, sys.stdout.fileno())
        os.close(nowhere)
    except (OSError, ValueError):
        # No descriptor behind it: nothing is left to be written either.
        return


@click.group(
    cls=Catalogue,
    name=PROGRAM,
    subcommand_metavar="COMMAND [ARGUMENTS]...",
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
)
@click.version_option(__version__, "-V", "--version", message="fermd %(version)s")
@click.option("--debug", is_flag=True, help="Show the traceback of an unexpected error.")
def fermd(debug: bool) -> None:
    """The thermostat in charge of a fermentation chamber.

    Status and control talk to the running daemon over its Unix socket; the other commands work
    without it.
    """
