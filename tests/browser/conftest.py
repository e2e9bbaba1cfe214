"""One browser for all; for each scene a site of its own, logged in."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest
from browser_rig import SCENES, Cellar, Looking, Scene
from site_rig import Site


@pytest.fixture(scope="session")
def browser() -> Iterator[Looking]:
    looking = Looking()
    yield looking
    looking.close()


@pytest.fixture(scope="session")
def axe() -> str:
    package = os.environ.get("AXE_PACKAGE")
    if not package:
        pytest.skip("AXE_PACKAGE does not name the folder of the npm package axe-core")
    return (Path(package) / "axe.min.js").read_text("utf-8")


@pytest.fixture
def folder() -> Iterator[Path]:
    # Not pytest's own folder: a socket's path has 107 bytes at the most.
    with tempfile.TemporaryDirectory(prefix="fermd-") as made:
        yield Path(made)


@pytest.fixture
def cellar(scene: Cellar) -> Cellar:
    """The scene with its page as it is before anybody has pressed anything."""
    scene.page.tidy()
    return scene


@pytest.fixture(scope="module", params=SCENES, ids=lambda scene: scene.name)
def scene(request: pytest.FixtureRequest, browser: Looking) -> Iterator[Cellar]:
    wanted: Scene = request.param
    with tempfile.TemporaryDirectory(prefix="fermd-") as made:
        site = Site(Path(made))
        site.start()
        browser.become(wanted)
        browser.open(site.address)
        browser.log_in()
        if wanted.locale == "en-US":
            browser.press("Settings of this page")
            browser.press("°F")
            browser.press("Close")
        yield Cellar(site, browser, wanted)
        complaints = browser.complaints()
        browser.leave()
        site.close()
        assert complaints == []
