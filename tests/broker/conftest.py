"""A folder, a broker and boards for each test, with nothing of them left running afterwards."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest
from broker_rig import Boards, Broker, Site, table


@pytest.fixture
def folder() -> Iterator[Path]:
    # Not pytest's own folder: a socket's path has 107 bytes at the most.
    with tempfile.TemporaryDirectory(prefix="fermd-") as place:
        yield Path(place)


@pytest.fixture
def broker(folder: Path) -> Iterator[Broker]:
    one = Broker(folder)
    yield one
    one.stop()


@pytest.fixture
def boards(folder: Path, broker: Broker) -> Iterator[Boards]:
    """Make boards; each keyword `more` is what their site file has beside the usual."""
    made: list[Site] = []

    def make(name: str = "cellar", more: str | None = None, pace: float = 60.0) -> Site:
        site = Site(folder, name, table(broker.port) if more is None else more, pace)
        made.append(site)
        return site

    yield make
    for site in made:
        site.clear()
