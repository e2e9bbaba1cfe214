"""The whole daemon on a simulated board, faster than real, telling real receivers."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from receivers import BOUND_S, until

from fermd.config.site import SiteFile
from fermd.config.site_file import load_site
from fermd.control.commands import Command
from fermd.hardware.simulated_site import SimulatedBoard
from fermd.journal.reader import JournalReader
from fermd.journal.rows import MessageEnded
from fermd.messages.interface import to_people
from fermd.service.daemon import Daemon, RunningSite
from fermd.service.hold import hold
from fermd.service.notify import ServiceManager
from fermd.service.trial import TrialClock, trial_board, trial_ports

VESSEL_ID = "28-000006b67845"
PACE = 200.0

SITE = f"""\
site_name = "cellar"
time_zone = "Europe/Vienna"
journal_path = "journal.db"
socket_path = "run/s"

[probe.vessel]
id = "{VESSEL_ID}"

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

[simulated]
times_real_time = {PACE:g}

[messages]
secrets_file = "addresses.toml"
"""


def site_in(
    folder: Path, addresses: dict[str, str], more: str = "", pace: float = PACE
) -> SiteFile:
    """Write a site file and its addresses; a recipient for each that is no heartbeat."""
    secrets = folder / "addresses.toml"
    secrets.touch(mode=0o600)
    secrets.write_text("".join(f'{key} = "{url}"\n' for key, url in addresses.items()))
    named = "".join(f"[messages.to.{key}]\n" for key in addresses if key != "heartbeat")
    path = folder / "fermd.toml"
    path.write_text(SITE.replace(f"{PACE:g}", f"{pace:g}") + more + named)
    return load_site(path)


@dataclass
class Cellar:
    """A daemon that is in charge."""

    site: SiteFile
    board: SimulatedBoard
    running: RunningSite

    def order(self, command: Command) -> None:
        assert self.running.requests.ask("lager", command).wait(BOUND_S).taken

    def outcomes(self) -> list[MessageEnded]:
        self.running.written()
        rows = JournalReader(self.site.journal_path).last_events(1000)
        return [row.happening for row in rows if isinstance(row.happening, MessageEnded)]


@contextmanager
def in_charge(site: SiteFile) -> Iterator[Cellar]:
    found: list[RunningSite] = []

    @contextmanager
    def watched(running: RunningSite) -> Iterator[None]:
        found.append(running)
        yield

    assert site.simulated is not None
    clock = TrialClock(site.simulated.times_real_time)
    board = trial_board(site, site.simulated, clock)
    ports = trial_ports(board)
    with hold(site, ports):
        interfaces = [watched, to_people(site, look_every_s=0.02)]
        daemon = Daemon(site, ports, ServiceManager(None), interfaces)
        thread = threading.Thread(target=daemon.run, daemon=True)
        thread.start()
        until(lambda: found and found[0].snapshot() is not None)
        try:
            yield Cellar(site, board, found[0])
        finally:
            daemon.stop()
            thread.join(BOUND_S)
    clock.close()
    assert not thread.is_alive()
