"""How well fermd holds the beer, beside other thermostats on the same plants: table and picture.

    python tests/holding/compare.py --seed 1 --fresh 4 --picture holding.png

Every fixed scenario, and `--fresh` more whose parameters are drawn from `--seed`, which is also the
seed of the probes' noise.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict
from functools import cache, partial
from pathlib import Path
from trace import Trace

from contestants import BEST, THERMOSTATS, run_contestant
from figures import Figures, figures
from scenario import DAY_S, Scenario
from scenarios import FIXED
from table import table

Traces = dict[str, dict[str, Trace]]


@cache
def entries(seed: int, fresh: int) -> dict[str, Scenario]:
    """Return all scenarios by name: the fixed ones, then those drawn from the seed."""
    every = [build() for build in FIXED]
    if fresh:
        from drawn import drawn

        every += drawn(seed, fresh)
    return {scenario.name: scenario for scenario in every}


def compete(
    name: str, contestants: Sequence[str], seed: int, fresh: int
) -> tuple[str, dict[str, Trace]]:
    """Run all contestants in one scenario; the best possible gets as many starts as fermd took."""
    scenario = entries(seed, fresh)[name]
    traces: dict[str, Trace] = {}
    for contestant in sorted(contestants, key=BEST.__eq__):
        allowed = None
        if "fermd" in traces:
            starts = traces["fermd"].cool_starts_s.size or traces["fermd"].heat_starts_s.size
            allowed = starts / (scenario.lasts_s / DAY_S)
        traces[contestant] = run_contestant(scenario, contestant, seed, allowed)
    return name, traces


def run_all(
    names: Sequence[str], contestants: Sequence[str], seed: int, fresh: int, jobs: int
) -> Traces:
    """Run everything, in as many processes as are allowed."""
    one = partial(compete, contestants=contestants, seed=seed, fresh=fresh)
    if jobs == 1:
        return dict(map(one, names))
    with ProcessPoolExecutor(jobs) as pool:
        return dict(pool.map(one, names))


def main(words: Sequence[str] | None = None) -> int:
    """Run the comparison."""
    wanted = _arguments(words)
    every = entries(wanted.seed, wanted.fresh)
    names = list(every) if wanted.only is None else wanted.only
    for name in names:
        if name not in every:
            return _refused(f"--only: there is no scenario {name!r}; there are {', '.join(every)}")
    for name in wanted.contestants:
        if name not in (*THERMOSTATS, BEST):
            known = ", ".join((*THERMOSTATS, BEST))
            return _refused(f"--contestants: nobody is called {name!r}; there are {known}")
    traces = run_all(names, wanted.contestants, wanted.seed, wanted.fresh, wanted.jobs)
    chosen = [every[name] for name in names]
    results: dict[str, dict[str, Figures]] = {
        name: {who: figures(every[name], trace) for who, trace in by_who.items()}
        for name, by_who in traces.items()
    }
    sys.stdout.write(table(chosen, results) + "\n")
    if wanted.json is not None:
        plain = {
            name: {who: asdict(each) for who, each in by_who.items()}
            for name, by_who in results.items()
        }
        wanted.json.write_text(json.dumps({"seed": wanted.seed, "scenarios": plain}, indent=1))
    if wanted.picture is not None:
        from picture import draw

        draw(chosen, traces, wanted.picture)
    return 0


def _refused(why: str) -> int:
    sys.stderr.write(why + "\n")
    return 64


def _arguments(words: Sequence[str] | None) -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--seed", type=int, default=1, help="of the noise and the drawn scenarios")
    parser.add_argument("--fresh", type=int, default=4, help="so many scenarios are drawn (4)")
    parser.add_argument("--only", type=_names, help="these scenarios, by name, with commas")
    parser.add_argument(
        "--contestants", type=_names, default=list(THERMOSTATS), help="fermd,on-off,pid,best"
    )
    parser.add_argument("--picture", type=Path, help="draw the traces into this file")
    parser.add_argument("--json", type=Path, help="write all figures into this file")
    parser.add_argument("--jobs", type=int, default=1, help="processes (1)")
    return parser.parse_args(words)


def _names(text: str) -> list[str]:
    return [name.strip() for name in text.split(",") if name.strip()]


if __name__ == "__main__":
    sys.exit(main())
