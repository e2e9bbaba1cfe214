"""`fermd alarms`: what wants a person, or has wanted one and is not cleared."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click
from click.shell_completion import CompletionItem

from fermd.cli.command import Command
from fermd.cli.options import chamber_option, daemon_options, json_option

if TYPE_CHECKING:
    from fermd.cli.client import Daemon

BOARD = ""
"""Stands for the board itself where a chamber's name would be."""


def standing(status: dict[str, Any]) -> list[dict[str, Any]]:
    """All alarms that are not cleared, those of the board first."""
    groups = {BOARD: status["alarms"]}
    groups |= {name: chamber["alarms"] for name, chamber in status["chambers"].items()}
    return [{"chamber": name} | alarm for name, alarms in groups.items() for alarm in alarms]


def _complete_kind(
    ctx: click.Context,  # noqa: ARG001 - click's signature
    param: click.Parameter,  # noqa: ARG001
    incomplete: str,
) -> list[CompletionItem]:
    from fermd.control.alarms import AlarmKind

    return [CompletionItem(kind.value) for kind in AlarmKind if kind.value.startswith(incomplete)]


@click.command(
    cls=Command,
    examples=[
        ("fermd alarms", "everything that is not cleared"),
        (
            "fermd alarms --explain no-effect",
            "what an alarm means, what to check, what to beware of",
        ),
        ("fermd alarms --json", "for a program: an empty list if all is well"),
    ],
)
@click.option(
    "--explain",
    metavar="ALARM",
    shell_complete=_complete_kind,
    help="Show this alarm's page in place of the list; needs no daemon.",
)
@daemon_options
@chamber_option
@json_option
def command(daemon: Daemon, chamber: str | None, explain: str | None, as_json: bool) -> None:
    """List the alarms that are not cleared, or explain one.

    Alarms of the board itself have a dash in place of the chamber. `fermd acknowledge` says that
    one has been seen.
    """
    from rich.text import Text

    from fermd.cli.options import chosen_chamber
    from fermd.cli.screen import STYLE_BY_SEVERITY, cleaned, say, show, show_json, table

    if explain is not None:
        _explain(explain, as_json)
        return
    status = daemon.status()
    found = standing(status)
    if chamber is not None:
        name = chosen_chamber(daemon, chamber, status)
        found = [alarm for alarm in found if alarm["chamber"] == name]
    if as_json:
        show_json(found)
        return
    if not found:
        say("No alarms.")
        return
    rows = [
        (
            alarm["chamber"] or "-",
            alarm["alarm"],
            alarm["subject"] or "-",
            Text(alarm["words"], STYLE_BY_SEVERITY[alarm["severity"]]),
        )
        for alarm in cleaned(found)
    ]
    show(table(("chamber", "alarm", "subject", "what"), rows))


def _explain(name: str, as_json: bool) -> None:
    from rich.markdown import Markdown

    from fermd.cli.catalogue import printable
    from fermd.cli.screen import on_terminal, show, show_json
    from fermd.control.alarms import RULES, AlarmKind
    from fermd.messages.pages import page

    try:
        kind = AlarmKind(name)
    except ValueError:
        listed = ", ".join(AlarmKind)
        raise click.UsageError(
            f"--explain = {printable(name)!r}: no such alarm; there are {listed}"
        ) from None
    found = page(kind)
    if as_json:
        show_json(
            {
                "alarm": kind.value,
                "severity": RULES[kind].severity.value,
                "fermd_does": found.fermd_does,
                "to_do": found.to_do,
                "page": found.text,
            }
        )
    elif on_terminal():
        show(Markdown(found.text))
    else:
        print(found.text, end="")
