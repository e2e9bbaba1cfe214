"""Worlds for the cause finder: a calm chamber, one planted fault, and its twin without the fault.

A chamber of the proving ground (site, cabinet, vessel, probes, room and batch drawn from the seed)
is held for a day; then one fault of the list comes, and half a day later the world ends. Its twin
is the same world without the fault. Both are the same to the last bit until the fault begins, so
that whatever differs afterwards is what the fault did.
"""

from __future__ import annotations

import logging
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from random import Random

from disk import below_the_journal
from faults import KINDS
from orders import draw_profile
from script import Entry
from world import Scale, World, world_of
from world_run import Run

from fermd.control.settings import HOUR_S

CALM_S = 30 * HOUR_S
"""So long a chamber is held before its fault, s."""

AFTER_S = 12 * HOUR_S
LONGEST_S = 12 * HOUR_S
"""A fault lasts no longer than this, s: a world is to be over."""

SAMPLED_S = 60.0

NOT_PLANTED = {
    "site file edited": "changes no machine; what is in the site file is not in the journal; so "
    "`target turned round` comes without its edit, too",
    "site file broken": "changes nothing while the daemon runs",
    "second daemon": "is turned away",
    "torn: unfinished page": "a power cut whose journal is spoilt: see the soak",
    "torn: last commit": "as above",
    "torn: page of the database": "as above",
    "all chambers at once": "a target set by hand, as `target turned round`",
}
"""Kinds that are left out, and why."""

PLANTED = tuple(kind for kind in KINDS if kind not in NOT_PLANTED)


@dataclass(frozen=True, slots=True)
class Sample:
    """The truth at one moment."""

    at_s: float
    beer_c: float
    air_c: float


@dataclass(frozen=True, slots=True)
class Lived:
    """A world that is over."""

    journal: Path
    samples: Sequence[Sample]
    start_s: float
    end_s: float


class WatchedRun(Run):
    """A world whose first chamber is looked at every minute, whatever the daemon does."""

    def __init__(self, world: World, folder: Path) -> None:
        super().__init__(world, folder)
        self.samples: list[Sample] = []
        self._plant = next(iter(self.plants.values()))
        self.later(SAMPLED_S, self._sample)

    def _sample(self) -> None:
        self.later(SAMPLED_S, self._sample)
        at_s = self.clock.true_utc_s
        state = self._plant.advance_to(at_s)
        self.samples.append(Sample(at_s, state.beer_c, state.air_c))


def calm_world(seed: int) -> World:
    """The chamber of a seed, held at a target or led through a profile, with nothing else."""
    for attempt in range(100):
        world = world_of(seed * 1000 + attempt, Scale.SHORT)
        if len(world.rooms) == 1:
            break
    random = Random(f"causes {seed}")
    room = next(iter(world.rooms.values()))
    chamber = next(iter(world.rooms))
    if random.random() < 0.3:
        order = {"what": "StartProfile", "profile": draw_profile(random, 10 * 86400.0)}
    else:
        # Where the chamber can hold its beer: a target that it never reaches teaches nothing.
        mean_c = sum(room.ambient_c(world.start_utc_s + HOUR_S * hour) for hour in range(24)) / 24
        has = {one["duty"] for one in world.site["output"].values()}
        low_c = max(0.5, mean_c - 14.0) if "cool" in has else mean_c
        high_c = min(24.0, mean_c + 5.0) if "heat" in has else mean_c
        target_c = round(random.uniform(low_c, max(low_c, high_c)), 1)
        order = {"what": "SetTarget", "target_c": min(max(target_c, 0.5), 24.0)}
    return replace(
        world,
        span_s=CALM_S + LONGEST_S + AFTER_S,
        script=(Entry(600.0, "order", {"chamber": chamber, **order}),),
    )


def with_fault(world: World, kind: str, number: int) -> World | None:
    """The same world with one fault of this kind; None if it cannot have one."""
    random = Random(f"fault {world.seed} {kind} {number}")
    at_s = CALM_S + random.uniform(0.0, 3 * HOUR_S)
    args = {}
    for _ in range(50):
        args = KINDS[kind].draw(random, world)
        if not str(args.get("output", "")).startswith("fan"):
            break
    if not args:
        return None
    if "lasts_s" in args:
        args["lasts_s"] = min(args["lasts_s"], LONGEST_S - 3 * HOUR_S)
    if "edit" in args:
        args["edit"] = []
    if "clock_set_after_s" in args:
        args["clock_set_after_s"] = min(args["clock_set_after_s"], 900.0)
    return replace(world, script=(*world.script, Entry(round(at_s, 3), kind, args)))


def live_watched(world: World, folder: Path) -> Lived:
    """Live through a world in an empty folder, and keep its journal there."""
    run = WatchedRun(world, folder)
    before = logging.root.manager.disable
    logging.disable(logging.CRITICAL)
    try:
        with below_the_journal(run.disk, lambda: run.clock.now().mono_s), run.in_place():
            run.go()
    finally:
        logging.disable(before)
    return Lived(run.journal_path, run.samples, world.start_utc_s, run.clock.true_utc_s)
