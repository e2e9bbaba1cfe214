"""Live progress of a demonstration: a panel on a terminal, a line a step where there is none."""

from __future__ import annotations

import time
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

from fermd.control import wording
from fermd.control.decision import Decision
from fermd.control.events import AlarmChanged, StepChange, StepChanged
from fermd.service.snapshot import Snapshot

REFRESH_EVERY_S = 0.1
"""Drawn this often, s of real time: more is not seen, and would slow the simulation."""


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
        for event in decision.events:
            entered = isinstance(event, StepChanged) and event.change is StepChange.ENTERED
            if entered or isinstance(event, AlarmChanged):
                words = wording.event(event, snapshot.moment.mono_s)
                click.echo(f"{_day(snapshot)}  {_beer(decision, snapshot):>10}  {words}")


class TerminalScreen:
    """A panel that is drawn anew: temperatures, what is on and why, the profile's progress."""

    def __init__(self) -> None:
        self._live = Live(refresh_per_second=1.0 / REFRESH_EVERY_S, auto_refresh=False)
        self._drawn_s = 0.0
        self._last_words: list[str] = []

    def __enter__(self) -> Self:
        self._live.__enter__()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._live.__exit__(kind, error, trace)

    def show(self, snapshot: Snapshot, chamber: str, total_s: float) -> None:
        """Draw the tick, if the last drawing is old enough."""
        decision = snapshot.chambers[chamber].decision
        for event in decision.events:
            if isinstance(event, AlarmChanged | StepChanged):
                words = wording.event(event, snapshot.moment.mono_s)
                self._last_words = [*self._last_words[-3:], f"{_day(snapshot)}  {words}"]
        now_s = time.monotonic()
        if now_s - self._drawn_s < REFRESH_EVERY_S:
            return
        self._drawn_s = now_s
        self._live.update(self._panel(snapshot, decision, total_s), refresh=True)

    def _panel(self, snapshot: Snapshot, decision: Decision, total_s: float) -> Panel:
        mono_s = snapshot.moment.mono_s
        table = Table.grid(padding=(0, 2))
        table.add_column(justify="right", style="dim")
        table.add_column()
        table.add_row("beer", Text(wording.reading(decision.vessel, mono_s), style="bold"))
        if decision.air is not None:
            table.add_row("air", wording.reading(decision.air, mono_s))
        table.add_row("target", wording.target(decision.target))
        for output in decision.outputs:
            style = "bold" if output.on else "dim"
            table.add_row("on" if output.on else "off", Text(wording.output(output, mono_s), style))
        shown = decision.outlook
        if shown is not None:
            left = "" if shown.remaining_s is None else f", {wording.span(shown.remaining_s)} left"
            step = f"{shown.index + 1} of {shown.steps}: {shown.name or shown.kind}{left}"
            table.add_row("step", step)
        for alarm in decision.alarms:
            words = Text(wording.standing_alarm(alarm, mono_s), style="bold reverse")
            table.add_row("alarm", words)
        done_s = mono_s - snapshot.started.mono_s
        bar = ProgressBar(total=total_s, completed=min(total_s, done_s))
        lines = [Text(words, style="dim") for words in self._last_words]
        return Panel(
            Group(table, Text(), bar, *lines), title=f"{_day(snapshot)}, {decision.chamber}"
        )


def _day(snapshot: Snapshot) -> str:
    passed_s = snapshot.moment.mono_s - snapshot.started.mono_s
    when = datetime.fromtimestamp(snapshot.moment.wall_utc_s, UTC)
    return f"day {int(passed_s // 86400) + 1:2d}, {when:%H:%M}"


def _beer(decision: Decision, snapshot: Snapshot) -> str:
    return wording.reading(decision.vessel, snapshot.moment.mono_s).split(" (")[0]
