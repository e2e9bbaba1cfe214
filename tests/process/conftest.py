"""A board for each test, with nothing of it left running afterwards."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest
from process_rig import Board


@pytest.fixture
def board() -> Iterator[Board]:
    # Not pytest's own folder: a socket's path has 107 bytes at the most.
    with tempfile.TemporaryDirectory(prefix="fermd-") as folder:
        made = Board(Path(folder))
        yield made
        made.clear()
