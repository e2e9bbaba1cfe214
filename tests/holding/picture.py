"""The traces overlaid, one pane a scenario: the beer of every contestant against its target.

The target runs over many degrees and what matters happens in tenths, so a pane shows two things:
above, the plan and the beers in °C; below, larger, how far each beer was from its target, on an
axis that ends short of one degree. Colours are Okabe and Ito's, told apart by every kind of eye;
the names stand beside the pane with their figures, each in its own colour.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import ceil
from pathlib import Path
from trace import Line
from typing import NamedTuple

import matplotlib as mpl
import numpy as np
from figures import WITHIN_C, Figures
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from scenario import DAY_S, Scenario


class Style(NamedTuple):
    """How a contestant is drawn."""

    name: str
    colour: str
    width: float
    above: int


STYLES = {
    "fermd": Style("fermd", "#0072b2", 1.4, 4),
    "on-off": Style("on-off", "#d55e00", 0.8, 1),
    "pid": Style("PID", "#009e73", 0.8, 2),
    "best": Style("best possible", "#000000", 0.9, 3),
}
"""Blue, vermilion, bluish green and black of Okabe and Ito, "Color universal design", 2008."""
INK, QUIET, BAND = "#222222", "#555555", "#eeeeee"

COLUMNS = 3
PANE_IN = (5.0, 3.4)
CAPTION_IN = 0.45
CAPTION = (
    "Dashed: the target. Below: how far the true beer was from it; dotted: ±0.3 °C; grey: the "
    "holds that the figures are of.\n"
    "Beside each pane: RMS error during holds, and starts a day in them, of cooling and heat "
    "together."
)
ENDS_C = 0.8
"""Errors are shown up to this, °C."""
LONG_TITLE = 45


def draw(
    scenarios: Sequence[Scenario],
    lines: Mapping[str, Mapping[str, Line]],
    results: Mapping[str, Mapping[str, Figures]],
    path: Path,
) -> None:
    """Draw all scenarios into one file; its ending (.png, .svg, .pdf) is its kind."""
    columns = min(COLUMNS, len(scenarios))
    rows = ceil(len(scenarios) / COLUMNS)
    high_in = PANE_IN[1] * rows
    size_in = (PANE_IN[0] * columns, high_in + CAPTION_IN)
    with mpl.rc_context({"font.size": 9, "text.color": INK, "axes.edgecolor": "#888888"}):
        figure = Figure(figsize=size_in, layout="constrained", facecolor="white")
        halves = figure.subfigures(2, 1, height_ratios=(high_in, CAPTION_IN), squeeze=False)
        body, foot = np.asarray(halves).ravel()
        foot.text(0.01, 0.5, CAPTION, va="center", fontsize=9, color=QUIET)
        panes = np.asarray(body.subfigures(rows, columns, squeeze=False)).ravel()
        for number, (pane, scenario) in enumerate(zip(panes, scenarios, strict=False)):
            plan, error = pane.subplots(2, 1, sharex=True, height_ratios=(2, 5))
            size = 10 if len(scenario.title) < LONG_TITLE else 8
            pane.suptitle(scenario.title, fontsize=size, fontweight="bold", x=0.02, ha="left")
            _plan(plan, lines[scenario.name])
            _errors(error, scenario, lines[scenario.name])
            _name(error, results[scenario.name])
            if number == 0:
                plan.set_ylabel("beer, °C")
                error.set_ylabel("beer − target, °C")
        figure.savefig(path, dpi=110)


def _style(contestant: str) -> Style:
    """Return the style; a rival with its knob set keeps its own, and says the knob."""
    who, colon, knob = contestant.partition(":")
    style = STYLES[who]
    return style._replace(name=f"{style.name}{colon}{knob}")


def _plan(axes: Axes, by_who: Mapping[str, Line]) -> None:
    for who, line in by_who.items():
        style = _style(who)
        axes.plot(line.t_s / DAY_S, line.beer_c, color=style.colour, lw=0.8, zorder=style.above)
    line = next(iter(by_who.values()))
    axes.plot(line.t_s / DAY_S, line.target_c, color=INK, lw=0.9, ls=(0, (4, 2)), zorder=5)
    low_c, high_c = float(line.target_c.min()), float(line.target_c.max())
    spare_c = 0.15 * (high_c - low_c) + 0.5
    axes.set_ylim(low_c - spare_c, high_c + spare_c)
    _bare(axes)


def _errors(axes: Axes, scenario: Scenario, by_who: Mapping[str, Line]) -> None:
    began_s = 0.0
    for leg in scenario.plan:
        counts_s = began_s + leg.ramp_s + leg.settle_s
        began_s += leg.lasts_s
        axes.axvspan(counts_s / DAY_S, began_s / DAY_S, color=BAND, lw=0, zorder=0)
    for limit_c in (-WITHIN_C, WITHIN_C):
        axes.axhline(limit_c, color="#999999", lw=0.6, ls=(0, (1, 2)), zorder=0.5)
    axes.axhline(0.0, color=INK, lw=0.6, zorder=0.5)
    for who, line in by_who.items():
        style, off_c = _style(who), line.beer_c - line.target_c
        axes.plot(line.t_s / DAY_S, off_c, color=style.colour, lw=style.width, zorder=style.above)
    axes.set_ylim(-ENDS_C, ENDS_C)
    axes.set_yticks((-0.6, -0.3, 0.0, 0.3, 0.6))
    axes.set_xlim(0.0, scenario.lasts_s / DAY_S)
    axes.set_xlabel("days", labelpad=1)
    _bare(axes)


def _name(axes: Axes, results: Mapping[str, Figures]) -> None:
    """Write each contestant's name and figures beside the pane, in the colour of its line."""
    for place, (who, each) in enumerate(results.items()):
        style = _style(who)
        axes.annotate(
            f"{style.name}\n{each.rms_c:.2f} °C\n{each.starts_a_day:.0f} starts",
            (1.0, 0.99 - 0.265 * place),
            xytext=(5, 0),
            textcoords="offset points",
            xycoords="axes fraction",
            color=style.colour,
            va="top",
            fontsize=8,
            fontweight="bold" if who == "fermd" else "normal",
            annotation_clip=False,
        )


def _bare(axes: Axes) -> None:
    axes.spines[["top", "right"]].set_visible(False)
    axes.tick_params(length=2, labelsize=8)
