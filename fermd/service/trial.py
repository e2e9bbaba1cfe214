"""A trial without a board: a simulated fridge, heater and vessel for each chamber of a site."""

from __future__ import annotations

import time
import uuid
from collections.abc import Iterator
from contextlib import contextmanager

from fermd.config.site import SimulatedSettings, SiteFile
from fermd.hardware.simulated_clock import SimulatedClock
from fermd.hardware.simulated_site import ChamberWiring, SimulatedBoard, simulated_board
from fermd.service.hold import Ports


@contextmanager
def opened_trial(site: SiteFile, trial: SimulatedSettings) -> Iterator[Ports]:
    """The ports of a trial at the pace that the site file asks for."""
    clock = TrialClock(trial.times_real_time)
    try:
        yield trial_ports(trial_board(site, trial, clock))
    finally:
        clock.close()


class TrialClock(SimulatedClock):
    """The clock of a trial: each process is a start of the simulated board, with an id of its own.

    Else a restart would take the boot clock of the trial before for its own.
    """

    def __init__(self, times_real_time: float) -> None:
        super().__init__(time.time(), times_real_time=times_real_time)
        self._run = uuid.uuid4()

    def boot_id(self) -> str:
        """Return the name of this run of the board."""
        return f"{super().boot_id()}-{self._run}"


def trial_board(
    site: SiteFile, trial: SimulatedSettings, clock: SimulatedClock, seed: int = 0
) -> SimulatedBoard:
    """Return a simulated board for a site: a fridge, a heater and a vessel for each chamber."""
    return simulated_board(_wirings(site), trial, site.sample_period_s, clock, seed)


def trial_ports(board: SimulatedBoard) -> Ports:
    """Return the ports of a simulated board."""
    return Ports(clock=board.clock, probes=board.probes, relays=board.relays)


def _wirings(site: SiteFile) -> dict[str, ChamberWiring]:
    return {
        one.name: ChamberWiring(
            vessel_probe_id=site.probe_ids[one.vessel_probe.name],
            air_probe_id=None if one.air_probe is None else site.probe_ids[one.air_probe.name],
            watching_probe_ids=[site.probe_ids[probe.name] for probe in one.watching_probes],
            lines={output.duty: output.line for output in one.outputs},
        )
        for one in site.settings.chambers
    }
