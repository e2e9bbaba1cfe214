"""The site that `fermd demo` runs: one simulated fridge with a heat belt, as a site file."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from fermd.config.site import SiteFile
from fermd.config.site_file import parse_site

DEMO_SITE = """\
# 20 l of lager in a 150 l fridge, in a garage that is 18 °C by day and 12 °C by night.
time_zone = "Europe/Vienna"

[probe.vessel]
id = "28-0000071a2b3c"

[probe.air]
id = "28-0000071a4d5e"

[output.fridge]
gpio = 17
active = "low"
duty = "cool"

[output.belt]
gpio = 27
active = "low"
duty = "heat"

[chamber.lager]
vessel_probe = "vessel"
air_probe = "air"
outputs = ["fridge", "belt"]

[simulated]
volume_l = 20
original_extract_p = 12
start_c = 14
ambient_c = 15
ambient_swing_c = 3
"""


def demo_site(journal: Path) -> SiteFile:
    """Return the demonstration's site, recorded in this journal."""
    # Not written into the text: a path may have characters that TOML would have to escape.
    site = parse_site(DEMO_SITE, Path("demo.toml"))
    return replace(site, journal_path=journal.absolute())
