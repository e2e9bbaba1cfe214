"""A real service manager for the tests: systemd itself, as an instance for one user.

It runs in a mount namespace of its own with an empty /run, so that it neither finds nor disturbs
the machine's own manager. Run as root it applies the unit's sandbox and its life cycle as the
system's manager does, but for two things: there is no journal to log to, and the device list
(DeviceAllow=) is not enforced.
"""

from __future__ import annotations

import re
import signal
import socket
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

import fermd

UNIT = Path(__file__).parents[2] / "systemd" / "fermd.service"

INSTALLED_COMMAND = "/opt/fermd/bin/fermd"
"""The path in the unit, which exists on no machine that runs tests."""

LISTEN_S = 60.0

IN_A_NAMESPACE = """
mount -t tmpfs tmpfs /run && mkdir -p /run/systemd/system &&
exec env -i PATH="$PATH" XDG_RUNTIME_DIR=/run XDG_CONFIG_HOME="$1" XDG_STATE_HOME="$1" \
  SYSTEMD_LOG_TARGET=null SYSTEMD_UNIT_PATH="$1/units:" \
  /lib/systemd/systemd --user --unit=fermd.service
"""


@dataclass
class Manager:
    """Starts the shipped unit with other programs in it, and hears what these programs say."""

    folder: Path
    ear: socket.socket
    process: subprocess.Popen[bytes] | None = None

    def start(self, daemon: str, release: str, **replaced: str) -> None:
        """Run the unit with these Python programs as daemon and as releasing command.

        `replaced` sets other keys of the unit. A program finds `say(text)` defined.
        """
        text = UNIT.read_text()
        commands = {
            "ExecStart": self._program("daemon", daemon),
            "ExecStopPost": self._program("release", release),
        }
        for key, value in {**commands, **replaced}.items():
            text, count = re.subn(rf"^{key}=.*$", f"{key}={value}", text, flags=re.MULTILINE)
            assert count == 1, f"{key} must stand in the unit once"
        units = self.folder / "units"
        units.mkdir()
        (units / "fermd.service").write_text(text)
        self.process = subprocess.Popen(
            ["unshare", "-m", "sh", "-c", IN_A_NAMESPACE, "sh", str(self.folder)],
            stdin=subprocess.DEVNULL,
        )

    def hears(self) -> str:
        """The next thing that one of the programs says."""
        return self.ear.recv(65536).decode()

    def stop(self) -> None:
        if self.process is None:
            return
        self.process.send_signal(signal.SIGTERM)
        try:
            self.process.wait(LISTEN_S)
        except subprocess.TimeoutExpired:
            self.process.kill()
            self.process.wait()

    def _program(self, name: str, text: str) -> str:
        source = (
            "import os, socket, sys\n"
            f"sys.path[:0] = [{str(Path(fermd.__file__).parent.parent)!r}]\n"
            "def say(text):\n"
            "    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as mouth:\n"
            f"        mouth.sendto(text.encode(), {str(self.folder / 'ear')!r})\n"
        )
        path = self.folder / f"{name}.py"
        path.write_text(source + text)
        return f"{sys.executable} {path}"
