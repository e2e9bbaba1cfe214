"""A disk that can be full: a small one in memory if it can be mounted, else a file-size limit."""

from __future__ import annotations

import errno
import os
import resource
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

SIZE_BYTES = 24 * 2**20


@contextmanager
def small_disk(place: Path) -> Iterator[Path | None]:
    """Mount a small disk there for as long as the context lasts; None where that is not allowed."""
    place.mkdir()
    mounted = (
        os.geteuid() == 0
        and subprocess.run(
            ["mount", "-t", "tmpfs", "-o", f"size={SIZE_BYTES}", "soak", str(place)],
            capture_output=True,
            check=False,
        ).returncode
        == 0
    )
    try:
        yield place if mounted else None
    finally:
        if mounted:
            subprocess.run(["umount", "--lazy", str(place)], check=True)


def fill(disk: Path) -> Path:
    """Fill a disk to the last byte (ENOSPC from now on); the file that is in the way."""
    ballast = disk / "ballast"
    with ballast.open("wb", buffering=0) as file:
        for piece in (2**20, 4096):
            try:
                while True:
                    file.write(b"\xa5" * piece)
            except OSError as error:
                if error.errno != errno.ENOSPC:
                    raise
    return ballast


def limit_files(pid: int, limit_bytes: int | None) -> None:
    """Let no file of a process grow beyond this (EFBIG from now on); None lifts it."""
    _, hard = resource.prlimit(pid, resource.RLIMIT_FSIZE)
    soft = hard if limit_bytes is None else limit_bytes
    resource.prlimit(pid, resource.RLIMIT_FSIZE, (soft, hard))
