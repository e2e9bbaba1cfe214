"""A small real daemon for the tests of the command line: loop, journal and socket are real.

Only the hardware is played: probes that show what they are told, relays that remember what they
were driven to. Nothing is mocked between the command line and the loop.
"""

from __future__ import annotations

import fcntl
import json
import os
import pty
import re
import select
import shutil
import struct
import subprocess
import sys
import tempfile
import termios
import threading
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from click.testing import CliRunner

from fermd import __version__
from fermd.cli.catalogue import fermd
from fermd.config.site import SiteFile
from fermd.config.site_file import load_site
from fermd.control.reading import ProbeFault, Sample
from fermd.hardware.ports import RelayState
from fermd.journal.writer import SqliteJournal
from fermd.service.clock import SystemClock
from fermd.service.daemon import RunningSite
from fermd.service.loop import ControlLoop, Wiring
from fermd.service.snapshot import Snapshot
from fermd.web.api import application
from fermd.web.orders import Readers
from fermd.web.server import UnixServer
from fermd.web.serving import read_instant, read_past_instant, read_profile

PERIOD_S = 0.02
BOUND_S = 20.0
"""Far beyond what anything here takes; reaching it fails the test."""

VESSEL_ID = "28-000006b67845"
AIR_ID = "28-0000071a2b3c"
ALE_ID = "28-00000aaaaaaa"

LAGER = f"""\
time_zone = "Europe/Vienna"
pin_factory = "lgpio"
chip = "pinctrl-bcm2711"
journal_path = "JOURNAL"
socket_path = "SOCKET"
w1_root = "W1ROOT"

[probe.vessel]
id = "{VESSEL_ID}"

[probe.air]
id = "{AIR_ID}"

[output.fridge]
gpio = 17
active = "low"
duty = "cool"

[output.belt]
gpio = 27
active = "low"
duty = "heat"

[output.belt.protection]
minimum_off_s = 0
minimum_run_s = 0

[chamber.lager]
vessel_probe = "vessel"
air_probe = "air"
outputs = ["fridge", "belt"]
changeover_s = 0
"""

ALE = f"""
[probe.bucket]
id = "{ALE_ID}"

[output.mat]
gpio = 22
active = "low"
duty = "heat"

[chamber.ale]
vessel_probe = "bucket"
outputs = ["mat"]
"""

PROFILE = """\
name = "Test lager"

[[step]]
kind = "hold"
target_c = 10.0
for = "5 d"

[[step]]
kind = "ramp"
to_c = 16.0
rate_c_per_day = 2.0

[[step]]
kind = "wait"
target_c = 16.0
prompt = "taste it"

[[step]]
kind = "final-hold"
target_c = 2.0
"""


class PlayedProbes:
    """A bus whose probes show what they are told."""

    def __init__(self, ids: Sequence[str], clock: SystemClock, temp_c: float = 19.5) -> None:
        self.temp_c: dict[str, float | None] = dict.fromkeys(ids, temp_c)
        self.loose = False
        """A loose contact: every other read fails."""
        self._failed = False
        self._clock = clock

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        return None

    def take(self) -> Mapping[str, Sequence[Sample]]:
        at_s = self._clock.now().mono_s
        self._failed = self.loose and not self._failed
        return {
            probe_id: (
                Sample(at_s, fault=ProbeFault.DISCONNECTED)
                if temp_c is None or self._failed
                else Sample(at_s, temp_c),
            )
            for probe_id, temp_c in self.temp_c.items()
        }

    def listed(self) -> Sequence[str]:
        return tuple(self.temp_c)


class PlayedRelays:
    """Relays that remember what they were driven to."""

    def __init__(self) -> None:
        self.on: dict[str, bool] = {}

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.release_all()

    def drive(self, on_by_line: Mapping[str, bool], lease_until_mono_s: float) -> None:
        self.on.update(on_by_line)

    def release_all(self) -> None:
        self.on = dict.fromkeys(self.on, False)

    def expired(self) -> Sequence[str]:
        return ()

    def states(self) -> Mapping[str, RelayState]:
        return {line: RelayState(on, not on, 0.0) for line, on in self.on.items()}


@dataclass
class RealDaemon:
    """Loop, journal and socket, served while entered."""

    site_text: str = LAGER
    folder: Path = field(default_factory=lambda: Path(tempfile.mkdtemp(prefix="fermd-cli-")))
    probe_c: float = 19.5
    """What all probes show at first."""

    def __post_init__(self) -> None:
        self.site_path = self.folder / "fermd.toml"
        places = {
            "JOURNAL": self.folder / "journal.db",
            "SOCKET": self.folder / "s",
            "W1ROOT": self.folder / "w1",
        }
        text = self.site_text
        for word, place in places.items():
            text = text.replace(word, str(place))
        self.site_path.write_text(text, "utf-8")
        self.site: SiteFile = load_site(self.site_path)

    def __enter__(self) -> Self:
        self._clock = SystemClock(kernel_is_synchronised=lambda: True)
        self.probes = PlayedProbes(list(self.site.probe_ids.values()), self._clock, self.probe_c)
        self.relays = PlayedRelays()
        self.journal = SqliteJournal(
            self.site.journal_path,
            boot_id=self._clock.boot_id(),
            moment=self._clock.now(),
            version=__version__,
        )
        trusted = threading.Event()

        def look(snapshot: Snapshot) -> None:
            if snapshot.tick > 5:
                trusted.set()

        self._loop = ControlLoop(
            self.site.settings,
            Wiring(self.site.probe_ids, PERIOD_S, 60.0),
            self._clock,
            self.probes,
            self.relays,
            self.journal,
            look,
        )
        self._thread = threading.Thread(target=self._loop.run, daemon=True)
        self._thread.start()
        self._server = UnixServer(
            application(
                RunningSite(self._loop, self._clock, self.journal, self.site, self._reload),
                Readers(
                    read_profile,
                    lambda text: read_instant(text, self.site, self._clock.now()),
                    lambda text: read_past_instant(text, self.site, self._clock.now()),
                ),
                time_zone=self.site.time_zone,
            ),
            self.site.socket_path,
        )
        self._server.__enter__()
        assert trusted.wait(BOUND_S)
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._server.__exit__(kind, error, trace)
        self._loop.stop()
        self._thread.join(BOUND_S)
        self.journal.close(self._clock.now(), cleanly=True)
        self._clock.close()

    def _reload(self) -> None:
        changed = load_site(self.site_path)
        self._loop.reload(changed.settings, Wiring(changed.probe_ids, PERIOD_S, 60.0))

    def until(self, fits: Any) -> Snapshot:
        """Wait until the newest snapshot fits."""
        waiting = threading.Event()
        for _ in range(int(BOUND_S / PERIOD_S)):
            snapshot = self._loop.snapshot
            if snapshot is not None and fits(snapshot):
                return snapshot
            waiting.wait(PERIOD_S)
        raise AssertionError("did not come to fit within the bound")

    @property
    def environment(self) -> dict[str, str]:
        return {"FERMD_SOCKET": str(self.site.socket_path), "FERMD_SITE": str(self.site_path)}

    def remove(self) -> None:
        shutil.rmtree(self.folder)


@dataclass(frozen=True)
class Ended:
    """A command that has come to its end."""

    code: int
    out: str
    err: str

    @property
    def json(self) -> Any:
        return json.loads(self.out)


def run(*args: str, env: Mapping[str, str] | None = None, typed: str = "") -> Ended:
    """Run a command in this process, as piped."""
    quiet = {"FERMD_SOCKET": "", "FERMD_SITE": "", "NO_COLOR": ""}
    result = CliRunner().invoke(fermd, list(args), env={**quiet, **(env or {})}, input=typed)
    ended = Ended(result.exit_code, result.stdout, result.stderr)
    assert result.exception is None or isinstance(result.exception, SystemExit), ended
    assert "Traceback" not in result.output
    return ended


def process_environment(env: Mapping[str, str] | None = None) -> dict[str, str]:
    clean = {
        key: value
        for key, value in os.environ.items()
        if key not in ("NO_COLOR", "FORCE_COLOR", "FERMD_SOCKET", "FERMD_SITE")
    }
    return {**clean, "TERM": "xterm-256color", "COLUMNS": "80", **(env or {})}


COMMAND = (sys.executable, "-m", "fermd.cli")


def process(*args: str, env: Mapping[str, str] | None = None) -> Ended:
    """Run a command in a process of its own, piped."""
    done = subprocess.run(
        [*COMMAND, *args],
        env=process_environment(env),
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        timeout=BOUND_S,
        check=False,
    )
    assert "Traceback" not in done.stderr
    return Ended(done.returncode, done.stdout, done.stderr)


class Terminal:
    """A command in a process of its own, on a terminal of 80 columns."""

    def __init__(self, *args: str, env: Mapping[str, str] | None = None, columns: int = 80) -> None:
        self.shown = ""
        self._mine, theirs = pty.openpty()
        fcntl.ioctl(theirs, termios.TIOCSWINSZ, struct.pack("HHHH", 40, columns, 0, 0))
        self.child = subprocess.Popen(
            [*COMMAND, *args],
            env={**process_environment(env), "COLUMNS": str(columns)},
            stdin=theirs,
            stdout=theirs,
            stderr=theirs,
            start_new_session=True,
        )
        os.close(theirs)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.child.kill()
        self.child.wait(BOUND_S)
        os.close(self._mine)

    def type(self, text: str) -> None:
        os.write(self._mine, text.encode())

    def until(self, words: str) -> None:
        """Read on until it has shown these words (colours left out)."""
        while words not in re.sub(r"\x1b\[[0-9;?]*[A-Za-z]", "", self.shown):
            assert self.read(), self.shown

    def read(self) -> bool:
        """Read what it shows next; False if it has ended."""
        ready, _, _ = select.select([self._mine], [], [], BOUND_S)
        assert ready, self.shown
        try:
            part = os.read(self._mine, 65536)
        except OSError:
            # How Linux says that the other side of a terminal was closed.
            return False
        self.shown += part.decode("utf-8", "replace")
        return bool(part)


def on_terminal(
    *args: str, env: Mapping[str, str] | None = None, typed: str = "", columns: int = 80
) -> Ended:
    """Run a command on a terminal to its end; everything shown is in `out`."""
    with Terminal(*args, env=env, columns=columns) as terminal:
        terminal.type(typed)
        while terminal.read():
            pass
        code = terminal.child.wait(BOUND_S)
    assert "Traceback" not in terminal.shown
    return Ended(code, terminal.shown, "")
