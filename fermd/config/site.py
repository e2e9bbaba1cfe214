"""What a site file says, once it has been read and found good.

The numbers of control are `fermd.control.settings`; here is the rest: the board, the places of
the files, and the trial without a board.
"""

from __future__ import annotations

import platform
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Annotated, Final, Literal
from zoneinfo import ZoneInfo

from annotated_types import Ge, Gt, Le, MinLen

from fermd.config.broker import BrokerSettings
from fermd.config.keeping import KeepingSettings
from fermd.config.messages import MessageSettings
from fermd.config.web import WebSettings
from fermd.control.settings import SiteSettings

LEASE_PERIODS: Final = 3
"""A relay's `on` lasts for so many sample periods unless it is renewed: one reading may be lost
and one tick may be late without a relay letting go."""

SHORTEST_LEASE_S: Final = 15.0
"""... but for no less than this, s: reading several probes takes seconds (0.75 s each, DS18B20
data sheet), and so does a slow flash card. Common practice, no source."""


def lease_s(sample_period_s: float) -> float:
    """How long a relay stays on without a completed tick that renews it, s."""
    return max(SHORTEST_LEASE_S, LEASE_PERIODS * sample_period_s)


@dataclass(frozen=True, slots=True)
class SimulatedSettings:
    """A trial without a board: every chamber gets a simulated vessel, fridge and heater.

    While this table is there, no pin and no probe is touched.
    """

    volume_l: Annotated[float, Ge(1), Le(5000)] = 20.0
    """Beer in each vessel, l. 20 l is a usual home batch (common practice, no source)."""
    original_extract_p: Annotated[float, Ge(0), Le(30)] = 12.0
    """Original extract of the wort, °P; 0 is water, which does not warm itself."""
    start_c: Annotated[float, Ge(-2), Le(45)] = 18.0
    """Temperature of the beer at the start, °C."""
    ambient_c: Annotated[float, Ge(-20), Le(45)] = 18.0
    """Mean temperature of the room, °C."""
    ambient_swing_c: Annotated[float, Ge(0), Le(20)] = 3.0
    """The room is this much warmer by day and this much colder by night, °C."""
    heater_w: Annotated[float, Gt(0), Le(10000)] = 40.0
    """What a heater gives, W. 40 W is a usual heat belt (common practice, no source)."""
    cooler_w: Annotated[float, Gt(0), Le(10000)] = 100.0
    """What a fridge takes out of the air while it runs, W (common practice, no source)."""
    times_real_time: Annotated[float, Ge(1), Le(1000)] = 60.0
    """How many times faster than real time it runs: at 60 a day takes 24 minutes."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BoardSettings:
    """The board, the places of the files, and the pace: the keys at the top of the site file."""

    time_zone: Annotated[str, MinLen(1)]
    """The time zone that the brewer's calendar is in, by its IANA name: "Europe/Vienna"."""
    site_name: Annotated[str, MinLen(1)] | None = None
    """What this board is called among others, in messages and figures: letters, digits, - and _.
    None: the host's name."""
    pin_factory: Literal["lgpio"] | None = None
    """What drives the pins: "lgpio", the pin factory that can be told its chip by label."""
    chip: Annotated[str, MinLen(1)] | None = None
    """The GPIO chip by its label, as `gpiodetect` shows it in brackets: "pinctrl-rp1" on a
    Raspberry Pi 5, "pinctrl-bcm2711" on a 4, "pinctrl-bcm2835" on older ones. Numbers of chips
    change from kernel to kernel, labels do not."""
    sample_period_s: Annotated[float, Ge(2), Le(60)] = 10.0
    """All probes are read, and all relays decided on, once in this time, s. A vessel of 20 l
    moves by a step of its probe (0.0625 °C) in minutes: 10 s is ample."""
    w1_root: Path = Path("/sys/bus/w1/devices")
    """Where the kernel shows the 1-Wire probes."""
    journal_path: Path = Path("/var/lib/fermd/journal.db")
    """The record. Not in memory (/run, /tmp): it must outlive a power cut."""
    socket_path: Path = Path("/run/fermd/fermd.sock")
    """The socket that the command line talks to the daemon through."""

    @property
    def lease_s(self) -> float:
        """How long a relay stays on without a completed tick that renews it, s."""
        return lease_s(self.sample_period_s)

    @property
    def known_as(self) -> str:
        """What this board is called among others: as the site file has it, or as the host."""
        return self.site_name or named_after_host(platform.node())

    @property
    def zone(self) -> ZoneInfo:
        """The time zone itself."""
        return ZoneInfo(self.time_zone)


@dataclass(frozen=True, slots=True)
class RelayLine:
    """The electrical side of one output."""

    line: str
    """As in `OutputSettings.line`: `gpio:<label of the chip>:<gpio>`, or `sim:<gpio>`."""
    output: str
    chip: str | None
    """None: simulated."""
    gpio: int
    """Number of the line on its chip."""
    active_high: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class SiteFile(BoardSettings):
    """A whole site file."""

    path: Path
    settings: SiteSettings
    probe_ids: Mapping[str, str]
    """The id on the 1-Wire bus by the name of the probe. Names are unique in the site."""
    relays: tuple[RelayLine, ...]
    simulated: SimulatedSettings | None = None
    """None: the real board."""
    web: WebSettings | None = None
    """None: no page on the network."""
    broker: BrokerSettings | None = None
    """None: nothing is published."""
    keeping: KeepingSettings = field(default_factory=KeepingSettings)
    messages: MessageSettings | None = None
    """None: nobody is told."""


SIMULATED_JOURNAL: Final = Path("/var/lib/fermd/simulated.db")
"""Where a trial is recorded unless told otherwise: never in the record of real beer."""


def named_after_host(host: str) -> str:
    """Return a site's name made of a host's: its first label, without what a name cannot have.

    >>> named_after_host("cellar.example.org")
    'cellar'
    """
    return re.sub(r"[^\w-]", "-", host.partition(".")[0])[:40].lstrip("-_") or "fermd"


def line_of(chip: str | None, gpio: int) -> str:
    """How a relay line is named in settings and journal; without a chip it is simulated."""
    return f"sim:{gpio}" if chip is None else f"gpio:{chip}:{gpio}"
