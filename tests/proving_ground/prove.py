"""The proving ground by command: many worlds, or one again.

    python tests/proving_ground/prove.py --worlds 100 --first-seed 1
    python tests/proving_ground/prove.py --worlds 2 --years
    python tests/proving_ground/prove.py --seed 17 --shrink
    python tests/proving_ground/prove.py --seed 17 --only 3,9
    python tests/proving_ground/prove.py --seed 17 --script short.json
    python tests/proving_ground/prove.py --defects

A world that breaks a promise is printed with the command that replays it; the exit code is then 1.
"""

# ruff: noqa: T201 - a command prints

from __future__ import annotations

import argparse
import contextlib
import sys
import time
import traceback
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from checks import prove
from defects import DEFECTS, planted
from script import only, read, to_json
from shrink import shrink
from truth import Broken
from world import Scale, World, world_of
from world_run import Outcome

from fermd.control.settings import DAY_S

MOST_SHOWN = 8
"""So many broken promises of one world are printed."""


def command_of(world: World, *more: str) -> str:
    """Return the command that replays a world."""
    scale = {Scale.SHORT: ["--short"], Scale.USUAL: [], Scale.YEARS: ["--years"]}[world.scale]
    words = ["python tests/proving_ground/prove.py", f"--seed {world.seed}", *scale, *more]
    return " ".join(words)


def show(world: World, broken: Sequence[Broken]) -> None:
    """Print what a world broke, and how to see it again."""
    print(f"seed {world.seed}: {len(broken)} broken promises; again with: {command_of(world)}")
    for one in broken[:MOST_SHOWN]:
        print("  " + one.told(world.start_utc_s))


def show_short(world: World, broken: Sequence[Broken], most_worlds: int) -> None:
    """Shrink the script of a failing world, and print it."""
    found = shrink(world, broken[0].promise, most_worlds)
    numbers = ",".join(map(str, found.numbers))
    print(f"  {len(found.script)} of {len(world.script)} entries, after {found.worlds} worlds:")
    for entry in found.script:
        print(f"    {entry}")
    print(f"  again with: {command_of(world, f'--only {numbers or chr(45)}')}")


class Sum:
    """What a run of many worlds adds up to."""

    def __init__(self) -> None:
        self.worlds = self.ticks = self.processes = 0
        self.chamber_s = 0.0
        self.injected: Counter[str] = Counter()
        self.broken: Counter[str] = Counter()
        self._wall_s, self._cpu_s = time.monotonic(), time.process_time()

    def add(self, outcome: Outcome, broken: Sequence[Broken]) -> None:
        """Add a world."""
        self.worlds += 1
        self.ticks += outcome.ticks
        self.processes += len(outcome.truth.processes)
        self.chamber_s += outcome.world.span_s * len(outcome.world.rooms)
        self.injected.update(outcome.truth.injected)
        self.broken.update({one.promise for one in broken})

    def show(self) -> None:
        """Print the sum."""
        wall_s, cpu_s = time.monotonic() - self._wall_s, time.process_time() - self._cpu_s
        years, days = self.chamber_s / DAY_S / 365.25, self.chamber_s / DAY_S
        print(f"{self.worlds} worlds, {years:.3f} chamber-years ({days:.1f} chamber-days)")
        print(f"{self.processes} runs of the daemon, {self.ticks} ticks")
        print(f"{sum(self.injected.values())} faults injected:")
        for kind, count in sorted(self.injected.items()):
            print(f"  {count:6d}  {kind}")
        print(
            f"{wall_s:.0f} s by the clock, {cpu_s:.0f} s of CPU: {days / max(cpu_s, 1e-9):.2f} "
            f"chamber-days and {self.ticks / max(cpu_s, 1e-9):.0f} ticks a second of CPU"
        )
        if not self.broken:
            print("no promise was broken")
        for promise, count in sorted(self.broken.items()):
            print(f"BROKEN in {count} worlds: {promise}")


def many(options: argparse.Namespace, scale: Scale) -> int:
    """Live through worlds, one seed after the other; Ctrl-C ends it with the sum so far."""
    sums = Sum()
    seeds = range(options.first_seed, options.first_seed + options.worlds)
    with contextlib.suppress(KeyboardInterrupt):
        for seed in seeds:
            _one_of_many(world_of(seed, scale), sums, options)
            sys.stdout.flush()
    sums.show()
    return 1 if sums.broken else 0


def _one_of_many(world: World, sums: Sum, options: argparse.Namespace) -> None:
    try:
        outcome, broken = prove(world)
    except Exception:  # noqa: BLE001 - whatever it is, the other worlds are to be lived through
        print(f"seed {world.seed} came to no end; again with: {command_of(world)}")
        traceback.print_exc(file=sys.stdout)
        sums.broken["a world comes to its end"] += 1
        return
    sums.add(outcome, broken)
    if broken:
        show(world, broken)
        if options.shrink:
            show_short(world, broken, options.most_worlds)


def one(options: argparse.Namespace, scale: Scale) -> int:
    """Live through one world, whole or in part."""
    world = world_of(options.seed, scale)
    if options.script is not None:
        world = replace(world, script=read(options.script))
    if options.only is not None:
        numbers = [int(number) for number in options.only.split(",") if number not in ("", "-")]
        world = replace(world, script=only(world.script, numbers))
    if options.write is not None:
        options.write.write_text(to_json(world.script), encoding="utf-8")
    sums = Sum()
    outcome, broken = prove(world)
    sums.add(outcome, broken)
    for number, entry in enumerate(world.script):
        print(f"{number:4d}  {entry}")
    if broken:
        show(world, broken)
        if options.shrink:
            show_short(world, broken, options.most_worlds)
    sums.show()
    return 1 if broken else 0


def defects() -> int:
    """Plant every defect of the list in the world that is said to show it."""
    missed = 0
    clean: dict[tuple[int, float], bool] = {}
    for defect in DEFECTS:
        world = defect.world()
        with planted(defect.plant):
            _, broken = prove(world)
        found = {one.invariant for one in broken}
        if defect.shown not in clean:
            clean[defect.shown] = not prove(world)[1]
        sound = defect.invariant in found and clean[defect.shown]
        missed += not sound
        verdict = "found" if sound else "MISSED" if clean[defect.shown] else "NOT CLEAN WITHOUT IT"
        print(
            f"{verdict:8s} invariant {defect.invariant:2d}  {defect.name} (seed {defect.shown[0]})"
        )
    print(f"{len(DEFECTS)} defects, {missed} missed")
    return 1 if missed else 0


def main(arguments: Sequence[str] | None = None) -> int:
    """Do what the command line asks for."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--worlds", type=int, default=10, metavar="N")
    parser.add_argument("--first-seed", type=int, default=1, metavar="S")
    parser.add_argument("--seed", type=int, metavar="S", help="this world alone")
    parser.add_argument("--years", action="store_true", help="worlds of a whole year")
    parser.add_argument("--short", action="store_true", help="worlds of a day or two")
    parser.add_argument("--shrink", action="store_true", help="shorten the script of what fails")
    parser.add_argument("--most-worlds", type=int, default=200, help="... with so many worlds")
    parser.add_argument("--only", metavar="I,J,...", help="only these entries of the script")
    parser.add_argument("--script", type=Path, metavar="FILE", help="this script instead")
    parser.add_argument("--write", type=Path, metavar="FILE", help="write the script to a file")
    parser.add_argument("--defects", action="store_true", help="plant every deliberate defect")
    options = parser.parse_args(arguments)
    scale = Scale.YEARS if options.years else Scale.SHORT if options.short else Scale.USUAL
    if options.defects:
        return defects()
    return many(options, scale) if options.seed is None else one(options, scale)


if __name__ == "__main__":
    sys.exit(main())
