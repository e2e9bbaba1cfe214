"""The command line: one file a command, each with a click command named `command`.

What all commands share: `catalogue` (which commands there are, and how one ends), `exits` (exit
codes and failures), `options` (what can be said to more than one command), `client` (talking to
the daemon), `screen` (what is shown, and when to be quiet).

Rules that hold in here: nothing heavy is imported before the command that needs it runs, so that
help is quick on a slow board; data goes to standard output, errors to standard error; where
standard output is not a terminal there are no colours and no chatter.
"""

from __future__ import annotations


def main() -> None:
    """Run the command line with the arguments of the process, and end it with an exit code."""
    from fermd.cli.catalogue import fermd

    fermd.main()
