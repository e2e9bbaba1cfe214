"""The batches of `fermd demo`: its own site, a screen that shows nothing, and what is left."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

from batch_rig import PERIOD_S

from fermd.cli.demo_screen import LineScreen
from fermd.cli.demo_site import DEMO_SITE
from fermd.config.site import SiteFile
from fermd.config.site_file import parse_site
from fermd.control.settings import Duty
from fermd.control.steps import Profile
from fermd.hardware.simulated_plant import SimulatedPlant
from fermd.service.snapshot import Snapshot


class Quiet(LineScreen):
    """Shows nothing, and remembers the ticks."""

    def __init__(self) -> None:
        self.ticks = 0

    def show(self, snapshot: Snapshot, chamber: str, total_s: float) -> None:
        self.ticks += 1


@dataclass(frozen=True)
class LookBack:
    """A batch that is over."""

    site: SiteFile
    profile: Profile
    journal: Path
    plant: SimulatedPlant
    plant_starts: dict[Duty, int]
    finished: bool
    ticks: int
    relays_on: list[str]


def demo_site_at(journal: Path, period_s: float = PERIOD_S) -> SiteFile:
    """The demonstration's own site, with its probes read once in so many seconds."""
    text = DEMO_SITE.replace("time_zone =", f"sample_period_s = {period_s:g}\ntime_zone =", 1)
    text = text.replace("\n\n[probe.air]", "\nstale_s = 300\n\n[probe.air]")
    text = text.replace("\n\n[output.fridge]", "\nstale_s = 300\n\n[output.fridge]")
    return replace(parse_site(text, Path("demo.toml")), journal_path=journal)
