"""How long a rehearsal takes, and what its coarse ticks cost in truth; printed.

    python tests/benchmarks/rehearsal.py [days]

A lager batch of so many days (40 unless said otherwise) is rehearsed with the default ticks, with
those of a quick estimate, and with the daemon's own ten seconds. The time is the processor's, so
that other work on the machine counts as little as it can.
"""

from __future__ import annotations

import sys
import time
from datetime import UTC, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

from fermd.config.example import SHORT_SITE
from fermd.config.site_file import parse_site
from fermd.control.settings import DAY_S, Duty
from fermd.control.steps import FinalHold, Hold, Profile, Ramp, Soak
from fermd.physics.ambient import DayNightAmbient
from fermd.planning.batch import PlannedBatch
from fermd.planning.chamber import planned_chamber
from fermd.planning.outcome import Rehearsal
from fermd.planning.rehearsal import IDLE_TICKS, PERIOD_S, QUICK_PERIOD_S, Plan, rehearse
from fermd.planning.timeline import timeline

FIXED_S = 22.5 * DAY_S
"""All of the batch but its lagering."""


def batch_of(days: float) -> Plan:
    """A lager, lagered for as long as it takes to fill the days, in a garage."""
    lagering_s = max(DAY_S, days * DAY_S - FIXED_S)
    steps = (
        Hold(9.0, DAY_S, "pitch"),
        Ramp(11.0, 1.0, "warm up"),
        Hold(11.0, 7 * DAY_S, "ferment"),
        Ramp(18.0, 3.5, "to the rest"),
        Soak(18.0, 2 * DAY_S, 0.5, "diacetyl rest"),
        Ramp(1.0, 2.0, "cool"),
        Soak(1.0, lagering_s, 0.5, "lager"),
        FinalHold(1.0),
    )
    profile = Profile("lager", steps)
    settings = parse_site(SHORT_SITE, Path("fermd.toml")).settings.chambers[0]
    start_s = datetime(2026, 3, 6, 17, tzinfo=UTC).timestamp()
    batch = PlannedBatch()
    line = timeline(profile, start_s, 9.0, ZoneInfo("Europe/Vienna"))
    return Plan(
        profile=profile,
        chamber=planned_chamber(settings, batch, None),
        batch=batch,
        room=DayNightAmbient(18.0, 4.0),
        start_utc_s=start_s,
        start_c=9.0,
        planned_s=line.lasts_s,
    )


def show(name: str, seen: Rehearsal, took_s: float) -> None:
    """Print one rehearsal."""
    cooling = next(use for use in seen.outputs if use.duty is Duty.COOL)
    reached = seen.coldest.utc_s
    day = "never" if reached is None else f"day {(reached - seen.start_utc_s) / DAY_S:.2f}"
    print(
        f"{name:<22}{took_s:6.2f} s CPU  {seen.lasted_s / DAY_S:.1f} days  "
        f"{cooling.starts} starts  {cooling.on_s / 3600:.1f} h on  {seen.kwh:.2f} kWh  "
        f"in band {seen.in_band_share:.3f}  coldest on {day}  broken {len(seen.broken)}"
    )


def main() -> None:
    """Print the figures."""
    plan = batch_of(float(sys.argv[1]) if len(sys.argv) > 1 else 40.0)
    for name, period_s, idle_ticks in (
        ("a tick a minute", PERIOD_S, IDLE_TICKS),
        ("a minute, never idle", PERIOD_S, 1),
        ("five minutes", QUICK_PERIOD_S, 1),
        ("ten seconds", 10.0, 1),
    ):
        began_s = time.process_time()
        seen = rehearse(plan, period_s=period_s, idle_ticks=idle_ticks)
        show(name, seen, time.process_time() - began_s)


if __name__ == "__main__":
    main()
