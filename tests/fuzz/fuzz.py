"""Bad input in bulk: `python tests/fuzz/fuzz.py --inputs 100000 --seed 1`.

Prints a table of the territories; ends with 1 if a promise was broken. A failing input is saved
below `--folder` and told with the command that replays it.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from pathlib import Path

_HERE = Path(__file__).resolve().parent
for _folder in (
    _HERE.parents[1],
    *(_HERE.parent / room for room in ("cli", "exchange", "service")),
):
    sys.path.insert(0, str(_folder))

import saved  # noqa: E402 - the paths come first
import territories  # noqa: E402
from firing import Tally, fire, replay  # noqa: E402

HEAD = ("territory", "inputs", "accepted", "refused", "messages", "slowest ms", "failures", "CPU s")


def main() -> int:
    """Fire, or replay, and say how it went."""
    options = _options()
    if options.replay is not None:
        name, given = saved.load(options.replay)
        replay(territories.BY_NAME[name](), given)
        _say(f"{name}: every promise is kept")
        return 0
    names = options.only or list(territories.BY_NAME)
    folder = options.folder or Path(tempfile.mkdtemp(prefix="fermd-fuzz-"))
    tallies: dict[str, Tally] = {}
    widths = [max(15, len(HEAD[0])), *(max(9, len(word)) for word in HEAD[1:])]
    _row(HEAD, widths)
    for name in names:
        began_s = time.process_time()
        share = territories.SHARES[name] / sum(territories.SHARES[one] for one in names)
        most = max(1, round(options.inputs * share))
        tally = tallies[name] = fire(territories.BY_NAME[name](), most, options.seed, folder)
        _tally(name, tally, time.process_time() - began_s, widths)
    _row(
        (
            "all",
            sum(t.inputs for t in tallies.values()),
            sum(t.accepted for t in tallies.values()),
            sum(t.refused for t in tallies.values()),
            sum(len(t.messages) for t in tallies.values()),
            f"{max(t.slowest_ms for t in tallies.values()):.1f}",
            sum(t.failures for t in tallies.values()),
            f"{time.process_time():.0f}",
        ),
        widths,
    )
    for tally in tallies.values():
        for failure in tally.kinds.values():
            _say(f"\n{failure.words}")
            _say(f"the input: {failure.file}")
            _say(f"again: {sys.executable} tests/fuzz/fuzz.py --replay {failure.file}")
    return 1 if any(tally.failures for tally in tallies.values()) else 0


def _tally(name: str, tally: Tally, cpu_s: float, widths: list[int]) -> None:
    _row(
        (
            name,
            tally.inputs,
            tally.accepted,
            tally.refused,
            len(tally.messages),
            f"{tally.slowest_ms:.1f}",
            tally.failures,
            f"{cpu_s:.0f}",
        ),
        widths,
    )


def _row(cells: tuple[object, ...], widths: list[int]) -> None:
    first, *others = (str(cell) for cell in cells)
    right = (cell.rjust(width) for cell, width in zip(others, widths[1:], strict=True))
    _say(" ".join((first.ljust(widths[0]), *right)))


def _say(text: str) -> None:
    sys.stdout.write(text + "\n")
    sys.stdout.flush()


def _options() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--inputs", type=int, default=100_000, help="how many in all")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", action="append", choices=list(territories.BY_NAME))
    parser.add_argument("--folder", type=Path, help="where failing inputs are saved")
    parser.add_argument("--replay", type=Path, metavar="FILE", help="try a saved input again")
    return parser.parse_args()


if __name__ == "__main__":
    sys.exit(main())
