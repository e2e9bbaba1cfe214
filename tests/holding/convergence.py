"""What a finer search for the best possible would bring: its own error, in figures.

    python tests/holding/convergence.py oversized fast-crash

With the same trace of fermentation and the same price of a start, half the nodes, the nodes of the
comparison, and twice as many; and blocks twice as long.
"""

from __future__ import annotations

import sys
from dataclasses import replace

import numpy as np
from best_possible import FINE, Effort, heat_along, really_run, sequence
from figures import figures
from run import MINUTE_S
from scenario import DAY_S, Scenario
from scenarios import FIXED

START_PRICE = 100.0
"""K² s: some ten starts a day of a usual fridge."""


def efforts() -> dict[str, Effort]:
    """Return the searches that are compared."""
    return {
        "half the nodes": replace(FINE, nodes=FINE.nodes // 2),
        "as in the comparison": FINE,
        "twice the nodes": replace(FINE, nodes=FINE.nodes * 2),
        "blocks twice as long": replace(FINE, block_s=FINE.block_s * 2),
    }


def told(scenario: Scenario) -> str:
    """Return the table of one scenario; RMS times starts is what a limit on starts would see."""
    minutes = np.arange(round(scenario.lasts_s / MINUTE_S)) * MINUTE_S
    heat_w = heat_along(scenario, np.array([scenario.target_c(float(at)) for at in minutes]))
    lines = [scenario.name]
    for name, effort in efforts().items():
        found = sequence(scenario, heat_w, START_PRICE, effort)
        rms_c = figures(scenario, really_run(scenario, 1, found)).rms_c
        starts = found.starts / (scenario.lasts_s / DAY_S)
        lines.append(
            f"  {name:22} RMS {rms_c:.4f} °C  {starts:5.1f} starts a day  "
            f"product {rms_c * starts:.3f}  cells {found.cell_c:.4f} °C"
        )
    return "\n".join(lines)


if __name__ == "__main__":
    for build in FIXED:
        if (one := build()).name in sys.argv[1:]:
            sys.stdout.write(told(one) + "\n")
