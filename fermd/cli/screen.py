"""What is shown, and when to be quiet.

Data goes to standard output in any case. Only a terminal gets colours (none with NO_COLOR set),
lines broken to its width, and words that merely say that something was done: where the output
is piped, the exit code says so.
"""

from __future__ import annotations

import io
import json
import os
import sys
from collections.abc import Iterable, Sequence
from typing import Any, Final

import click
from rich.console import Console, RenderableType
from rich.table import Table
from rich.text import Text

WIDE: Final = 10_000
"""Columns where nothing is to be broken: the output is not for eyes."""

STYLE_BY_SEVERITY: Final = {
    "notice": "cyan",
    "warning": "yellow",
    "critical": "bold red",
}


def on_terminal() -> bool:
    """Tell whether somebody looks at the output as it comes."""
    return sys.stdout.isatty()


def can_ask() -> bool:
    """Tell whether somebody is there to answer a question."""
    return sys.stdin.isatty() and sys.stderr.isatty()


def console() -> Console:
    """A console on standard output, for a terminal."""
    return Console(
        force_terminal=on_terminal(),
        no_color=bool(os.environ.get("NO_COLOR")),
        color_system="auto" if on_terminal() and not os.environ.get("NO_COLOR") else None,
        highlight=False,
        markup=False,
        emoji=False,
    )


def show(*parts: RenderableType) -> None:
    """Show data: for eyes on a terminal, else a line a line with nothing broken or cut."""
    if on_terminal():
        for part in parts:
            console().print(part)
        return
    buffer = io.StringIO()
    plain = Console(
        file=buffer, width=WIDE, color_system=None, highlight=False, markup=False, emoji=False
    )
    for part in parts:
        plain.print(part)
    for line in buffer.getvalue().splitlines():
        print(line.rstrip())


def say(text: str) -> None:
    """Say that something was done; only where somebody looks."""
    if on_terminal():
        print(clean(text))


def show_json(value: object) -> None:
    """Print a value as JSON, over several lines on a terminal and on one elsewhere."""
    known = (sys.stdout.encoding or "").lower().replace("-", "") == "utf8"
    print(json.dumps(value, indent=2 if on_terminal() else None, ensure_ascii=not known))


def sure(question: str, yes: bool, option: str = "--yes") -> bool:
    """Ask before something that is hard to take back.

    Where nobody can be asked it needs the option: raises UsageError without it.
    """
    if yes:
        return True
    if not can_ask():
        raise click.UsageError(f"{question} Nobody can be asked here: say {option} if it is meant.")
    return click.confirm(question, err=True)


def clean(text: object) -> str:
    """Text from elsewhere, without what could garble a terminal; on one line."""
    return "".join(
        c if c.isprintable() else " " if c in "\n\t" else "\N{REPLACEMENT CHARACTER}"
        for c in str(text)
    )


def cleaned(value: Any) -> Any:
    """The same for every text in a JSON value."""
    match value:
        case str():
            return clean(value)
        case list():
            return [cleaned(item) for item in value]
        case dict():
            return {clean(key): cleaned(item) for key, item in value.items()}
        case _:
            return value


def table(head: Sequence[str], rows: Iterable[Sequence[str | Text]]) -> Table:
    """Columns under a head; the last one takes what room there is."""
    found = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="bold")
    for index, name in enumerate(head):
        last = index == len(head) - 1
        found.add_column(name, no_wrap=not last, overflow="fold")
    for row in rows:
        found.add_row(*row)
    return found


def block(rows: Iterable[tuple[str, str | Text]]) -> Table:
    """Names and what there is to say of each, indented."""
    found = Table.grid(padding=(0, 2, 0, 0))
    found.add_column(no_wrap=True)
    found.add_column(overflow="fold")
    for name, words in rows:
        found.add_row(f"  {name}", words)
    return found
