"""`fermd calibrate`: a probe's offset, found in ice water and kept in the site file."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from fermd.cli.command import Command
from fermd.cli.options import daemon_options, json_option, yes_option

if TYPE_CHECKING:
    from fermd.cli.client import Daemon

Plain = dict[str, Any]


@click.command(
    cls=Command,
    examples=[
        ("fermd calibrate vessel", "in stirred ice and water, step by step"),
        ("fermd calibrate vessel --yes", "it stands in ice water already; do not ask"),
        ("fermd calibrate vessel --offset=-0.1", "put an offset back that is known"),
    ],
)
@click.argument("probe")
@click.option(
    "offset_c",
    "--offset",
    type=float,
    metavar="CELSIUS",
    help="Set the offset itself, in place of finding it in ice water.",
)
@daemon_options
@yes_option
@json_option
@click.pass_context
def command(
    ctx: click.Context,
    daemon: Daemon,
    probe: str,
    offset_c: float | None,
    yes: bool,
    as_json: bool,
) -> None:
    """Calibrate a probe in ice water.

    Crushed ice with just so much water that it can be stirred is at 0 °C. Put the probe in its
    middle, wait ten minutes, stir again: the last readings are then taken to be 0 °C, and the
    offset goes into the site file, where it can be read and changed.

    A chamber that goes by the probe is switched off first, else it would heat. It stays off until
    you set a target or resume the profile.
    """
    from fermd.cli.client import Refused
    from fermd.cli.exits import ANSWERED_NO
    from fermd.cli.options import who
    from fermd.cli.screen import clean, say, show_json, sure

    status = daemon.status()
    seen = _probe_meant(daemon, probe)
    chamber = status["chambers"][seen["chamber"]]
    goes_by_it = probe not in chamber["watching"]
    off = False
    if goes_by_it and chamber["mode"] != "off":
        question = (
            f"Chamber {seen['chamber']} goes by {probe} and would heat while that is in ice water. "
            "Switch it off first? Nothing then heats or cools the beer until you say so."
        )
        if not sure(question, yes):
            ctx.exit(ANSWERED_NO)
        daemon.order(seen["chamber"], {"command": "switch-off", "who": who()})
        off = True
    if not sure(_question(probe, clean(seen["words"]), offset_c), yes):
        say(_still_off(seen["chamber"]) if off else "Nothing was changed.")
        ctx.exit(ANSWERED_NO)
    told = {"probe": probe, "chamber": seen["chamber"], "switched_off": off}
    try:
        found = daemon.calibrate(probe, offset_c)
    except Refused as refused:
        if as_json:
            show_json(told | {"taken": False, "why": refused.why})
        elif off:
            say(_still_off(seen["chamber"]))
        raise
    keys = ("taken", "read_c", "readings", "before_c", "offset_c")
    if as_json:
        show_json(told | {key: found[key] for key in keys})
        return
    if found["read_c"] is not None:
        say(f"{probe}: read {found['read_c']:.2f} °C in ice water.")
    before_c, now_c = found["before_c"], found["offset_c"]
    say(f"{probe}: its offset was {before_c:g} °C and is now {now_c:g} °C; to put it back:")
    say(f"  fermd calibrate {probe} --offset={before_c:g}")
    if off:
        say(_still_off(seen["chamber"]))


def _probe_meant(daemon: Daemon, name: str) -> Plain:
    """The probe's reading and its chamber; UsageError if there is none of the name."""
    from fermd.cli.catalogue import printable

    listed = daemon.probes()
    found = next((one for one in listed if one["probe"] == name), None)
    if found is None:
        known = ", ".join(str(one["probe"]) for one in listed)
        raise click.UsageError(f"PROBE = {printable(name)!r}: no such probe; there are: {known}")
    return found


def _question(probe: str, reads: str, offset_c: float | None) -> str:
    if offset_c is not None:
        return f"Set the offset of {probe} to {offset_c:g} °C in the site file?"
    return (
        f"{probe} reads {reads}. Is it in stirred ice and water, for ten minutes by now, and "
        "stands still?"
    )


def _still_off(chamber: str) -> str:
    return f"{chamber} is switched off: `fermd target` or `fermd resume` goes on."
