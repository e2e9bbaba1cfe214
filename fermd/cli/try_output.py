"""`fermd try`: an output by hand for a while, protection kept, and what comes of it.

The output is given back at the end of the time, at Ctrl-C, and when the terminal goes away. If
even that fails, the daemon ends it by itself when the time is over.
"""

from __future__ import annotations

import contextlib
import os
import signal
import sys
import time
from collections.abc import Callable, Iterator
from types import FrameType
from typing import TYPE_CHECKING, Any, Final

import click

from fermd.cli.command import Command
from fermd.cli.options import (
    Span,
    chamber_option,
    daemon_options,
    fahrenheit_option,
    json_option,
    yes_option,
)

if TYPE_CHECKING:
    from fermd.cli.client import Daemon
    from fermd.control.wording import Unit

LOOK_EVERY_S: Final = 0.25

USUAL_TIME_S: Final = 60.0
"""Long enough to hear a relay and feel a heater; a compressor's minimum off time is longer."""

Plain = dict[str, Any]


@click.command(
    cls=Command,
    examples=[
        ("fermd try fridge on --for 10min", "call for the output named fridge"),
        ("fermd try heat on --for 60s --yes", "an output by its duty; do not ask"),
        ("fermd try fan off --chamber lager", "hold an output off for a minute"),
    ],
)
@click.argument("output")
@click.argument("state", type=click.Choice(["on", "off"]))
@click.option(
    "for_s",
    "--for",
    type=Span(),
    default=f"{USUAL_TIME_S:g}s",
    show_default=True,
    metavar="TIME",
    help="How long to try, such as 90s or 10min.",
)
@daemon_options
@chamber_option
@yes_option
@fahrenheit_option
@json_option
@click.pass_context
def command(
    ctx: click.Context,
    daemon: Daemon,
    output: str,
    state: str,
    for_s: float,
    chamber: str | None,
    yes: bool,
    unit: Unit,
    as_json: bool,
) -> None:
    """Try an output for a while, with its protection kept.

    OUTPUT is its name in the site file or its duty (heat, cool, fan). Nothing gets around
    protection: a compressor waits for its minimum off time, and this command says so. At the end,
    and at Ctrl-C, all outputs of the chamber are given back to the bands.

    Ends with exit code 75 if the output never came to be as asked.
    """
    from fermd.cli.exits import ANSWERED_NO
    from fermd.cli.options import chosen_chamber
    from fermd.cli.screen import sure

    status = daemon.status()
    name = chosen_chamber(daemon, chamber, status)
    meant = _output_meant(status["chambers"][name], output, name)
    if meant["duty"] == "heat" and state == "on":
        question = f"Switch {meant['name']} on for {for_s:g} s? Is its heater safe to run now?"
        if not sure(question, yes):
            ctx.exit(ANSWERED_NO)
    trial = _Trial(daemon, name, meant, state == "on", for_s, unit, as_json)
    trial.run(status["tick"])


class _Trial:
    """One output, tried."""

    def __init__(
        self,
        daemon: Daemon,
        chamber: str,
        meant: Plain,
        on: bool,
        for_s: float,
        unit: Unit,
        as_json: bool,
    ) -> None:
        self._daemon = daemon
        self._chamber = chamber
        self._duty = meant["duty"]
        self._name = meant["name"]
        self._on = on
        self._for_s = for_s
        self._unit = unit
        self._as_json = as_json
        self._began_s = 0.0
        self._as_asked_s = 0.0
        self._seen: tuple[Any, ...] = ()
        self._told: list[Plain] = []

    def run(self, tick: int) -> None:
        from fermd.cli.exits import Failure
        from fermd.cli.ordering import status_after

        # Counted from before it was asked for, so that the daemon does not end it first.
        self._began_s = time.monotonic()
        asked, over = True, False
        try:
            with _ended_by_signals():
                try:
                    self._order({"command": "override-output", "for_s": self._for_s})
                except Failure as failure:
                    # Without an answer it may have been taken all the same.
                    asked = failure.code == os.EX_UNAVAILABLE
                    raise
                first = self._chamber_of(status_after(self._daemon, tick))
                with self._shown() as show:
                    last = self._follow(first, show)
                over = True
        finally:
            if asked:
                self._give_back(quietly=not over)
        self._sum_up(first, last)
        if not self._as_asked_s:
            state = "on" if self._on else "off"
            raise Failure(
                f"{self._name} did not go {state} in {self._for_s:g} s: it was held, see above; "
                "try it for longer",
                os.EX_TEMPFAIL,
            )

    def _follow(self, chamber: Plain, show: Callable[[Plain], None]) -> Plain:
        """Watch until the time is over; tell every change."""
        at_s = time.monotonic()
        while True:
            show(self._output_of(chamber))
            left_s = self._began_s + self._for_s - time.monotonic()
            time.sleep(max(0.0, min(LOOK_EVERY_S, left_s)))
            if self._output_of(chamber)["on"] is self._on:
                self._as_asked_s += time.monotonic() - at_s
            at_s = time.monotonic()
            if left_s <= LOOK_EVERY_S:
                return chamber
            chamber = self._chamber_of(self._daemon.status())

    @contextlib.contextmanager
    def _shown(self) -> Iterator[Callable[[Plain], None]]:
        """Print a line for each change; on a terminal also keep one line up to date."""
        from fermd.cli.screen import console, on_terminal

        if self._as_json or not on_terminal():
            yield self._tell
            return
        screen = console()
        with screen.status("") as live:

            def show(output: Plain) -> None:
                self._tell(output)
                passed = _clock(time.monotonic() - self._began_s)
                live.update(f"{passed} of {_clock(self._for_s)}  {output['words']}")

            yield show

    def _tell(self, output: Plain) -> None:
        seen = (output["on"], output["wanted"], [why["rule"] for why in output["reasons"][:1]])
        if seen == self._seen:
            return
        self._seen = seen
        passed_s = time.monotonic() - self._began_s
        self._told.append({"after_s": round(passed_s, 1), "on": output["on"]})
        self._told[-1]["words"] = output["words"]
        self._print(f"{_clock(passed_s)}  {output['words']}")

    def _give_back(self, *, quietly: bool) -> None:
        from fermd.cli.ordering import status_after

        tick = 0
        with contextlib.suppress(click.ClickException) if quietly else contextlib.nullcontext():
            tick = self._daemon.status()["tick"]
            self._order({"command": "end-override"})
            chamber = self._chamber_of(status_after(self._daemon, tick))
            self._print(f"given back: {self._output_of(chamber)['words']}")

    def _sum_up(self, first: Plain, last: Plain) -> None:
        from fermd.cli.screen import show_json
        from fermd.control.wording import span

        state = "on" if self._on else "off"
        if self._as_json:
            show_json(
                {
                    "chamber": self._chamber,
                    "output": self._name,
                    "duty": self._duty,
                    "asked": state,
                    "for_s": self._for_s,
                    "as_asked_s": round(self._as_asked_s, 1),
                    "vessel_before": first["vessel"],
                    "vessel_after": last["vessel"],
                    "air_before": first["air"],
                    "air_after": last["air"],
                    "told": self._told,
                }
            )
            return
        self._print(f"{self._name} was {state} for {span(self._as_asked_s)} of {span(self._for_s)}")
        for probe, words in (("vessel", "beer"), ("air", "air")):
            if first[probe] is not None and last[probe] is not None:
                before, after = first[probe]["words"], last[probe]["words"]
                self._print(f"{words}: {before} before, {after} after")

    def _order(self, order: Plain) -> None:
        from fermd.cli.options import who

        if order["command"] == "override-output":
            order = order | {"duty": self._duty, "on": self._on}
        self._daemon.order(self._chamber, order | {"who": who()})

    def _chamber_of(self, status: Plain) -> Plain:
        from fermd.cli.readback import worded
        from fermd.cli.screen import cleaned

        chamber: Plain = cleaned(worded(status["chambers"][self._chamber], self._unit))
        return chamber

    def _output_of(self, chamber: Plain) -> Plain:
        return next(output for output in chamber["outputs"] if output["duty"] == self._duty)

    def _print(self, line: str) -> None:
        if not self._as_json:
            print(line, flush=True)


def _output_meant(chamber: Plain, given: str, name: str) -> Plain:
    outputs: list[Plain] = chamber["outputs"]
    for key in ("name", "duty"):
        for output in outputs:
            if output[key] == given:
                return output
    listed = ", ".join(f"{output['name']} ({output['duty']})" for output in outputs) or "none"
    from fermd.cli.catalogue import printable

    raise click.UsageError(
        f"OUTPUT = {printable(given)!r}: not an output of chamber {name}; it has {listed}"
    )


def _clock(seconds: float) -> str:
    minutes, rest_s = divmod(int(seconds), 60)
    return f"{minutes}:{rest_s:02}"


@contextlib.contextmanager
def _ended_by_signals() -> Iterator[None]:
    """Let a lost terminal and a `kill` end the trial as Ctrl-C does, so that it is given back."""

    def end(number: int, _frame: FrameType | None) -> None:
        sys.exit(128 + number)

    try:
        before = {one: signal.signal(one, end) for one in (signal.SIGTERM, signal.SIGHUP)}
    except ValueError:  # Not in the main thread.
        before = {}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
