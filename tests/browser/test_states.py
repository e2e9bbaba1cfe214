"""What the page shows when something is wrong: no old number as if it were now, and a way on."""

from __future__ import annotations

import resource
import signal
from collections.abc import Iterator
from pathlib import Path

import pytest
from browser_rig import SCENES, Looking
from site_rig import PACE, PROFILE, SITE, Site, until

import fermd

pytestmark = pytest.mark.debian("chromium", "chromium-driver")

PHONE = SCENES[1]
ROOT = Path(fermd.__file__).parent.parent


@pytest.fixture
def page(browser: Looking) -> Iterator[Looking]:
    browser.become(PHONE)
    yield browser
    browser.leave()
    browser.complaints()


@pytest.fixture
def site(folder: Path) -> Iterator[Site]:
    made = Site(folder)
    made.start()
    yield made
    made.close()


def logged_in(page: Looking, site: Site) -> None:
    page.open(site.address)
    page.log_in()
    page.until_says("Fermd started")


def test_a_wrong_password_is_told_beside_its_field(page: Looking, site: Site) -> None:
    page.open(site.address)
    page.until_says("logged out")
    page.fill("Your name, for the journal", "Anna")
    page.fill("Password", "not this one")
    page.press("Log in")
    page.until_shown_in("#password-fault", "this is not the password")
    assert "°C" not in page.says()


def test_a_dead_daemon_leaves_no_number_that_looks_like_now(page: Looking, site: Site) -> None:
    logged_in(page, site)
    page.go("#/chambers/lager")
    page.until_says("The beer is at")
    # A probe must have earned its trust: only a number can be mistaken for one of now.
    until(lambda: any(map(str.isdigit, page.shown_in(".beer .number"))), "a number")
    site.stop(signal.SIGKILL)
    page.until_says("no connection")
    page.until_says("Not known")
    page.until_says("What you see was so")
    page.until_says("The beer was at")
    struck = "getComputedStyle(document.querySelector('.beer .number')).textDecorationLine"
    assert page.run(f"return {struck}") == "line-through"
    page.press("Hold here")
    page.until_says("no connection to fermd: nothing was changed")


def test_a_restarted_daemon_is_seen_again_after_a_log_in(page: Looking, site: Site) -> None:
    logged_in(page, site)
    site.stop()
    page.until_says("no connection")
    site.start()
    page.log_in()
    page.until_says("Fermd started")
    until(lambda: "live" in page.shown_in(".live"), "live")


def test_a_stopped_process_is_told_by_its_silence(page: Looking, site: Site) -> None:
    logged_in(page, site)
    assert site.process is not None
    site.process.send_signal(signal.SIGSTOP)
    try:
        page.until_says("stands still")
        page.until_says("Not known")
    finally:
        site.process.send_signal(signal.SIGCONT)
    page.until_shown_in(".live", "live")


def test_a_full_disk_is_told_while_control_goes_on(page: Looking, folder: Path) -> None:
    site = Site(folder, SITE.replace(f"times_real_time = {PACE}", "times_real_time = 300"))
    site.start()
    try:
        page.open(site.address)
        page.log_in()
        page.until_says("All is well")
        assert site.process is not None
        # No file of the process may grow: what a full disk is to the journal.
        resource.prlimit(site.process.pid, resource.RLIMIT_FSIZE, (0, 0))
        page.until_says("control goes on")
        page.until_shown_in(".verdict", "Look at this")
        site.until_ticked()
    finally:
        site.close()


def test_without_its_library_the_page_says_how_to_get_the_chart(
    page: Looking, folder: Path
) -> None:
    # A folder of the same name and nothing in it, ahead of where the package is installed: that
    # may be where fermd itself is.
    (folder / "absent" / "uplot").mkdir(parents=True)
    site = Site(folder, environment={"PYTHONPATH": f"{folder / 'absent'}:{ROOT}"})
    (folder / "absent" / "uplot" / "__init__.py").touch()
    site.start()
    try:
        logged_in(page, site)
        page.go("#/chambers/lager")
        page.until_says("pip install 'fermd[web]'")
        page.until_says("The beer is at")
    finally:
        site.close()


def test_a_forecast_that_comes_after_the_curves_is_drawn_at_once(
    page: Looking, folder: Path
) -> None:
    # In real time the curves of a whole batch are fetched again after an hour or so; and the
    # profile starts before the probe is trusted, so that at first there is nothing to foresee.
    slow = SITE.replace(f"times_real_time = {PACE}", "times_real_time = 1")
    site = Site(folder, f"sample_period_s = 2\n{slow}")
    site.start()
    try:
        logged_in(page, site)
        page.go("#/chambers/lager")
        site.order("lager", "start-profile", profile_toml=PROFILE)

        def foreseen_until_s() -> float:
            canvas = "document.querySelector('.canvas')"
            return float(page.run(f"return {canvas}?.foreseenUntil ?? 0"))

        page.until_chart()
        page.press("Batch: the whole of it")
        now_s = site.status()["wall_utc_s"]
        until(lambda: foreseen_until_s() > now_s + 4 * 86400, "the profile's way is foreseen")
        site.order("lager", "set-target", target_c=10.0)
        until(lambda: now_s < foreseen_until_s() < now_s + 3 * 86400, "the new one is foreseen")
    finally:
        site.close()


def test_a_chamber_that_there_is_not_is_named(page: Looking, site: Site) -> None:
    logged_in(page, site)
    page.go("#/chambers/cider")
    page.until_says("There is no chamber cider.")
