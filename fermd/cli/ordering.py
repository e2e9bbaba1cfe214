"""Giving a chamber a command, and telling what became of it."""

from __future__ import annotations

import time
from typing import TYPE_CHECKING, Any, Final

from fermd.cli.options import chosen_chamber, who
from fermd.cli.screen import cleaned, on_terminal, say, show_json
from fermd.control.wording import Unit

if TYPE_CHECKING:
    from fermd.cli.client import Daemon

Plain = dict[str, Any]

PUBLISHED_WITHIN_S: Final = 1.0
"""The loop answers and then publishes what it decided; that takes milliseconds, s."""


def order(
    daemon: Daemon,
    chamber: str | None,
    command: Plain,
    *,
    as_json: bool,
    done: str,
    unit: Unit = Unit.CELSIUS,
    why: str | None = None,
) -> None:
    """Give a chamber a command in the name of the user.

    A reason, if one was given, is noted in the journal right behind the change. On a terminal say
    `done` and what the chamber does now; with JSON say what became of it; else nothing.
    Raises Failure if it was refused.
    """
    from fermd.cli.client import Refused

    before = daemon.status()
    name = chosen_chamber(daemon, chamber, before)
    try:
        daemon.order(name, command | {"who": who()})
    except Refused as refused:
        if as_json:
            show_json({"chamber": name, **command, "taken": False, "why": refused.why})
        raise
    reason = (why or "").encode("utf-8", "replace").decode("utf-8").strip()
    if reason:
        daemon.note(name, who(), f"why: {reason}")
    if as_json:
        show_json({"chamber": name, **command, "taken": True})
    elif on_terminal():
        from fermd.cli.readback import worded

        say(f"{name}: {done}.")
        after = status_after(daemon, before["tick"])["chambers"][name]
        now = cleaned(worded(after, unit))
        say(f"  target {now['target_words']}; {now['mode_words']}")
        for output in now["outputs"]:
            say(f"  {output['words']}")


def status_after(daemon: Daemon, tick: int) -> Plain:
    """Return the status of a later tick; if none comes soon, the newest there is."""
    status = daemon.status()
    deadline_s = time.monotonic() + PUBLISHED_WITHIN_S
    while status["tick"] <= tick and time.monotonic() < deadline_s:
        time.sleep(0.01)
        status = daemon.status()
    return status
