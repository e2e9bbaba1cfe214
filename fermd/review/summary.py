"""The figures of a batch as a few lines of text."""

from __future__ import annotations

from fermd.control.wording import span, temperature
from fermd.review.figures import IN_BAND_C, DutyFigures, Figures

_DUTIES = {"cool": "cooling", "heat": "heating", "fan": "fan"}


def summary(figures: Figures) -> str:
    """Tell the figures in plain lines."""
    lines = [
        f"chamber {figures.chamber}: {span(figures.lasted_s)}, {_count(figures.steps, 'step')}, "
        f"{_count(figures.alarms, 'alarm')}, {_count(figures.notes, 'note')}",
        f"beer:     {_beer(figures)}",
    ]
    for output in figures.outputs:
        lines += _output(output)
    return "\n".join(lines)


def _beer(figures: Figures) -> str:
    if figures.coldest_c is None or figures.warmest_c is None:
        return "nothing is known of it"
    words = f"{temperature(figures.coldest_c)} to {temperature(figures.warmest_c)}"
    if figures.held_share is None:
        return words
    return f"{words}, within {IN_BAND_C:g} °C of its target {figures.held_share:.1%} of the time"


def _output(output: DutyFigures) -> list[str]:
    """Tell one output in lines that fit a terminal of 80 columns."""
    name = _DUTIES.get(output.duty, output.duty) + ":"
    lines = [
        f"{name:<9} {_count(output.starts, 'start')}, {output.most_starts_in_an_hour} in an hour "
        f"at the most, {output.on_h:.1f} h on ({output.duty_cycle:.1%})"
    ]
    shortest = []
    if output.shortest_off_s is not None:
        shortest.append(f"shortest off {span(output.shortest_off_s)}")
    if output.shortest_run_s is not None:
        shortest.append(f"shortest run {span(output.shortest_run_s)}")
    return [*lines, f"{'':<9} {', '.join(shortest)}"] if shortest else lines


def _count(number: int, what: str) -> str:
    return f"{number} {what}" if number == 1 else f"{number} {what}s"
