"""One daemon in charge of 1, 10 and 100 chambers: CPU per tick, memory, journal bytes a day.

    python tests/benchmarks/many_chambers.py [--folder DIR] [--pace 60] [--for-s 60] [1 10 100]

Runs the real daemon (`fermd run`) in a process of its own, on a simulated site at a pace; every
chamber has two probes, a fridge and a heat belt, and is set to a target. What is counted is what
the kernel says of that process (proc(5)), over a window after it has settled: the simulated
chambers are in it, some 20 µs of each chamber's tick (see simulated_days.py). The bytes are those
that the process caused to be written (`write_bytes`); a file system in memory counts none, so
name a folder on a disk.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from fermd.cli.client import Daemon
from fermd.cli.exits import Failure

PERIOD_S = 10.0
SETTLE_TICKS = 60
"""The probes have earned their trust by then, and the first start's rows are written."""
DAY_S = 86_400.0


@dataclass(frozen=True, slots=True)
class _Use:
    """What a process has used so far."""

    tick: int
    cpu_s: float
    written_bytes: int

    @classmethod
    def now(cls, pid: int, client: Daemon) -> _Use:
        """Read it."""
        tick = int(client.status()["tick"])
        fields = Path(f"/proc/{pid}/stat").read_text(encoding="ascii").rsplit(")", 1)[1].split()
        cpu_s = (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")
        io = dict(
            line.split(": ") for line in Path(f"/proc/{pid}/io").read_text("ascii").splitlines()
        )
        return cls(tick, cpu_s, int(io["write_bytes"]))


def main() -> None:
    """Print a line for each number of chambers."""
    options = _options()
    for chambers in options.chambers:
        with (
            tempfile.TemporaryDirectory(dir=options.folder) as name,
            running(Path(name), chambers, options.pace) as (pid, client),
        ):
            _measure(chambers, pid, client, options.for_s)


def _measure(chambers: int, pid: int, client: Daemon, for_s: float) -> None:
    for number in range(chambers):
        client.order(f"c{number}", {"command": "set-target", "target_c": 14.0, "who": "benchmark"})
    while client.status()["tick"] < SETTLE_TICKS:
        time.sleep(0.5)
    before = _Use.now(pid, client)
    time.sleep(for_s)
    after = _Use.now(pid, client)
    ticks = after.tick - before.tick
    cpu_ms = (after.cpu_s - before.cpu_s) / ticks * 1e3
    mb_a_day = (after.written_bytes - before.written_bytes) / 1e6 * DAY_S / (ticks * PERIOD_S)
    print(
        f"{chambers:4} chambers: {cpu_ms:8.2f} ms CPU a tick ({cpu_ms / chambers:.3f} a chamber), "
        f"{cpu_ms / 10 / PERIOD_S:.3f} % of a core at real time; {_resident_mb(pid):.1f} MB "
        f"resident; journal {mb_a_day:.1f} MB a day ({mb_a_day / chambers:.2f} a chamber); "
        f"{ticks} ticks",
        flush=True,
    )


@contextmanager
def running(
    folder: Path, chambers: int, pace: float, more: str = ""
) -> Iterator[tuple[int, Daemon]]:
    """Run a daemon of so many chambers, named c0 and so on; `more` ends its site file."""
    site = folder / "fermd.toml"
    site.write_text(_site(folder, chambers, pace) + more, encoding="utf-8")
    daemon = subprocess.Popen(
        [sys.executable, "-m", "fermd.cli", "run", "--site", str(site)], stderr=subprocess.DEVNULL
    )
    try:
        client = Daemon(folder / "fermd.sock")
        _wait_for(client, daemon)
        yield daemon.pid, client
    finally:
        daemon.terminate()
        daemon.wait()


def _wait_for(client: Daemon, daemon: subprocess.Popen[bytes]) -> None:
    while daemon.poll() is None:
        try:
            client.status()
        except Failure:
            time.sleep(0.5)
        else:
            return
    raise SystemExit(f"the daemon ended with {daemon.returncode}; run it by hand to see why")


def _site(folder: Path, chambers: int, pace: float) -> str:
    parts = [
        'time_zone = "Europe/Vienna"',
        f"sample_period_s = {PERIOD_S:g}",
        f'journal_path = "{folder}/journal.db"',
        f'socket_path = "{folder}/fermd.sock"',
        f"[simulated]\ntimes_real_time = {pace:g}",
    ]
    for number in range(chambers):
        parts.append(
            f'[probe.v{number}]\nid = "28-{2 * number:012x}"\n'
            f'[probe.a{number}]\nid = "28-{2 * number + 1:012x}"\n'
            f'[output.f{number}]\ngpio = {2 * number}\nactive = "low"\nduty = "cool"\n'
            f'[output.h{number}]\ngpio = {2 * number + 1}\nactive = "low"\nduty = "heat"\n'
            f'[chamber.c{number}]\nvessel_probe = "v{number}"\nair_probe = "a{number}"\n'
            f'outputs = ["f{number}", "h{number}"]'
        )
    return "\n".join(parts) + "\n"


def _resident_mb(pid: int) -> float:
    status = Path(f"/proc/{pid}/status").read_text(encoding="ascii")
    resident = next(line for line in status.splitlines() if line.startswith("VmRSS"))
    return int(resident.split()[1]) / 1024


def _options() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("chambers", type=int, nargs="*", default=[1, 10, 100])
    parser.add_argument("--folder", help="on which disk; that of temporary files otherwise")
    parser.add_argument("--pace", type=float, default=60.0, help="times real time")
    parser.add_argument("--for-s", type=float, default=60.0, help="how long is measured, s")
    return parser.parse_args()


if __name__ == "__main__":
    main()
