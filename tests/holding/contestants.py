"""Who takes part in the comparison, by name."""

from __future__ import annotations

from collections.abc import Callable
from trace import Trace

from run import run
from scenario import Scenario
from thermostats.as_shipped import AsShipped
from thermostats.guarded import Guarded
from thermostats.on_off import OnOff
from thermostats.proportioned_pid import ProportionedPid
from thermostats.thermostat import Thermostat

THERMOSTATS: dict[str, Callable[[Scenario], Thermostat]] = {
    "fermd": AsShipped,
    "on-off": lambda scenario: Guarded(scenario, OnOff()),
    "pid": lambda scenario: Guarded(scenario, ProportionedPid(scenario)),
}

BEST = "best"
"""Not a thermostat: what could have been done with full knowledge."""


def run_contestant(
    scenario: Scenario, contestant: str, seed: int, most_starts_a_day: float | None
) -> Trace:
    """Run one contestant; the best possible is allowed no more starts than are given."""
    if contestant == BEST:
        from best_possible import best_possible

        return best_possible(scenario, seed, most_starts_a_day)
    return run(scenario, THERMOSTATS[contestant](scenario), contestant, seed)
