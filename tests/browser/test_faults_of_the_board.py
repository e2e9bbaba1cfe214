"""What the page shows of a board with its probes missing, its clock not set, or just rebooted.

The board is that of the tests of the process: a fake 1-Wire tree and pins in memory, all else real.
"""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest
from browser_rig import SCENES, Looking
from site_rig import PASSWORD, Port, until

from fermd.web.passwords import write_password

sys.path.insert(0, str(Path(__file__).parent.parent / "process"))

from process_rig import AIR_ID, SITE, VESSEL_ID, Board

pytestmark = pytest.mark.debian("chromium", "chromium-driver")


@pytest.fixture
def board() -> Iterator[Board]:
    with tempfile.TemporaryDirectory(prefix="fermd-") as folder:
        made = Board(Path(folder))
        yield made
        made.clear()


@pytest.fixture
def page(browser: Looking, board: Board) -> Iterator[Looking]:
    port = Port()
    web = f'\n[web]\nlisten = "127.0.0.1:{port.number}"\npassword_file = "FOLDER/password"\n'
    board.write_site(SITE + web)
    write_password(board.folder / "password", PASSWORD)
    browser.address = f"http://127.0.0.1:{port.number}"
    browser.become(SCENES[0])
    yield browser
    complaints = browser.complaints()
    browser.leave()
    port.close()
    assert complaints == []


def looked_at(page: Looking, board: Board) -> None:
    board.start_and_tick()
    page.open(page.address)
    page.log_in()


def test_no_probe_and_then_one_that_is_lost(page: Looking, board: Board) -> None:
    looked_at(page, board)
    page.until_shown_in(".beer", "Not known (disconnected)")
    page.until_shown_in(".beer", "shows what is on the bus")
    page.until_shown_in(".verdict .word", "Act now")
    board.plug_in(18.0)
    page.until_shown_in(".beer .number", "18.0")
    until(lambda: page.shown_in(".verdict .word") != "Act now", "no need to act any more")
    board.tree.remove_probe(VESSEL_ID)
    board.tree.remove_probe(AIR_ID)
    page.until_shown_in(".beer", "last 18.00 °C")
    assert "18.0" not in page.shown_in(".beer .number")
    page.until_shown_in(".verdict .word", "Act now")


def test_a_clock_that_is_not_set(page: Looking, board: Board) -> None:
    board.plant("wall-unset")
    board.plug_in(18.0)
    looked_at(page, board)
    page.until_shown_in(".verdict", "clock is not known to be set")


def test_a_restart_within_the_same_boot_is_told(page: Looking, board: Board) -> None:
    board.plug_in(18.0)
    board.start_and_tick()
    board.order("set-target", target_c=10.0)
    board.end()
    looked_at(page, board)
    # By the board's hurried clock a busy machine's restart takes hours, and is told as an outage.
    told = ("Fermd started", "Fermd was not running")
    until(lambda: any(words in page.shown_in(".verdict") for words in told), "the restart told")
    page.until_shown_in(".should", "Should be 10.0 °C")
