"""A daemon with one chamber, and one with two, for the tests of the command line."""

from collections.abc import Iterator

import pytest
from cli_rig import ALE, LAGER, RealDaemon


@pytest.fixture
def lager() -> Iterator[RealDaemon]:
    with RealDaemon() as daemon:
        yield daemon
    daemon.remove()


@pytest.fixture
def two() -> Iterator[RealDaemon]:
    with RealDaemon(LAGER + ALE) as daemon:
        yield daemon
    daemon.remove()
