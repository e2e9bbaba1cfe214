"""Two sites of one seed, in lock-step: one that is fired at, and one that is left in peace.

What of the fire is a command that was taken, the peaceful one is given too, at the same moment.
Everything else must leave no trace: after each tick the relays of both are the same.
"""

from __future__ import annotations

import asyncio
import shutil
import tempfile
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any, Final

from fermd.config.site import SiteFile
from fermd.config.site_file import parse_site
from fermd.control.commands import Command, SetTarget
from fermd.hardware.simulated_clock import SimulatedClock
from fermd.journal.reader import JournalReader
from fermd.journal.settings import JournalSettings
from fermd.journal.writer import SqliteJournal
from fermd.service.daemon import RunningSite, wiring
from fermd.service.loop import ControlLoop
from fermd.service.requests import Request
from fermd.service.trial import trial_board
from fermd.web.api import application
from fermd.web.orders import Readers
from fermd.web.serving import read_instant, read_profile

SITE: Final = """\
time_zone = "Europe/Vienna"
journal_path = "FOLDER/journal.db"
socket_path = "FOLDER/s"

[probe.vessel]
id = "28-000006b67845"
[probe.air]
id = "28-0000071a2b3c"
[probe.room]
id = "28-00000bbbbbbb"
[probe.bucket]
id = "28-00000aaaaaaa"

[output.fridge]
gpio = 17
active = "low"
duty = "cool"
[output.belt]
gpio = 27
active = "low"
duty = "heat"

[chamber.lager]
vessel_probe = "vessel"
air_probe = "air"
watching_probes = ["room"]
outputs = ["fridge", "belt"]

[chamber.ale]
vessel_probe = "bucket"

[simulated]
original_extract_p = 12
"""


class Side:
    """One site: loop, journal and interface are real, time and chamber simulated."""

    def __init__(self, folder: Path) -> None:
        folder.mkdir()
        text = SITE.replace("FOLDER", str(folder))
        self.site: SiteFile = parse_site(text, folder / "fermd.toml")
        assert self.site.simulated is not None
        self.clock = SimulatedClock()
        self.board = trial_board(self.site, self.site.simulated, self.clock, seed=1)
        self.board.relays.__enter__()
        self.board.probes.__enter__()
        self.journal = SqliteJournal(
            self.site.journal_path,
            boot_id=self.clock.boot_id(),
            moment=self.clock.now(),
            version="fuzz",
            settings=JournalSettings(linger_s=0.0),
        )
        self.loop = ControlLoop(
            self.site.settings,
            wiring(self.site),
            self.clock,
            self.board.probes,
            self.board.relays,
            self.journal,
        )
        running = RunningSite(self.loop, self.clock, self.journal)
        readers = Readers(read_profile, lambda text: read_instant(text, self.site, running.now()))
        self.app = application(running, readers, time_zone=self.site.time_zone)

    def advance(self) -> None:
        until_s = self.clock.now().mono_s + self.site.sample_period_s
        while self.clock.now().mono_s < until_s - 1e-6:
            self.clock.wait_until(until_s)

    def relays(self) -> dict[str, bool]:
        return {line: state.on for line, state in self.board.relays.states().items()}

    def switched(self) -> list[tuple[float, str, bool]]:
        """The relay record, as the journal has it."""
        assert self.journal.flush()
        rows = JournalReader(self.site.journal_path).last_events(100_000)
        found = [(row.moment.mono_s, row.happening) for row in rows]
        return [
            (at_s, one.line, one.on)  # type: ignore[union-attr]
            for at_s, one in found
            if type(one).__name__ == "OutputChanged"
        ]

    def close(self) -> None:
        self.board.relays.release_all()
        self.loop.requests.close()
        self.journal.close(self.clock.now(), cleanly=True)


class Twins:
    """The two, and what the one was asked."""

    TARGETS_C: Final = (6.0, 24.0, 12.0, 19.0)
    """What both are set to in turn, so that relays have a reason to switch."""
    TICKS_EACH: Final = 400

    def __init__(self) -> None:
        memory = Path("/dev/shm")  # noqa: S108 - a folder of its own is made in it
        self.folder = Path(
            tempfile.mkdtemp(prefix="fermd-t-", dir=memory if memory.is_dir() else None)
        )
        self.fired_at, self.in_peace = Side(self.folder / "a"), Side(self.folder / "b")
        self._asked: list[Request] = []
        ask = self.fired_at.loop.requests.ask

        def heard(chamber: str, command: Command) -> Request:
            request = ask(chamber, command)
            self._asked.append(request)
            return request

        self.fired_at.loop.requests.ask = heard  # type: ignore[method-assign]
        self._ticks = 0
        self.switchings = 0
        self._before = self.in_peace.relays()
        for _ in range(3):
            self.tick()

    def close(self) -> None:
        self.fired_at.close()
        self.in_peace.close()
        shutil.rmtree(self.folder)

    def answer(self) -> None:
        """Let the loop take what was asked, without any time going by."""
        if self.fired_at.loop.requests._waiting.qsize():
            self.fired_at.loop.tick()
            self._follow(tick=False)

    def tick(self) -> None:
        """Let a sample period go by, and hold the relays of both against each other."""
        if self._ticks % self.TICKS_EACH == 1:
            target_c = self.TARGETS_C[self._ticks // self.TICKS_EACH % len(self.TARGETS_C)]
            for side in (self.fired_at, self.in_peace):
                side.loop.requests._waiting.put(Request("lager", SetTarget(target_c, "twins")))
        self._ticks += 1
        self.fired_at.advance()
        self.in_peace.advance()
        self.fired_at.loop.tick()
        self._follow(tick=True)
        fired_at, in_peace = self.fired_at.relays(), self.in_peace.relays()
        assert fired_at == in_peace, f"at tick {self._ticks}: {fired_at}, in peace {in_peace}"
        self.switchings += in_peace != self._before
        self._before = in_peace

    def same_record(self) -> None:
        """The relay records of both journals are the same."""
        fired_at, in_peace = self.fired_at.switched(), self.in_peace.switched()
        assert fired_at == in_peace, set(fired_at) ^ set(in_peace)

    def _follow(self, *, tick: bool) -> None:
        """Give the peaceful one what was taken."""
        asked, self._asked = self._asked, []
        taken = []
        for request in asked:
            if not request._done.is_set():
                self._asked.append(request)
            elif request.wait(0.0).taken:
                taken.append(self.in_peace.loop.requests.ask(request.chamber, request.command))
        if tick or taken:
            self.in_peace.loop.tick()
        for one in taken:
            assert one.wait(0.0).taken, f"taken by one and not by the other: {one.command}"


class InBackground:
    """An event loop in a thread of its own."""

    def __init__(self) -> None:
        self._loop = asyncio.new_event_loop()
        self._thread = threading.Thread(target=self._loop.run_forever, daemon=True)
        self._thread.start()

    def run(self, made: Callable[[], Any], meanwhile: Callable[[], None], longest_s: float) -> Any:
        """Run what `made` makes to its end, doing something meanwhile."""
        future = asyncio.run_coroutine_threadsafe(made(), self._loop)
        for _ in range(int(longest_s / 0.0005)):
            meanwhile()
            try:
                return future.result(0.0005)
            except TimeoutError:
                if future.done():
                    raise
        future.cancel()
        raise AssertionError(f"no answer within {longest_s} s")

    def close(self) -> None:
        self._loop.call_soon_threadsafe(self._loop.stop)
        self._thread.join()
        self._loop.close()
