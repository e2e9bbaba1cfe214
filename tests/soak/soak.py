# ruff: noqa: T201 - a command
"""Soak the real daemon: kill it, cut its power, fill its disk, step its clock, and look at it all.

    python tests/soak/soak.py --kills 500 --seed 1
    python tests/soak/soak.py --kills 20 --seed 7        # one round, again

A round is a board of its own with up to 50 kills and everything else that a board may live through.
After it, the ten promises are checked from what the pins did and from the journal alone. A round
that fails prints the command that plays it again, and keeps its folder.

Real are the daemon and its process, its threads, files and locks, SQLite, SIGKILL, ENOSPC and
EFBIG, the pins' record on the machine's boot clock. Not real are the pace (400 times), the wall
clock (the clock port's own, since a test must not step the machine's), the pins, the probes' files
and the beer behind them, and a power cut's loss of what was written but not yet synchronised: a
copy of one moment, cut anywhere in its log, stands for it.
"""

from __future__ import annotations

import argparse
import json
import os
import shutil
import signal
import sys
import tempfile
import time
from pathlib import Path

HERE = Path(__file__).resolve().parent
ROOMS = [str(HERE), str(HERE.parent / "process"), str(HERE.parent.parent)]


def soak(kills: int, seed: int, keep_in: Path) -> tuple[object, int]:
    """Run rounds until there were so many kills; the figures, and how many rounds failed."""
    from soak_figures import Figures
    from soak_round import KILLS_A_ROUND, Round

    figures, failed = Figures(), 0
    began_s = time.monotonic()
    left = kills
    while left > 0:
        some = min(left, KILLS_A_ROUND)
        # Not below the folder that is kept: a socket's path has 107 bytes at the most.
        folder = Path(tempfile.mkdtemp(prefix="soak-"))
        try:
            found = Round(seed, some, folder).run()
        except KeyboardInterrupt:
            shutil.rmtree(folder, ignore_errors=True)
            print(f"stopped within seed {seed}", file=sys.stderr)
            break
        figures.add(found)
        if found.violations:
            failed += 1
            kept = keep_in / f"soak-seed-{seed}-{int(time.time())}"
            shutil.move(folder, kept)
            for text in found.violations[:20]:
                print(f"seed {seed}: {text}", file=sys.stderr)
            print(f"kept: {kept}", file=sys.stderr)
            again = f"python tests/soak/soak.py --kills {some} --seed {seed}"
            print(f"again: {again}", file=sys.stderr)
        else:
            shutil.rmtree(folder)
        so_far = f"seed {seed}: {found.kills} kills, {len(found.violations)} violations"
        print(f"{so_far}; {time.monotonic() - began_s:.0f} s", file=sys.stderr, flush=True)
        left -= max(some, 1)
        seed += 1
    return figures, failed


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--kills", type=int, default=500, help="in all (500)")
    parser.add_argument("--seed", type=int, default=1, help="of the first round (1)")
    parser.add_argument("--json", action="store_true", help="figures for machines")
    parser.add_argument(
        "--keep", type=Path, default=Path(tempfile.gettempdir()), help="where failed rounds go"
    )
    given = parser.parse_args()
    # Whoever ends it early gets the figures of the rounds that were whole.
    signal.signal(signal.SIGTERM, signal.default_int_handler)
    figures, failed = soak(given.kills, given.seed, given.keep)
    print(json.dumps(figures.plain()) if given.json else "\n".join(figures.lines()))
    return 1 if failed else 0


sys.path[:0] = [room for room in ROOMS if room not in sys.path]
os.environ["PYTHONPATH"] = os.pathsep.join(ROOMS)

if __name__ == "__main__":
    sys.exit(main())
