"""The ports that a site file asks for: the real board, or a simulated one. Nothing falls back."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from fermd.config.site import SiteFile
from fermd.hardware.gpio_relays import GpioRelayBank
from fermd.hardware.pin_factories import NamedPins, PinSource
from fermd.hardware.ports import Clock
from fermd.hardware.w1_bus import W1ProbeBus
from fermd.service.clock import SystemClock
from fermd.service.hold import Ports


@contextmanager
def site_ports(site: SiteFile) -> Iterator[Ports]:
    """The ports that a site file asks for, for as long as the context lasts."""
    if site.simulated is None:
        with SystemClock() as clock:
            yield board_ports(site, clock)
        return
    # Only a trial needs the physics.
    from fermd.service.trial import opened_trial

    with opened_trial(site, site.simulated) as ports:
        yield ports


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
