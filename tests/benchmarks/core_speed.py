"""How fast the core runs: steps per second of one chamber, printed.

    python tests/benchmarks/core_speed.py [seconds]

A tick in the daemon comes every ten seconds; a simulated year has three million of them.
"""

from __future__ import annotations

import math
import sys
import time

from fermd.control.chamber import Inputs, step
from fermd.control.commands import SetTarget
from fermd.control.moment import Moment
from fermd.control.reading import Sample
from fermd.control.settings import (
    PROTECTION_BY_KIND,
    ChamberSettings,
    Duty,
    OutputKind,
    OutputSettings,
    ProbeSettings,
)
from fermd.control.state import first_state

PERIOD_S = 10.0
BATCH = 2000


def chamber() -> ChamberSettings:
    """A fridge with a heating belt, a fan and two probes, by their defaults."""
    parts = (
        (Duty.HEAT, OutputKind.HEATER),
        (Duty.COOL, OutputKind.COMPRESSOR),
        (Duty.FAN, OutputKind.FAN),
    )
    outputs = tuple(
        OutputSettings(duty.value, duty.value, duty, kind, PROTECTION_BY_KIND[kind])
        for duty, kind in parts
    )
    return ChamberSettings("bench", ProbeSettings("beer"), ProbeSettings("air"), outputs=outputs)


def steps_per_second(for_s: float) -> float:
    """Run a chamber whose beer swings through both bands for `for_s` seconds of CPU."""
    settings = chamber()
    state = first_state(settings, 0.0)
    state, _ = step(state, settings, Inputs(commands=(SetTarget(18.0),)), Moment(0.0))
    count, began_s = 0, time.process_time()
    while time.process_time() - began_s < for_s:
        for _ in range(BATCH):
            count += 1
            mono_s = count * PERIOD_S
            beer_c = round(16 * (18.0 + math.sin(mono_s / 7200.0))) / 16
            samples = {"beer": (Sample(mono_s, beer_c),), "air": (Sample(mono_s, beer_c - 2.0),)}
            state, _ = step(state, settings, Inputs(samples), Moment(mono_s, mono_s))
    return count / (time.process_time() - began_s)


def main() -> None:
    """Print the figure."""
    for_s = float(sys.argv[1]) if len(sys.argv) > 1 else 5.0
    per_s = steps_per_second(for_s)
    print(f"{per_s:.0f} core steps per second, {per_s * PERIOD_S:.0f} times real time")


if __name__ == "__main__":
    main()
