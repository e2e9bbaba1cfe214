"""`fermd messages`: what waits for whom, and a try message to every recipient."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from fermd.cli.command import Command
from fermd.cli.options import USUAL_SITE, json_option, site_option

if TYPE_CHECKING:
    from fermd.config.messages import MessageSettings
    from fermd.config.site import SiteFile
    from fermd.messages.sending import Outcome

TRY_TITLE = "fermd: a try message"
TRY_TEXT = (
    "This is a try: nothing is wrong, and nothing is to be done. Messages of this board reach you "
    "in this way."
)


@click.command(
    cls=Command,
    examples=[
        ("fermd messages", "what waits for whom, and why"),
        ("fermd messages --try", "send everybody a try message now, and say what happened"),
        ("fermd messages --try --to anna", "one of them"),
        ("fermd messages --json", "for a program"),
    ],
)
@site_option
@click.option("trying", "--try", is_flag=True, help="Send a try message to every recipient.")
@click.option("--to", metavar="NAME", help="Only this recipient.")
@json_option
@click.pass_context
def command(
    ctx: click.Context, site: Path | None, trying: bool, to: str | None, as_json: bool
) -> None:
    """List the messages that wait for a recipient, or send everybody a try message.

    With --try the command itself sends, without the daemon: it needs to read the file with the
    addresses. It ends with 75 if one of the messages could not be sent.
    """
    from fermd.config.site_file import load_site

    path = site or USUAL_SITE
    loaded = load_site(path)
    settings = loaded.messages
    if settings is None or not settings.to:
        raise click.UsageError(
            f"{path}: there is nobody to send messages to; add [messages.to.NAME] to the site file"
        )
    names = _chosen(settings, to)
    if trying:
        ctx.exit(_try_all(settings, names, as_json))
    _list(loaded, names, as_json)


def _chosen(settings: MessageSettings, to: str | None) -> list[str]:
    if to is None:
        return list(settings.to)
    if to not in settings.to:
        from fermd.cli.catalogue import printable

        listed = ", ".join(settings.to)
        raise click.UsageError(f"--to = {printable(to)!r}: no such recipient; there are {listed}")
    return [to]


def _try_all(settings: MessageSettings, names: list[str], as_json: bool) -> int:
    from fermd.cli.screen import show_json
    from fermd.control.events import Severity
    from fermd.messages.sending import End, Message, Sending

    sending = Sending(settings)
    message = Message(0, TRY_TITLE, TRY_TEXT, Severity.NOTICE)
    outcomes: dict[str, Outcome] = {}
    for name in names:
        outcomes[name] = sending.send(name, settings.to[name], message)
        if not as_json:
            _tell(name, outcomes[name])
    if as_json:
        show_json(
            [
                {"to": name, "accepted": one.end is End.ARRIVED, "why": one.why}
                for name, one in outcomes.items()
            ]
        )
    accepted = all(one.end is End.ARRIVED for one in outcomes.values())
    return os.EX_OK if accepted else os.EX_TEMPFAIL


def _tell(name: str, outcome: Outcome) -> None:
    from fermd.cli.exits import complain
    from fermd.cli.screen import clean
    from fermd.messages.sending import End

    if outcome.end is End.ARRIVED:
        print(f"{name}: accepted; see whether it arrives.")
    else:
        complain(clean(f"fermd: {name}: not sent: {outcome.why}"))


def _list(site: SiteFile, names: list[str], as_json: bool) -> None:
    from fermd.cli.exits import Failure
    from fermd.cli.screen import say, show, show_json, table
    from fermd.messages.keeping import kept_path, read_kept

    try:
        kept = read_kept(kept_path(site.journal_path))
    except OSError as error:
        raise Failure(str(error), os.EX_NOPERM) from error
    except ValueError as error:
        raise Failure(str(error), os.EX_IOERR) from error
    rows: list[dict[str, Any]] = []
    for name in names:
        box = kept.boxes.get(name)
        if box is not None:
            rows += _waiting(name, box)
    if as_json:
        show_json(rows)
    elif not rows:
        say("No message waits.")
    else:
        show(table(("to", "what", "waits for"), [(r["to"], r["what"], r["for"]) for r in rows]))


def _waiting(name: str, box: Any) -> list[dict[str, Any]]:
    from fermd.messages.text import name_of
    from fermd.messages.urgency import Urgency

    trying = f"another try; the last failed: {box.failed}" if box.failed else "being sent"
    found = []
    if box.under_way is not None:
        doubt = " (it may have arrived)" if box.under_way.doubtful else ""
        what = f"message {box.under_way.number}: {box.under_way.title}"
        found.append({"to": name, "what": what, "for": trying + doubt})
    for item in box.waiting:
        waits_for = trying
        if item.held:
            waits_for = "the digest"
        elif not box.failed and item.urgency is not Urgency.AT_ONCE:
            waits_for = "the end of the quiet hours, or the message before it"
        found.append({"to": name, "what": name_of(item), "for": waits_for})
    return found
