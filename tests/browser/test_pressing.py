"""What a wet thumb does to a page that moves: a press means what the finger saw."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest
from browser_rig import SCENES, Looking
from site_rig import PROFILE, Site, until

pytestmark = pytest.mark.debian("chromium", "chromium-driver")

BUTTON = "[...document.querySelectorAll('button')].find((one) => one.innerText === arguments[0])"


@pytest.fixture(scope="module")
def started() -> Iterator[Site]:
    with tempfile.TemporaryDirectory(prefix="fermd-") as folder:
        made = Site(Path(folder))
        made.start()
        yield made
        made.close()


@pytest.fixture
def site(started: Site) -> Site:
    """Return the site with a profile at its first step."""
    started.order("lager", "start-profile", profile_toml=PROFILE)
    return started


@pytest.fixture
def page(browser: Looking, site: Site) -> Iterator[Looking]:
    browser.become(SCENES[0])
    browser.open(site.address)
    browser.log_in()
    browser.go("#/chambers/lager")
    browser.until_says("Back to plan")
    yield browser
    browser.leave()
    browser.complaints()


def test_no_button_becomes_another_when_one_beside_it_comes_or_goes(
    page: Looking, site: Site
) -> None:
    names = ("Skip", "Extend", "Other step", "Back to plan", "Stop")
    page.run("window.names = arguments[0]", list(names))
    page.run(f"window.seen = names.map((name) => ((...arguments) => {BUTTON})(name))")
    still_so = "return seen.every((one, at) => one.isConnected && one.innerText === names[at])"
    for order, words in (("pause-profile", "Paused"), ("resume-profile", "left, until")):
        site.order("lager", order)
        page.until_shown_in(".next", words)
        assert page.run(still_so)


def test_the_second_tap_of_a_double_tap_does_nothing_that_has_just_opened(
    page: Looking, site: Site
) -> None:
    # Taps the button of the sheet in the very moment in which it is there.
    page.run(
        "const sheet = document.getElementById('sheet'); window.taps = 0;"
        "new MutationObserver(() => {"
        "  const button = [...sheet.querySelectorAll('button')]"
        "    .find((one) => one.innerText === 'Stop the profile');"
        "  if (!button || taps) return;"
        "  taps += 1;"
        "  button.dispatchEvent(new PointerEvent('pointerdown', {bubbles: true}));"
        "  button.dispatchEvent("
        "    new MouseEvent('click', {bubbles: true, cancelable: true, detail: 1}));"
        "}).observe(sheet, {childList: true, subtree: true});"
    )
    page.press("Stop")
    page.until_says("A stopped profile cannot be resumed")
    until(lambda: page.run("return taps") == 1, "the second tap")
    assert site.chamber("lager")["mode"] == "profile"
    page.press("Stop the profile")
    page.until_says("profile stopped by Anna")
    assert site.chamber("lager")["mode"] == "hand"


def test_what_comes_while_a_finger_is_down_is_drawn_once_it_has_left(
    page: Looking, site: Site
) -> None:
    page.run(f"window.under = ((...arguments) => {BUTTON})('Extend')")
    page.run("under.dispatchEvent(new PointerEvent('pointerdown', {bubbles: true}))")
    before = page.shown_in(".next")
    site.order("lager", "skip-step")
    site.until_ticked()
    page.run("under.dispatchEvent(new PointerEvent('pointerup', {bubbles: true}))")
    # Held up, and not lost.
    page.until_shown_in(".next", "Add the dry hops")
    assert "Add the dry hops" not in before
