"""One running site for all questions that change nothing, or nothing that matters."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest
from lan_rig import Lan, site_on_the_lan
from web_rig import Caller, running_site, site_that_has_not_ticked


@pytest.fixture(scope="module")
def site() -> Iterator[Caller]:
    # Not pytest's own folder: a socket's path has 107 bytes at the most.
    with tempfile.TemporaryDirectory(prefix="fermd-") as folder, running_site(Path(folder)) as one:
        yield one


@pytest.fixture(scope="module")
def lan() -> Iterator[Lan]:
    with site_on_the_lan('names = ["cellar.test"]\n') as one:
        yield one


@pytest.fixture
def folder() -> Iterator[Path]:
    with tempfile.TemporaryDirectory(prefix="fermd-") as place:
        yield Path(place)


@pytest.fixture
def unready(folder: Path) -> Iterator[Caller]:
    with site_that_has_not_ticked(folder) as one:
        yield one
