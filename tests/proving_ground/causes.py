"""How many planted faults a review names rightly, by command.

    python tests/proving_ground/causes.py --worlds 10 --seed 1
    python tests/proving_ground/causes.py --worlds 3 --seed 7 --faults 12
    python tests/proving_ground/causes.py --worlds 16 --seed 20 --kept DIR

For each seed a calm chamber is lived through once as it is and once with each of some faults
(causes_worlds.py); the review of each journal is judged (causes_score.py). Printed are the misses,
the faults that left no trace or none that a probe of the chamber could see, what the reviews of the
calm chambers name, and the share named rightly of those that could be seen; the exit code is 1
below `GOAL`. With `--kept` the worlds stay in a folder, and are not lived through again when a rule
has changed (causes_kept.py).
"""

# ruff: noqa: T201 - a command prints

from __future__ import annotations

import argparse
import sys
import time
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from random import Random
from tempfile import TemporaryDirectory

from causes_kept import lived_once
from causes_score import Verdict, found_in, lasts_s, right_causes, took_an_order, verdict
from causes_worlds import AFTER_S, PLANTED, Lived, calm_world, with_fault
from script import Entry
from world import World

from fermd.review.causes.cause import Disturbance

GOAL = 0.9
"""So many of the faults that left a trace are to be named rightly."""

USUAL_FAULTS = 7
TAUGHT_S = 3 * 3600.0
"""In its first hours a chamber comes to its target, and is not calm."""


@dataclass(slots=True)
class Tally:
    """What a run of many worlds adds up to."""

    verdicts: list[Verdict] = field(default_factory=list)
    """Of the faults that left a trace."""
    without_trace: Counter[str] = field(default_factory=Counter)
    in_calm: list[tuple[int, float, Disturbance]] = field(default_factory=list)
    """Seed, hours since the world began, and what the review of a calm world names."""
    calm_days: float = 0.0

    @property
    def seen(self) -> list[Verdict]:
        """Those whose trace a probe of the chamber could see: these count."""
        return [one for one in self.verdicts if one.could_be_seen]

    @property
    def share(self) -> float:
        """What share of those that count was named rightly; 1 if there are none."""
        return right(self.seen) / len(self.seen) if self.seen else 1.0

    @property
    def misses(self) -> list[Verdict]:
        """Those that were not."""
        return [one for one in self.verdicts if not one.is_right]


def right(verdicts: Sequence[Verdict]) -> int:
    """How many were named rightly."""
    return sum(one.is_right for one in verdicts)


def judge(
    seed: int, kinds: Sequence[str], tally: Tally, kept: Path, after_s: float = AFTER_S
) -> None:
    """Live through the chamber of a seed, calm and with each of these faults, in the folder `kept`.

    A world ends so long after its fault, and the calm one with the last of them.
    """
    base = calm_world(seed)
    planted = [_ended(world, after_s) for world in _planted(base, kinds)]
    base = replace(base, span_s=max((world.span_s for world in planted), default=base.span_s))
    calm, found_calm = _lived(base, kept)
    tally.calm_days += base.span_s / 86400.0
    tally.in_calm += [
        (seed, (one.start_s - base.start_utc_s) / 3600.0, one)
        for one in found_calm
        if one.start_s > base.start_utc_s + TAUGHT_S
    ]
    for world in planted:
        lived, found = _lived(world, kept)
        fault = world.script[-1]
        told = verdict(
            fault,
            world.start_utc_s,
            lived.samples,
            calm.samples,
            found,
            found_calm,
            has_air_probe=any("air_probe" in one for one in world.site["chamber"].values()),
            was_refused=fault.kind == TURNED and not _was_taken(fault, world, lived),
        )
        if told.left_a_trace:
            tally.verdicts.append(told)
        else:
            tally.without_trace[fault.kind] += 1


TURNED = "target turned round"
"""One order, which a chamber may refuse: its beer would freeze."""


def _was_taken(fault: Entry, world: World, lived: Lived) -> bool:
    from_s = world.start_utc_s + fault.at_s
    return took_an_order(lived.journal, from_s, from_s + lasts_s(fault))


def _planted(base: World, kinds: Sequence[str]) -> Iterator[World]:
    for kind in kinds:
        world = with_fault(base, kind, 0)
        if world is not None and right_causes(world.script[-1]):
            yield world


def _ended(world: World, after_s: float) -> World:
    fault = world.script[-1]
    return replace(world, span_s=min(world.span_s, fault.at_s + lasts_s(fault) + after_s))


def _lived(world: World, kept: Path) -> tuple[Lived, tuple[Disturbance, ...]]:
    lived = lived_once(world, kept)
    return lived, found_in(lived.journal)


def kinds_of(seed: int, count: int) -> list[str]:
    """Which faults a seed plants."""
    return Random(f"kinds {seed}").sample(PLANTED, min(count, len(PLANTED)))


def show(tally: Tally) -> None:
    """Print what came of it."""
    for one in tally.misses:
        print(f"{'MISS' if one.could_be_seen else 'unseen'}  {one.told()}")
    for seed, hours, found in tally.in_calm:
        print(f"calm  seed {seed}, {hours:.1f} h: {found.cause}: {found.words[:90]}")
    by_kind: dict[str, list[bool]] = {}
    for each in tally.verdicts:
        by_kind.setdefault(each.fault.kind, []).append(each.is_right)
    for kind, are_right in sorted(by_kind.items()):
        print(f"  {sum(are_right)} of {len(are_right)}  {kind}")
    print(f"without a trace, not counted: {sum(tally.without_trace.values())} ", end="")
    print(", ".join(f"{count} {kind}" for kind, count in sorted(tally.without_trace.items())))
    print(f"named in {tally.calm_days:.0f} calm days, without a fault: {len(tally.in_calm)}")
    every = len(tally.verdicts)
    print(f"named rightly: {right(tally.seen)} of {len(tally.seen)} ({tally.share:.1%})")
    print(f"with those that no probe of the chamber could see: {right(tally.verdicts)} of {every}")


def main(arguments: Sequence[str] | None = None) -> int:
    """Do what the command line asks for."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--worlds", type=int, default=10, metavar="N", help="chambers")
    parser.add_argument("--seed", type=int, default=1, metavar="S", help="of the first one")
    parser.add_argument("--faults", type=int, default=USUAL_FAULTS, help="planted in each")
    parser.add_argument(
        "--kept", type=Path, metavar="DIR", help="keep the worlds here, and take those that are"
    )
    options = parser.parse_args(arguments)
    tally = Tally()
    with TemporaryDirectory(prefix="causes-") as passing:
        for seed in range(options.seed, options.seed + options.worlds):
            began_s = time.monotonic()
            judge(seed, kinds_of(seed, options.faults), tally, options.kept or Path(passing))
            print(
                f"seed {seed}: {right(tally.seen)} of {len(tally.seen)} so far, "
                f"{time.monotonic() - began_s:.0f} s",
                flush=True,
            )
    show(tally)
    return 0 if tally.share >= GOAL else 1


if __name__ == "__main__":
    sys.exit(main())
