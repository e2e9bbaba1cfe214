"""A year of one chamber or of ten, lived through: the journal that is left, with its faults in it.

    python tests/benchmarks/thawed.py tests/benchmarks/simulated_year.py --journal FILE

The daemon, its loop, core, profile engine, calendar and journal are the real ones; time, plants and
the disk are the proving ground's. Every chamber has a batch every four weeks, lager and ale by
turns, each of fresh wort; its door is opened every other day; every few days something of the
proving ground's list goes wrong with a probe, a relay, a load, the power, the process, the clock or
the disk. What would set a journal aside (a disk that lies) is left to the soak.

Days before the last `--close-days` are sampled once a minute instead of every ten seconds: all that
is kept of them are their minutes and quarter hours, of which there are as many either way.
"""

from __future__ import annotations

import argparse
import logging
import math
import shutil
import sqlite3
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import closing
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from random import Random
from typing import Any

sys.path.append(str(Path(__file__).parents[1] / "proving_ground"))

from disk import below_the_journal
from faults import KINDS
from script import Entry
from site_text import edit, written
from world import Room, Scale, World
from world_run import Run, WorldDaemon

from fermd.config.site_file import parse_site
from fermd.control.settings import DAY_S, HOUR_S, SiteSettings
from fermd.journal.rows import BrewerNote
from fermd.physics.fermentation import Batch
from fermd.physics.parameters import ChamberParameters
from fermd.physics.probe import ProbeModel
from fermd.service.snapshot import Snapshot

START_UTC_S = datetime(2025, 9, 1, 6, tzinfo=UTC).timestamp()
PERIOD_S, OLD_PERIOD_S = 10.0, 60.0
BATCH_DAYS = 28
PROFILES = ("lager-diacetyl-rest", "ale-free-rise")
WORT_C = {"lager-diacetyl-rest": 9.0, "ale-free-rise": 18.0}
DOOR_EVERY_S = 2 * DAY_S
FAULT_EVERY_S = 6 * DAY_S
"""Of each chamber, and once more of the board."""

OF_A_CHAMBER = (
    *(kind for kind in KINDS if kind.startswith("probe")),
    "relay stuck on",
    "relay stuck off",
    "line taken away",
    "fridge stops cooling",
    "heater fails",
    "door left open",
    "target turned round",
)
OF_THE_BOARD = (
    *("power cut",) * 3,
    "power flickers",
    "boot in the past",
    "torn: unfinished page",
    *("kill",) * 2,
    "kill again and again",
    "exception",
    "orderly restart",
    "loop stalls",
    "clock set forward",
    "clock set back",
    "disk full",
    "disk slow",
    "journal locked by a reader",
)


def main() -> None:
    """Make the journal."""
    options = _options()
    make(options.journal, options.chambers, options.days, options.close_days)


def site_of(chambers: int) -> SiteSettings:
    """What the chambers are made of, as the site file says it."""
    return parse_site(written(_site(_names(chambers))), Path("fermd.toml")).settings


def make(path: Path, chambers: int, days: int, close_days: int) -> None:
    """Live through the year, and leave its journal at `path`."""
    path.parent.mkdir(parents=True, exist_ok=True)
    began_s = time.process_time()
    with tempfile.TemporaryDirectory(dir=path.parent) as folder:
        run = YearRun(_world(chambers, days), Path(folder), days, close_days)
        logging.disable(logging.CRITICAL)
        with below_the_journal(run.disk, lambda: run.clock.now().mono_s), run.in_place():
            run.go()
        with closing(sqlite3.connect(run.journal_path)) as connection:
            connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        aside = list(Path(folder).glob("journal.db.set-aside-*"))
        shutil.move(run.journal_path, path)
    took_s = time.process_time() - began_s
    faults = ", ".join(f"{kind} {count}" for kind, count in sorted(run.truth.injected.items()))
    _say(f"{path}: {days} days of {chambers} chambers in {took_s:.0f} s CPU, {run.ticks} ticks,")
    _say(f"{len(run.truth.boots_s)} boots, {len(run.truth.processes)} processes; faults: {faults}")
    if aside:
        raise SystemExit(f"{len(aside)} journals were set aside: the record is not whole")


class YearRun(Run):
    """A year under way: batch after batch, and a brewer who looks in."""

    def __init__(self, world: World, folder: Path, days: int, close_days: int) -> None:
        super().__init__(world, folder)
        for number, chamber in enumerate(self.plants):
            self._batches(chamber, number, days)
            self._doors(chamber, days)
        if close_days < days:
            self.later((days - close_days) * DAY_S, self._sample_closely)
        else:
            self._set_period(PERIOD_S)
            self.site = replace(self.site, sample_period_s=PERIOD_S)
            self.probes._period_s = PERIOD_S
        self._say_every(30 * DAY_S, began_s=time.process_time())

    def after_tick(self, snapshot: Snapshot, daemon: WorldDaemon) -> None:
        """Count it: what the proving ground checks of each tick is not asked here."""
        self.ticks += 1

    def _batches(self, chamber: str, number: int, days: int) -> None:
        room = self.world.rooms[chamber]
        for batch in range(days // BATCH_DAYS + 1):
            profile = PROFILES[(batch + number) % len(PROFILES)]
            at_s = HOUR_S * (1 + number) + batch * BATCH_DAYS * DAY_S

            def pitch(profile: str = profile) -> None:
                self._fill(chamber, room, WORT_C[profile])
                self.later(120.0, lambda: self._start(chamber, profile))

            self.later(at_s, pitch)
            for day in (2, 9, 16, 23):
                note = BrewerNote("Ann", f"{4 + 8 / day:.1f} °P, tastes clean")
                self.later(at_s + day * DAY_S, lambda note=note: self._writes(chamber, note))

    def _fill(self, chamber: str, room: Room, wort_c: float) -> None:
        """The old batch goes out, and fresh wort comes in."""
        plant = self.plants[chamber]
        state = plant.advance_to(self.clock.true_utc_s)
        plant.state = state._replace(beer_c=wort_c, vessel_wall_c=wort_c, vessel_probe_c=wort_c)
        plant._heat_source = room.heat_source()
        self._opens(chamber, 600.0)

    def _start(self, chamber: str, profile: str) -> None:
        if self.daemon is None or not self.fate.alive or self.daemon._loop is None:
            self.later(HOUR_S, lambda: self._start(chamber, profile))
            return
        self.ask(chamber, {"what": "StartProfile", "profile": profile})

    def _writes(self, chamber: str, note: BrewerNote) -> None:
        if self.journal is not None and self.fate.alive:
            self.journal.write_down(self.clock.now(), chamber, note)

    def _doors(self, chamber: str, days: int) -> None:
        random = Random(f"doors {chamber}")
        at_s = 0.0
        while (at_s := at_s + random.expovariate(1.0 / DOOR_EVERY_S)) < days * DAY_S:
            lasts_s = random.uniform(10.0, 240.0)
            self.later(at_s, lambda lasts_s=lasts_s: self._opens(chamber, lasts_s))

    def _opens(self, chamber: str, lasts_s: float) -> None:
        plant = self.plants[chamber]
        plant.set_door(True, self.clock.true_utc_s)
        self.later(lasts_s, lambda: plant.set_door(False, self.clock.true_utc_s))

    def _sample_closely(self) -> None:
        if not self.fate.alive:
            self.later(HOUR_S, self._sample_closely)
            return
        self._set_period(PERIOD_S)
        self.probes._period_s = PERIOD_S
        self.restart(5.0)

    def _set_period(self, period_s: float) -> None:
        self._table = edit(self._table, [(["sample_period_s"], period_s)])
        self._write_site()

    def _say_every(self, every_s: float, began_s: float) -> None:
        day = (self.clock.true_utc_s - self.world.start_utc_s) / DAY_S
        took_s = time.process_time() - began_s
        if day:
            _say(f"day {day:.0f}: {took_s:.0f} s CPU, {day / took_s:.2f} simulated days a second")
        self.later(every_s, lambda: self._say_every(every_s, began_s))


def _world(chambers: int, days: int) -> World:
    names = _names(chambers)
    world = World(
        seed=1,
        scale=Scale.YEARS,
        start_utc_s=START_UTC_S,
        span_s=days * DAY_S,
        site=_site(names),
        rooms={name: _room(Random(f"room {name}")) for name in names},
        drift_ppm=20.0,
        noise_seed=1,
    )
    return replace(world, script=tuple(sorted(_faults(world), key=lambda one: one.at_s)))


def _faults(world: World) -> Iterator[Entry]:
    for chamber in world.site["chamber"]:
        # A world in which there is nothing but this chamber: what is drawn befalls it.
        number = chamber[-1]
        its = dict(world.site)
        its["chamber"] = {chamber: world.site["chamber"][chamber]}
        for part in ("probe", "output"):
            its[part] = {
                name: one for name, one in world.site[part].items() if name.endswith(f"-{number}")
            }
        yield from _drawn(Random(f"faults {chamber}"), replace(world, site=its), OF_A_CHAMBER)
    yield from _drawn(Random("faults of the board"), world, OF_THE_BOARD)


def _drawn(random: Random, world: World, kinds: tuple[str, ...]) -> Iterator[Entry]:
    at_s = DAY_S
    while (at_s := at_s + random.expovariate(1.0 / FAULT_EVERY_S)) < world.span_s - DAY_S:
        kind = random.choice(kinds)
        yield Entry(round(at_s, 3), kind, KINDS[kind].draw(random, world))


def _names(chambers: int) -> list[str]:
    # With one digit at their end, by which the proving ground tells a chamber's things.
    return [f"chamber-{(number + 1) % 10}" for number in range(chambers)]


def _site(names: list[str]) -> dict[str, Any]:
    site: dict[str, Any] = {
        "time_zone": "Europe/Vienna",
        "pin_factory": "lgpio",
        "chip": "pinctrl-bcm2711",
        "sample_period_s": OLD_PERIOD_S,
        "journal_path": "journal.db",
        "socket_path": "run/fermd.sock",
        "probe": {},
        "output": {},
        "circuit": {},
        "chamber": {},
    }
    for place, name in enumerate(names):
        number = name[-1]
        for which, probe in enumerate((f"vessel-{number}", f"air-{number}")):
            site["probe"][probe] = {
                "id": f"28-00000{2 * place + which + 1:07x}",
                "stale_s": 3 * OLD_PERIOD_S,
            }
        for which, duty in enumerate(("cool", "heat")):
            site["output"][f"{duty}-{number}"] = {
                "gpio": 4 + 2 * place + which,
                "active": "low",
                "duty": duty,
            }
        site["chamber"][name] = {
            "vessel_probe": f"vessel-{number}",
            "air_probe": f"air-{number}",
            "outputs": [f"cool-{number}", f"heat-{number}"],
        }
    return site


def _room(random: Random) -> Room:
    parameters = ChamberParameters()
    mean_c, season_c, day_c = random.uniform(12.0, 18.0), random.uniform(3.0, 7.0), 2.5

    def ambient_c(utc_s: float) -> float:
        days = (utc_s - datetime(2025, 7, 20, tzinfo=UTC).timestamp()) / DAY_S
        of_the_year = season_c * math.cos(2 * math.pi * days / 365.25)
        return mean_c + of_the_year + day_c * math.cos(2 * math.pi * (days - 0.6))

    vessel = parameters.vessel
    batch = Batch(vessel.beer_l, vessel.original_plato, vessel.final_plato)
    return Room(parameters, ambient_c, 12.0, batch, ProbeModel(random.uniform(-0.2, 0.2), 0.03))


def _say(line: str) -> None:
    sys.stdout.write(line + "\n")
    sys.stdout.flush()


def _options() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--journal", type=Path, required=True, help="the file that is left")
    parser.add_argument("--chambers", type=int, choices=range(1, 11), default=1, metavar="1..10")
    parser.add_argument("--days", type=int, default=365)
    parser.add_argument("--close-days", type=int, default=30, help="sampled every ten seconds")
    return parser.parse_args()


if __name__ == "__main__":
    main()
