"""Live progress of a demonstration: a panel on a terminal, a line a step where there is none.

The panel keeps its height as long as it can, so that nothing jumps: what happened last has a line
each, cut to the width; what stands (outputs, alarms) is told in full.
"""

from __future__ import annotations

import contextlib
import logging
import os
import sys
import termios
import time
from collections import deque
from collections.abc import Iterator
from datetime import UTC, datetime
from types import TracebackType
from typing import Protocol, Self

import click
from rich.console import Group
from rich.live import Live
from rich.panel import Panel
from rich.progress_bar import ProgressBar
from rich.table import Table
from rich.text import Text

from fermd.cli.screen import console
from fermd.control import wording
from fermd.control.decision import Decision, OutputDecision
from fermd.control.events import AlarmChanged, StepChange, StepChanged
from fermd.control.settings import Duty
from fermd.service.snapshot import Snapshot

REFRESH_EVERY_S = 0.1
"""Drawn this often, s of real time: more is not seen, and would slow the simulation."""

LAST_EVENTS = 4
"""So many of the last steps and alarms are shown."""

_DUTIES = {Duty.COOL: "cooling", Duty.HEAT: "heating", Duty.FAN: "fan"}


class DemoScreen(Protocol):
    """Where progress is shown. A context manager."""

    def __enter__(self) -> Self: ...

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None: ...

    def show(self, snapshot: Snapshot, chamber: str, total_s: float) -> None:
        """Take note of a tick; `total_s` is how long the whole batch takes by plan."""
        ...


class LineScreen:
    """One line for each step and alarm: for pipes and logs."""

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        return None

    def show(self, snapshot: Snapshot, chamber: str, total_s: float) -> None:  # noqa: ARG002
        """Print what a reader of a log wants to know."""
        decision = snapshot.chambers[chamber].decision
        for words in _told(decision, snapshot):
            beer = wording.reading(decision.vessel, snapshot.moment.mono_s).split(" (")[0]
            click.echo(f"{_day(snapshot)}  {beer:>9}  {words}")


class TerminalScreen:
    """A panel that is drawn anew: temperatures, what is on and why, the profile's progress."""

    def __init__(self) -> None:
        self._live = Live(console=console(), auto_refresh=False)
        self._drawn_s = 0.0
        self._last: deque[tuple[str, str]] = deque(maxlen=LAST_EVENTS)
        self._undrawn: Panel | None = None
        self._logged = _Logged(self._last)
        self._quiet = contextlib.ExitStack()

    def __enter__(self) -> Self:
        # What the loop logs would tear the panel: it is shown among what happened.
        logging.getLogger("fermd").addHandler(self._logged)
        self._quiet.enter_context(_no_echo())
        self._live.__enter__()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        if self._undrawn is not None:
            self._live.update(self._undrawn, refresh=True)
        self._live.__exit__(kind, error, trace)
        self._quiet.close()
        logging.getLogger("fermd").removeHandler(self._logged)

    def show(self, snapshot: Snapshot, chamber: str, total_s: float) -> None:
        """Draw the tick, if the last drawing is old enough."""
        decision = snapshot.chambers[chamber].decision
        self._last.extend((_day(snapshot), words) for words in _told(decision, snapshot))
        self._logged.when = _day(snapshot)
        now_s = time.monotonic()
        late = now_s - self._drawn_s >= REFRESH_EVERY_S
        if late or decision.events:
            self._undrawn = self._panel(snapshot, decision, total_s)
        if late and self._undrawn is not None:
            self._drawn_s = now_s
            self._live.update(self._undrawn, refresh=True)
            self._undrawn = None

    def _panel(self, snapshot: Snapshot, decision: Decision, total_s: float) -> Panel:
        mono_s = snapshot.moment.mono_s
        done_s = min(total_s, mono_s - snapshot.started.mono_s)
        parts: list[Table | Text] = [
            _temperatures(decision, mono_s),
            _outputs(decision, mono_s),
            Text(),
            _progress(decision, mono_s, done_s / total_s if total_s > 0 else 1.0),
            Text(),
            _events(self._last),
        ]
        title = f"{decision.chamber}, {_day(snapshot)}"
        return Panel(Group(*parts), title=title, title_align="left")


class _Logged(logging.Handler):
    """What is logged while the panel stands goes into it."""

    def __init__(self, last: deque[tuple[str, str]]) -> None:
        super().__init__(logging.WARNING)
        self._last = last
        self.when = ""

    def emit(self, record: logging.LogRecord) -> None:
        self._last.append((self.when, record.getMessage()))


@contextlib.contextmanager
def _no_echo() -> Iterator[None]:
    """Let what is typed not be shown: the `^C` that ends it all would tear the panel, too."""
    # In the background the terminal belongs to somebody else, and asking for it stops the process.
    if not sys.stdin.isatty() or os.tcgetpgrp(sys.stdin.fileno()) != os.getpgrp():
        yield
        return
    kept = termios.tcgetattr(sys.stdin)
    silent = [*kept[:3], kept[3] & ~termios.ECHO, *kept[4:]]
    termios.tcsetattr(sys.stdin, termios.TCSANOW, silent)
    try:
        yield
    finally:
        termios.tcsetattr(sys.stdin, termios.TCSANOW, kept)


def _told(decision: Decision, snapshot: Snapshot) -> list[str]:
    """What is worth a line: steps that begin, and alarms."""
    return [
        wording.event(event, snapshot.moment.mono_s)
        for event in decision.events
        if isinstance(event, AlarmChanged)
        or (isinstance(event, StepChanged) and event.change is StepChange.ENTERED)
    ]


def _grid() -> Table:
    table = Table.grid(padding=(0, 2, 0, 0))
    table.add_column(width=8, style="dim", no_wrap=True)
    return table


def _temperatures(decision: Decision, mono_s: float) -> Table:
    table = _grid()
    table.add_column()
    table.add_row("beer", Text(wording.reading(decision.vessel, mono_s), style="bold"))
    if decision.air is not None:
        table.add_row("air", wording.reading(decision.air, mono_s))
    table.add_row("target", wording.target(decision.target))
    return table


def _outputs(decision: Decision, mono_s: float) -> Table:
    table = _grid()
    table.add_column(width=8, no_wrap=True)
    table.add_column()
    for output in decision.outputs:
        why = Text(wording.reason(output.reasons[0], mono_s), style="" if output.on else "dim")
        state = Text(_state(output), style="bold reverse" if output.on else "")
        table.add_row(_DUTIES[output.duty], state, why)
    return table


def _state(output: OutputDecision) -> str:
    """On or off; `held` where protection keeps it so against what is called for."""
    state = "on" if output.on else "off"
    return f"held {state}" if output.on != output.wanted else state


def _progress(decision: Decision, mono_s: float, share: float) -> Table:
    table = _grid()
    table.add_column()
    shown = decision.outlook
    if shown is not None:
        left = "" if shown.remaining_s is None else f", {wording.span(shown.remaining_s)} left"
        step = f"{shown.index + 1} of {shown.steps}: {shown.name or shown.kind}{left}"
        table.add_row("step", step)
    bar = Table.grid(padding=(0, 2, 0, 0))
    bar.add_row(ProgressBar(total=1.0, completed=share, width=48), f"{share:.0%}")
    table.add_row("profile", bar)
    for alarm in decision.alarms:
        words = Text(wording.standing_alarm(alarm, mono_s), style="bold reverse")
        table.add_row("alarm", words)
    return table


def _events(last: deque[tuple[str, str]]) -> Table:
    table = Table.grid(padding=(0, 2, 0, 0), expand=True)
    table.add_column(style="dim", no_wrap=True, width=len("day 10, 17:00"))
    table.add_column(style="dim", no_wrap=True, overflow="ellipsis", ratio=1)
    missing = LAST_EVENTS - len(last)
    for when, words in [*last, *[("", "")] * missing]:
        table.add_row(when, words)
    return table


def _day(snapshot: Snapshot) -> str:
    """The day of the batch, from midnight to midnight, and the time of day."""
    began = datetime.fromtimestamp(snapshot.started.wall_utc_s, UTC)
    now = datetime.fromtimestamp(snapshot.moment.wall_utc_s, UTC)
    return f"day {(now.date() - began.date()).days + 1:2d}, {now:%H:%M}"
