"""The ports that a site file asks for: the real board, or a simulated one. Nothing falls back."""

from __future__ import annotations

import time
import uuid
from collections.abc import Iterator
from contextlib import contextmanager

from fermd.config.site import SimulatedSettings, SiteFile
from fermd.hardware.gpio_relays import GpioRelayBank
from fermd.hardware.pin_factories import NamedPins, PinSource
from fermd.hardware.ports import Clock
from fermd.hardware.simulated_clock import SimulatedClock
from fermd.hardware.simulated_site import ChamberWiring, SimulatedBoard, simulated_board
from fermd.hardware.w1_bus import W1ProbeBus
from fermd.service.clock import SystemClock
from fermd.service.daemon import Ports


@contextmanager
def site_ports(site: SiteFile) -> Iterator[Ports]:
    """The ports that a site file asks for, for as long as the context lasts."""
    if site.simulated is None:
        with SystemClock() as clock:
            yield board_ports(site, clock)
        return
    trial_clock = TrialClock(site.simulated.times_real_time)
    try:
        yield trial_ports(trial_board(site, site.simulated, trial_clock))
    finally:
        trial_clock.close()


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


def board_ports(site: SiteFile, clock: Clock, pins: PinSource | None = None) -> Ports:
    """Return the ports of the real board.

    `pins` opens what drives the pins, if not what the site file names (tests bring pins of their
    own, that exist in memory only).
    """

    def mono_s() -> float:
        return clock.now().mono_s

    return Ports(
        clock=clock,
        probes=W1ProbeBus(
            site.w1_root, tuple(site.probe_ids.values()), site.sample_period_s, mono_s
        ),
        relays=GpioRelayBank(site.relays, pins or pins_of(site), mono_s),
    )


def pins_of(site: SiteFile) -> PinSource:
    """Return what opens the pin factory that the site file names."""
    return NamedPins(site.pin_factory or "lgpio", site.chip)


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
