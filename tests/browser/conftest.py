"""One browser for all; for each scene a site of its own, logged in."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
from browser_rig import SCENES, Looking, Scene, Site


@dataclass(frozen=True)
class Cellar:
    """A site, and somebody who looks at it."""

    site: Site
    page: Looking
    scene: Scene

    def shown(self, temp_c: float, digits: int = 1) -> str:
        """A temperature as this scene's brewer reads it."""
        fahrenheit = self.scene.locale == "en-US"
        shown = temp_c * 1.8 + 32 if fahrenheit else temp_c
        return f"{shown:.{digits}f} {'°F' if fahrenheit else '°C'}"


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


@pytest.fixture(scope="module", params=SCENES, ids=lambda scene: scene.name)
def cellar(request: pytest.FixtureRequest, browser: Looking) -> Iterator[Cellar]:
    scene: Scene = request.param
    with tempfile.TemporaryDirectory(prefix="fermd-") as made:
        site = Site(Path(made))
        site.start()
        browser.become(scene)
        browser.open(site.address)
        browser.log_in()
        if scene.locale == "en-US":
            browser.press("Settings of this page")
            browser.press("°F")
            browser.press("Close")
        yield Cellar(site, browser, scene)
        complaints = browser.complaints()
        browser.leave()
        site.close()
        assert complaints == []
