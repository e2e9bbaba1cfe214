"""Simulated days a second: the whole way from probe to relay to journal, as `fermd demo --fast`."""

from __future__ import annotations

import tempfile
import time
from pathlib import Path

from fermd.cli.demo import run_batch
from fermd.cli.demo_screen import LineScreen
from fermd.cli.demo_site import demo_site
from fermd.config.profile_file import find_profile, load_profile
from fermd.review.record import read_record
from fermd.service.snapshot import Snapshot


class NoScreen(LineScreen):
    """Shows nothing."""

    def show(self, snapshot: Snapshot, chamber: str, total_s: float) -> None:
        return None


def main() -> None:
    with tempfile.TemporaryDirectory() as folder:
        journal = Path(folder) / "journal.db"
        site = demo_site(journal)
        profile = load_profile(find_profile("cold-crash"))
        began_s = time.process_time()
        run_batch(site, profile, None, 1, NoScreen())
        took_s = time.process_time() - began_s
        record = read_record(journal, site.settings.chambers[0].name)
        days = (record.end_s - record.start_s) / 86400.0
        ticks = days * 86400.0 / site.sample_period_s
        print(f"{days:.2f} days in {took_s:.2f} s CPU: {days / took_s:.2f} simulated days a second")
        print(f"{took_s / ticks * 1e6:.0f} µs a tick of {site.sample_period_s:g} s")


if __name__ == "__main__":
    main()
