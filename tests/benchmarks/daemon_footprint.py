"""Memory of the daemon, and the time from its start to the first safe outputs and first tick.

Runs the real daemon in a process of its own on a fake 1-Wire tree and mock pins.
"""

from __future__ import annotations

import os
import socket
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from fermd.hardware.fake_w1 import FakeW1Tree

SITE = """\
time_zone = "Europe/Vienna"
pin_factory = "lgpio"
chip = "benchmark"
w1_root = "{w1_root}"
journal_path = "{folder}/journal.db"
socket_path = "{folder}/fermd.sock"

[probe.vessel]
id = "28-000006b67845"
[probe.air]
id = "28-0000071a2b3c"
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
"""

DAEMON = """
import sys, time
from contextlib import contextmanager
from pathlib import Path
from gpiozero.pins.mock import MockFactory
from fermd.cli.run import serve
from fermd.service.board import board_ports
from fermd.service.clock import SystemClock

class Pins:
    def open(self):
        factory = MockFactory()
        claimed = factory.pin
        def pin(name):
            print("claimed", time.monotonic(), flush=True)
            return claimed(name)
        factory.pin = pin
        return factory

@contextmanager
def ports(site):
    with SystemClock() as clock:
        yield board_ports(site, clock, Pins())

sys.exit(serve(Path(sys.argv[1]), ports))
"""


def main() -> None:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        tree = FakeW1Tree(folder / "w1")
        tree.add_probe("28-000006b67845", temp_c=19.5)
        tree.add_probe("28-0000071a2b3c", temp_c=18.0)
        site = folder / "fermd.toml"
        site.write_text(SITE.format(w1_root=tree.root, folder=folder))
        notify = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        notify.bind(str(folder / "notify"))
        began_s = time.monotonic()
        daemon = subprocess.Popen(
            [sys.executable, "-c", DAEMON, str(site)],
            env=os.environ | {"NOTIFY_SOCKET": str(folder / "notify")},
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            text=True,
        )
        try:
            assert daemon.stdout is not None
            claimed_s = float(daemon.stdout.readline().split()[1])
            while "READY=1" not in notify.recv(4096).decode():
                continue
            ready_s = time.monotonic()
            print(f"first line claimed off after {claimed_s - began_s:.2f} s")
            print(f"first tick complete after {ready_s - began_s:.2f} s")
            time.sleep(30.0)
            status = Path(f"/proc/{daemon.pid}/status").read_text()
            resident = next(line for line in status.splitlines() if line.startswith("VmRSS"))
            print(f"resident after 30 s: {int(resident.split()[1]) / 1024:.1f} MB")
            stat = Path(f"/proc/{daemon.pid}/stat").read_text().rsplit(")", 1)[1].split()
            cpu_s = (int(stat[11]) + int(stat[12])) / os.sysconf("SC_CLK_TCK")
            time.sleep(60.0)
            stat = Path(f"/proc/{daemon.pid}/stat").read_text().rsplit(")", 1)[1].split()
            more_s = (int(stat[11]) + int(stat[12])) / os.sysconf("SC_CLK_TCK") - cpu_s
            print(f"CPU over 60 s of control: {more_s / 60.0:.2%} of a core")
        finally:
            daemon.terminate()
            daemon.wait()


if __name__ == "__main__":
    main()
