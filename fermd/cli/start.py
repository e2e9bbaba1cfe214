"""`fermd start`: start a profile."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click
from click.shell_completion import CompletionItem

from fermd.cli.command import Command
from fermd.cli.options import FILE, chamber_option, daemon_options, json_option, yes_option

if TYPE_CHECKING:
    from fermd.cli.client import Daemon


def complete_profile(
    ctx: click.Context,
    param: click.Parameter,  # noqa: ARG001 - click's signature
    incomplete: str,
) -> list[CompletionItem]:
    """Complete the names of profiles, and of files."""
    from fermd.cli.profile_folders import own_folders
    from fermd.config.profile_file import profiles_by_name

    names = profiles_by_name(own_folders(ctx.params.get("folder")))
    found = [CompletionItem(name) for name in names if name.startswith(incomplete)]
    return found or [CompletionItem(incomplete, type="file")]


@click.command(
    cls=Command,
    examples=[
        ("fermd start lager-diacetyl-rest", "one that comes with fermd, in the only chamber"),
        ("fermd start ./my-lager.toml --chamber lager", "the one in this file, in this chamber"),
        ('fermd start cold-crash --at "fri 18:00"', "on Friday, in the site's time zone"),
    ],
)
@click.argument("profile", shell_complete=complete_profile)
@click.option(
    "--folder",
    type=FILE,
    help="Look for profiles of your own in this folder. [usually /etc/fermd/profiles]",
)
@click.option(
    "--at", metavar="TIME", help='Not now but then: "18:00", "fri 18:00" or "2026-12-24 08:00".'
)
@daemon_options
@chamber_option
@yes_option
@json_option
@click.pass_context
def command(
    ctx: click.Context,
    daemon: Daemon,
    profile: str,
    folder: Path | None,
    at: str | None,
    chamber: str | None,
    yes: bool,
    as_json: bool,
) -> None:
    """Start a profile.

    PROFILE is a name from `fermd profiles`, or a file (with a slash in its name or .toml at its
    end). It begins at its first step, in place of whatever the chamber did before.
    """
    from fermd.cli.client import Refused
    from fermd.cli.exits import ANSWERED_NO
    from fermd.cli.options import chosen_chamber, who
    from fermd.cli.ordering import status_after
    from fermd.cli.profile_folders import own_folders
    from fermd.cli.screen import clean, on_terminal, say, show_json, sure
    from fermd.cli.status_lines import time_of_day
    from fermd.config.profile_file import find_profile, parse_profile
    from fermd.config.toml_file import read_text

    path = find_profile(profile, own_folders(folder))
    text = read_text(path)
    name = parse_profile(text, path).name
    before = daemon.status()
    where = chosen_chamber(daemon, chamber, before)
    running = before["chambers"][where]["profile"]
    if running is not None and at is None:
        place = f"step {running['step']} of {running['steps']}"
        question = f"Start {clean(name)} in place of {clean(running['name'])}, which is at {place}?"
        if not sure(question, yes):
            ctx.exit(ANSWERED_NO)
    order = {"command": "start-profile"} if at is None else {"command": "plan-start", "at": at}
    told = {"chamber": where, **order, "profile": name}
    try:
        daemon.order(where, {**order, "profile_toml": text, "who": who()})
    except Refused as refused:
        if as_json:
            show_json({**told, "taken": False, "why": refused.why})
        raise
    if as_json:
        show_json({**told, "taken": True})
    elif on_terminal():
        after = status_after(daemon, before["tick"])
        planned = after["chambers"][where].get("planned_start")
        # The moment itself: where clocks are changed it may not be the time that was typed.
        when = "" if planned is None else time_of_day(planned["at_utc_s"], after)
        is_what = "is started" if at is None else f"starts at {when}"
        say(f"{where}: profile {clean(name)} {is_what}.")
        now = after["chambers"][where]
        say(f"  target {now['target_words']}")
        for output in now["outputs"]:
            say(f"  {output['words']}")
