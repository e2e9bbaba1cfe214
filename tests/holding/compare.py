"""How well fermd holds the beer, beside other thermostats on the same plants: table and picture.

    python tests/holding/compare.py --seed 1 --fresh 4 --picture holding.png

Every fixed scenario, and `--fresh` more whose parameters are drawn from `--seed`, which is also the
seed of the probes' noise. `--sweep` runs both rivals with many settings of their knob, and says
which of them fermd does not beat with as few starts.

The search for the best possible takes most of the time, some 40 s of a processor a scenario: leave
it out (`--contestants fermd,on-off,pid`) while trying a change.
"""

from __future__ import annotations

import argparse
import json
import signal
import sys
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict
from functools import cache, partial
from math import isfinite
from pathlib import Path
from trace import Line

from contestants import (
    BEST,
    EVEN,
    FERMD,
    ON_OFF,
    PID,
    SWEPT,
    NobodyCalledSoError,
    checked,
    run_contestant,
)
from figures import Figures, figures
from scenario import Scenario
from scenarios import FIXED
from table import ASSUMED, as_markdown, pane

Entry = dict[str, tuple[Figures, Line]]
"""By the contestant: what one scenario came to, small enough to be passed between processes."""


@cache
def entries(seed: int, fresh: int) -> dict[str, Scenario]:
    """Return all scenarios by name: the fixed ones, then those drawn from the seed."""
    every = [build() for build in FIXED]
    if fresh:
        from drawn import drawn

        every += drawn(seed, fresh)
    return {scenario.name: scenario for scenario in every}


def compete(name: str, contestants: Sequence[str], seed: int, fresh: int) -> tuple[str, Entry]:
    """Run all contestants in one scenario; the best possible gets as many starts as fermd took."""
    scenario = entries(seed, fresh)[name]
    entry: Entry = {}
    for contestant in sorted(contestants, key=lambda name: (name != FERMD, name == BEST)):
        allowed, even = None, 0.0
        if FERMD in entry:
            mine = entry[FERMD][0]
            allowed = mine.cool_starts_a_day + mine.heat_starts_a_day
            even = mine.starts_a_day
        trace = run_contestant(scenario, contestant, seed, allowed, even)
        entry[contestant] = figures(scenario, trace), Line.of(trace)
    return name, entry


def run_all(
    names: Sequence[str], contestants: Sequence[str], seed: int, fresh: int, jobs: int
) -> Iterator[tuple[str, Entry]]:
    """Run everything, in as many processes as are allowed; give each scenario as it is done."""
    one = partial(compete, contestants=contestants, seed=seed, fresh=fresh)
    if jobs == 1:
        yield from map(one, names)
        return
    with ProcessPoolExecutor(jobs) as pool:
        yield from pool.map(one, names)


def main(words: Sequence[str] | None = None) -> int:
    """Run the comparison."""
    wanted = _arguments(words)
    every = entries(wanted.seed, wanted.fresh)
    names = list(every) if wanted.only is None else wanted.only
    for name in names:
        if name not in every:
            return _refused(f"--only: there is no scenario {name!r}; there are {', '.join(every)}")
    try:
        contestants = [checked(name) for name in wanted.contestants]
    except NobodyCalledSoError as error:
        return _refused(f"--contestants: {error}")
    if wanted.sweep:
        rivals = [f"{rival}:{knob:g}" for rival, knobs in SWEPT.items() for knob in knobs]
        contestants = [FERMD, *rivals]
    results: dict[str, dict[str, Figures]] = {}
    lines: dict[str, dict[str, Line]] = {}
    for name, entry in run_all(names, contestants, wanted.seed, wanted.fresh, wanted.jobs):
        results[name] = {who: each for who, (each, _) in entry.items()}
        # A rival with as many starts would be drawn like the rival itself, and hide it.
        lines[name] = {w: line for w, (_, line) in entry.items() if not w.endswith(f":{EVEN}")}
        _say(pane(every[name], results[name], sweep=wanted.sweep))
    _say(ASSUMED)
    if wanted.json is not None:
        plain = {
            name: {who: _plain(each) for who, each in by_who.items()}
            for name, by_who in results.items()
        }
        text = json.dumps({"seed": wanted.seed, "scenarios": plain}, indent=1, allow_nan=False)
        wanted.json.write_text(text + "\n")
    if wanted.markdown is not None:
        wanted.markdown.write_text(as_markdown([every[name] for name in names], results))
    if wanted.picture is not None:
        from picture import draw

        drawn = {name: {who: results[name][who] for who in lines[name]} for name in names}
        draw([every[name] for name in names], lines, drawn, wanted.picture)
    return 0


def _say(text: str) -> None:
    sys.stdout.write(text + "\n")
    sys.stdout.flush()


def _plain(each: Figures) -> dict[str, object]:
    """Return figures as JSON can hold them: what never settled took no number of seconds."""
    steps = [asdict(step) | {"settled_s": _finite(step.settled_s)} for step in each.steps]
    settled_s = _finite(each.settled_s)
    return asdict(each) | {
        "settled_s": settled_s,
        "steps": steps,
        "starts_a_day": each.starts_a_day,
    }


def _finite(value: float) -> float | None:
    return value if isfinite(value) else None


def _refused(why: str) -> int:
    sys.stderr.write(why + "\n")
    return 64


def _arguments(words: Sequence[str] | None) -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--seed", type=int, default=1, help="of the noise and the drawn scenarios")
    parser.add_argument("--fresh", type=int, default=4, help="so many scenarios are drawn (4)")
    parser.add_argument("--only", type=_names, help="these scenarios, by name, with commas")
    parser.add_argument(
        "--contestants",
        type=_names,
        default=[FERMD, ON_OFF, PID, f"{ON_OFF}:{EVEN}", f"{PID}:{EVEN}", BEST],
        help="fermd,on-off,pid,on-off:even,pid:even,best; or a rival's knob: on-off:0.5, pid:60",
    )
    parser.add_argument("--sweep", action="store_true", help="rivals with many settings of a knob")
    parser.add_argument("--picture", type=Path, help="draw the traces into this file")
    parser.add_argument("--markdown", type=Path, help="write a short table into this file")
    parser.add_argument("--json", type=Path, help="write all figures into this file")
    parser.add_argument("--jobs", type=int, default=1, help="processes (1)")
    return parser.parse_args(words)


def _names(text: str) -> list[str]:
    return [name.strip() for name in text.split(",") if name.strip()]


if __name__ == "__main__":
    # A reader such as `head` that has seen enough ends it without a word.
    signal.signal(signal.SIGPIPE, signal.SIG_DFL)
    sys.exit(main())
