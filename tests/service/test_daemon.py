"""What the daemon puts together, on a simulated board a thousand times faster than real."""

from __future__ import annotations

import logging
import sqlite3
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from threading import Event

import pytest
from loop_rig import SITE

from fermd.config.site import SiteFile
from fermd.config.site_file import parse_site
from fermd.control.commands import SetTarget
from fermd.control.moment import Moment
from fermd.journal.reader import JournalReader
from fermd.journal.rows import DaemonRun
from fermd.journal.writer import SqliteJournal
from fermd.service.board import site_ports
from fermd.service.daemon import Daemon, RunningSite, fixed, status_line
from fermd.service.hold import hold
from fermd.service.notify import ServiceManager
from fermd.service.snapshot import Snapshot

BOUND_S = 30.0
DAY_S = 86_400.0


@pytest.fixture
def folder() -> Iterator[Path]:
    with tempfile.TemporaryDirectory(prefix="fermd-") as place:
        yield Path(place)


def site_in(folder: Path, text: str = SITE) -> SiteFile:
    placed = text.replace("JOURNAL", str(folder / "journal.db")).replace(
        "[probe.vessel]", f'socket_path = "{folder / "run" / "s"}"\n\n[probe.vessel]'
    )
    fast = placed.replace("[simulated]", "[simulated]\ntimes_real_time = 1000")
    return parse_site(fast, folder / "fermd.toml")


def until(fact: Callable[[], object]) -> None:
    deadline_s = time.monotonic() + BOUND_S
    while not fact():
        assert time.monotonic() < deadline_s, "did not become so within the bound"
        Event().wait(0.01)


class _Watched:
    """Stands where the HTTP interface does, and keeps the running site for the test."""

    site: RunningSite

    @contextmanager
    def __call__(self, running: RunningSite) -> Iterator[None]:
        self.site = running
        yield


@contextmanager
def in_charge(site: SiteFile, manager: ServiceManager | None = None) -> Iterator[RunningSite]:
    watched = _Watched()
    with site_ports(site) as ports, hold(site, ports):
        daemon = Daemon(site, ports, manager or ServiceManager(None), [watched])
        thread = threading.Thread(target=daemon.run, daemon=True)
        thread.start()
        until(lambda: _snapshot(watched) is not None)
        yield watched.site
        daemon.stop()
        thread.join(BOUND_S)
        assert not thread.is_alive()
        assert not any(state.on for state in ports.relays.states().values())


def _snapshot(watched: _Watched) -> Snapshot | None:
    return watched.site.snapshot() if hasattr(watched, "site") else None


def ticks(running: RunningSite) -> int:
    snapshot = running.snapshot()
    return 0 if snapshot is None else snapshot.tick


def test_a_site_that_is_simulated_is_in_charge_of_no_pin_and_faster_than_real(
    folder: Path,
) -> None:
    with in_charge(site_in(folder)) as running:
        assert running.requests.ask("lager", SetTarget(12.0, "anna")).wait(BOUND_S).taken
        began_s, began = time.monotonic(), running.now().mono_s
        until(lambda: running.now().mono_s > began + 600.0)
        assert time.monotonic() - began_s < 600.0
    runs = [
        row.happening
        for row in JournalReader(folder / "journal.db").last_events(100)
        if isinstance(row.happening, DaemonRun)
    ]
    assert [(run.change, run.cleanly) for run in runs] == [("started", None), ("stopped", True)]


def test_each_trial_is_a_start_of_its_own_board(folder: Path) -> None:
    site = site_in(folder)
    boots = []
    for _ in range(2):
        with site_ports(site) as ports:
            boots.append(ports.clock.boot_id())
    assert len(set(boots)) == 2


def test_upkeep_that_fell_due_while_the_board_was_off_is_done_at_the_start(
    folder: Path, caplog: pytest.LogCaptureFixture
) -> None:
    site = site_in(folder)
    last_week = Moment(5.0, time.time() - 8 * DAY_S, wall_trusted=True)
    before = SqliteJournal(site.journal_path, boot_id="b", moment=last_week, version="test")
    before.close(last_week, cleanly=True)
    with caplog.at_level(logging.INFO, logger="fermd.service.upkeep"), in_charge(site):
        until(lambda: "journal:" in caplog.text)


def test_while_somebody_holds_the_journal_control_goes_on_and_nothing_is_lost(
    folder: Path,
) -> None:
    site = site_in(folder)
    with in_charge(site) as running, sqlite3.connect(site.journal_path) as somebody:
        somebody.execute("BEGIN IMMEDIATE")
        asked = running.requests.ask("lager", SetTarget(12.0, "anna"))
        assert asked.wait(BOUND_S).taken
        until(lambda: (seen := running.snapshot()) is not None and seen.journal_trouble)
        ticked = ticks(running)
        until(lambda: ticks(running) > ticked)
        somebody.rollback()
        until(lambda: (seen := running.snapshot()) is not None and not seen.journal_trouble)
        assert any("12 °C" in str(event["words"]) for event in running.events(100))
    somebody.close()


def test_a_watchdog_that_would_bite_a_healthy_loop_is_told_of(
    folder: Path, caplog: pytest.LogCaptureFixture
) -> None:
    with in_charge(site_in(folder), ServiceManager(None, watchdog_s=20.0)):
        pass
    assert "shorter than 3 sample periods" in caplog.text


def test_the_status_line_says_of_every_chamber_what_the_beer_is_and_what_runs(
    folder: Path,
) -> None:
    with in_charge(site_in(folder)) as running:
        assert running.requests.ask("lager", SetTarget(30.0, "anna")).wait(BOUND_S).taken
        until(lambda: (seen := running.snapshot()) is not None and "belt on" in status_line(seen))
        seen = running.snapshot()
        assert seen is not None
        assert status_line(seen).startswith("lager: ")
        assert "target 30.0 °C" in status_line(seen)


@pytest.mark.parametrize(
    ("before", "after"),
    [
        ("gpio = 17", "gpio = 18"),
        ("28-000006b67845", "28-000006b67846"),
        ('duty = "cool"', 'duty = "cool"\nkind = "valve"'),
        ("output.fridge]", "output.cold]"),
        ("chamber.lager]", "chamber.cellar]"),
    ],
)
def test_what_a_line_or_a_probe_is_changes_only_with_a_restart(
    folder: Path, before: str, after: str
) -> None:
    text = SITE.replace(before, after).replace('["fridge"', f'["{_fridge_of(after)}"')
    assert fixed(site_in(folder, text)) != fixed(site_in(folder))


def _fridge_of(change: str) -> str:
    return "cold" if change.startswith("output.cold") else "fridge"


def test_a_line_that_would_change_its_duty_changes_only_with_a_restart(folder: Path) -> None:
    swapped = SITE.replace('"cool"', '"?"').replace('"heat"', '"cool"').replace('"?"', '"heat"')
    assert fixed(site_in(folder, swapped)) != fixed(site_in(folder))


def test_numbers_of_control_may_change_while_the_daemon_runs(folder: Path) -> None:
    wider = SITE.replace("[simulated]", "[chamber.lager.cool]\nband_c = 1\n\n[simulated]")
    site = site_in(folder)
    changed = site_in(folder, wider)
    assert changed.settings != site.settings
    assert fixed(changed) == fixed(site)
    assert fixed(replace(site, sample_period_s=20.0)) != fixed(site)
