"""How much the page weighs, and how soon the first number and a month's chart are on the screen.

    .venv/bin/python tests/benchmarks/page_speed.py [--runs 5]

With Debian's chromium and chromium-driver, against the real daemon behind its password, whose
journal has a month of one chamber (made by `made_up_cellar.py`). Times are those of the
wall, as the page itself counts them: from its navigation with nothing in the browser's cache, and
from the press of the button. Run it on an idle machine.
"""

from __future__ import annotations

import argparse
import statistics
import sys
import tempfile
import time
from pathlib import Path
from threading import Event

sys.path.insert(0, str(Path(__file__).parent.parent / "browser"))

import made_up_cellar
from browser_rig import SCENES, Looking
from site_rig import Site

DAYS = 28
"""The made-up cellar begins a batch on its second day, and another one four weeks later."""

SITE = """\
time_zone = "Europe/Vienna"
journal_path = "FOLDER/journal.db"
socket_path = "FOLDER/s"

[web]
listen = "127.0.0.1:PORT"
password_file = "FOLDER/password"

[probe.vessel]
id = "28-000006b67845"

[probe.air]
id = "28-0000071a2b3c"

[output.fridge]
gpio = 17
active = "low"
duty = "cool"

[chamber.chamber-1]
vessel_probe = "vessel"
air_probe = "air"
outputs = ["fridge"]

[simulated]
times_real_time = 1
"""

_NUMBER = """
const done = arguments[0];
const look = () => document.querySelector('.beer .number, .chambers .number')
  ? done(performance.now()) : requestAnimationFrame(look);
look();
"""
_WEIGHT = """
const isChart = (one) => new RegExp('/(chart|installed)/').test(one.name);
const all = performance.getEntriesByType('resource');
const files = all.filter((one) => one.name.includes('/assets/'));
const sum = (list) => list.reduce((whole, one) => whole + one.encodedBodySize, 0);
const page = performance.getEntriesByType('navigation')[0].encodedBodySize;
return [page + sum(files.filter((one) => !isChart(one))), sum(files.filter(isChart))];
"""
_MONTH = """
const done = arguments[0];
const canvas = document.querySelector('.canvas');
const began = performance.now();
[...document.querySelectorAll('.spans button')].at(-1).click();
const month = 26 * 86400;
const look = () => (canvas.spanShown > month && canvas.curvesSince < Date.now() / 1000 - month
  ? requestAnimationFrame(() => done(performance.now() - began)) : requestAnimationFrame(look));
look();
"""


def main() -> None:
    """Measure, and print what was found."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=5)
    runs = parser.parse_args().runs
    with tempfile.TemporaryDirectory(prefix="fermd-") as made:
        made_up_cellar.START_UTC_S = time.time() - DAYS * 86400.0 - 60.0
        made_up_cellar.make(Path(made) / "journal.db", 1, DAYS, 7)
        site, page = Site(Path(made), SITE), Looking()
        site.start()
        try:
            page.become(SCENES[0])
            page.open(site.address)
            page.log_in()
            page.until_says("Fermd started")
            numbers, months = [], []
            for _ in range(runs):
                page.driver.execute_cdp_cmd("Network.clearBrowserCache", {})
                page.driver.get(site.address)
                numbers.append(page.driver.execute_async_script(_NUMBER))
                page.until_chart()
                Event().wait(1.0)
                months.append(page.driver.execute_async_script(_MONTH))
            before, chart = page.run(_WEIGHT)
        finally:
            page.close()
            site.close()
    print(f"compressed: {before / 1000:.1f} kB before the chart, {chart / 1000:.1f} kB for it")
    for what, found in (("first number", numbers), ("a month's chart", months)):
        print(
            f"{what}: {statistics.median(found):.0f} ms, of {sorted(round(one) for one in found)}"
        )


if __name__ == "__main__":
    main()
