"""Lends each test a service manager of its own."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest
from service_manager import LISTEN_S, Manager


@pytest.fixture
def manager() -> Iterator[Manager]:
    if os.geteuid() != 0 or subprocess.run(["unshare", "-m", "true"], check=False).returncode:
        pytest.skip("only root may make the mount namespace that a test's service manager runs in")
    folder = Path(tempfile.mkdtemp(prefix="fermd-"))  # a socket's path must be short
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as ear:
        ear.bind(str(folder / "ear"))
        ear.settimeout(LISTEN_S)
        manager = Manager(folder, ear)
        try:
            yield manager
        finally:
            manager.stop()
    shutil.rmtree(folder)
