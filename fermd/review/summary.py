"""The figures of a batch as a few lines of text."""

from __future__ import annotations

from fermd.control.wording import span, temperature
from fermd.review.figures import IN_BAND_C, Figures, OutputFigures

_DUTIES = {"cool": "cooling", "heat": "heating", "fan": "fan"}


def summary(figures: Figures) -> str:
    """Tell the figures in plain lines."""
    lines = [
        f"chamber {figures.chamber}: {span(figures.lasted_s)}, {figures.steps} steps, "
        f"{figures.alarms} alarms, {figures.notes} notes",
        f"beer:     from {temperature(figures.coldest_c)} to {temperature(figures.warmest_c)}"
        + (
            ""
            if figures.held_share is None
            else f", within {IN_BAND_C:g} °C of its target for {figures.held_share:.1%} of the time"
        ),
    ]
    return "\n".join([*lines, *(_output(output) for output in figures.outputs)])


def _output(output: OutputFigures) -> str:
    words = (
        f"{_DUTIES.get(output.duty, output.duty) + ':':<9} {output.starts} starts, "
        f"{output.on_h:.1f} h on ({output.duty_cycle:.1%}), "
        f"at most {output.most_starts_in_an_hour} starts in an hour"
    )
    if output.shortest_off_s is not None:
        words += f", shortest off {span(output.shortest_off_s)}"
    if output.shortest_run_s is not None:
        words += f", shortest run {span(output.shortest_run_s)}"
    return words
