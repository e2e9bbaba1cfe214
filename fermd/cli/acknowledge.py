"""`fermd acknowledge`: somebody has seen an alarm."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click
from click.shell_completion import CompletionItem

from fermd.cli.command import Command
from fermd.cli.options import chamber_option, daemon_options, json_option

if TYPE_CHECKING:
    from fermd.cli.client import Daemon


def _complete_alarm(
    ctx: click.Context,  # noqa: ARG001 - click's signature
    param: click.Parameter,  # noqa: ARG001
    incomplete: str,
) -> list[CompletionItem]:
    from fermd.control.alarms import AlarmKind

    return [CompletionItem(kind.value) for kind in AlarmKind if kind.value.startswith(incomplete)]


@click.command(
    cls=Command,
    examples=[
        ("fermd acknowledge", "the only alarm that is raised"),
        ("fermd acknowledge no-effect fridge", "one of several, by the names in `fermd alarms`"),
        ("fermd acknowledge --all", "every alarm that is raised"),
    ],
)
@click.argument("alarm", required=False, shell_complete=_complete_alarm)
@click.argument("subject", required=False)
@click.option("every", "--all", is_flag=True, help="Every alarm that is raised.")
@daemon_options
@chamber_option
@json_option
def command(
    daemon: Daemon,
    alarm: str | None,
    subject: str | None,
    every: bool,
    chamber: str | None,
    as_json: bool,
) -> None:
    """Say that an alarm has been seen.

    An alarm that stands until a person has seen it is cleared by this once its cause is gone. It
    changes nothing about the cause.
    """
    from fermd.cli.alarms import standing
    from fermd.cli.options import chosen_chamber, who
    from fermd.cli.screen import say, show_json

    if every and alarm is not None:
        raise click.UsageError(f"ALARM = {_shown(alarm)}: not together with --all.")
    status = daemon.status()
    raised = [one for one in standing(status) if one["phase"] == "raised"]
    if chamber is not None:
        name = chosen_chamber(daemon, chamber, status)
        raised = [one for one in raised if one["chamber"] == name]
    meant = raised if every else _meant(raised, alarm, subject)
    for one in meant:
        order = {"command": "acknowledge-alarm", "alarm": one["alarm"], "subject": one["subject"]}
        daemon.order(one["chamber"], order | {"who": who()})
        if not as_json:
            say(f"{one['chamber'] or 'board'}: {one['words']}: acknowledged.")
    if as_json:
        keys = ("chamber", "alarm", "subject")
        show_json([{key: one[key] for key in keys} | {"taken": True} for one in meant])


def _meant(
    raised: list[dict[str, Any]], alarm: str | None, subject: str | None
) -> list[dict[str, Any]]:
    """The one alarm that the arguments name; UsageError if they fit none or several."""
    fitting = [
        one for one in raised if alarm in (None, one["alarm"]) and subject in (None, one["subject"])
    ]
    if len(fitting) == 1:
        return fitting
    listed = "; ".join(
        " ".join(filter(None, (one["alarm"], one["subject"])))
        + (f" (chamber {one['chamber']})" if one["chamber"] else "")
        for one in fitting or raised
    )
    if not raised:
        raise click.UsageError("ALARM: no alarm is raised, so there is none to acknowledge.")
    if not fitting:
        named = " ".join(filter(None, (alarm, subject)))
        raise click.UsageError(
            f"ALARM = {_shown(named)}: no such alarm is raised; raised are: {listed}"
        )
    raise click.UsageError(f"ALARM: say which one is meant, or --all; raised are: {listed}")


def _shown(text: str) -> str:
    from fermd.cli.catalogue import printable

    return repr(printable(text))
