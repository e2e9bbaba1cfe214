"""Fires a territory's inputs at what they are meant for, and counts what became of them.

The inputs come from hypothesis, in series with a seed of their own each; a series ends with its
first failure, which hypothesis makes smaller, and the next series goes on. So one defect does not
hide the others, and every failure is kept as its smallest input.
"""

from __future__ import annotations

import time
import traceback
from collections import Counter
from dataclasses import dataclass, field
from math import ceil
from pathlib import Path
from typing import Any, Final

from hypothesis import HealthCheck, Phase, Verbosity, given, seed, settings
from saved import save, size
from territory import NoTraceback, Territory, kind_of

SERIES: Final = 1000
"""Inputs drawn with one seed."""

LONGEST_SHRINKING_S: Final = 8.0
"""Time for making a failing input smaller."""


@dataclass
class Failure:
    """A promise that was broken, with the smallest input found that does it."""

    words: str
    given: Any
    file: Path | None = None


@dataclass
class Tally:
    """What became of a territory's inputs."""

    examples: int = 0
    """What was drawn; one may hold several inputs."""
    inputs: int = 0
    accepted: int = 0
    messages: Counter[str] = field(default_factory=Counter)
    slowest_ms: float = 0.0
    failures: int = 0
    kinds: dict[str, Failure] = field(default_factory=dict)
    """The smallest failure of each kind."""

    @property
    def refused(self) -> int:
        return self.inputs - self.accepted


def fire(territory: Territory, most: int, first_seed: int, folder: Path | None = None) -> Tally:
    """Fire so many inputs; failing ones are saved below `folder`."""
    tally = Tally()
    number = 0
    with NoTraceback() as watch, territory:
        while tally.inputs < most:
            before = tally.inputs
            asked = f"{territory.name}:{first_seed}:{number}"
            each = tally.inputs / tally.examples if tally.examples else 1.0
            longest = SERIES if tally.examples else SERIES // 10
            series = min(longest, ceil((most - tally.inputs) / each))
            _series(territory, watch, tally, series, asked)
            number += 1
            if tally.inputs == before:
                break  # Nothing more to draw.
    if folder is not None:
        for index, failure in enumerate(tally.kinds.values(), 1):
            folder.mkdir(parents=True, exist_ok=True)
            failure.file = folder / f"{territory.name}-{first_seed}-{index}.json"
            save(failure.file, territory.name, failure.given)
    return tally


def replay(territory: Territory, given: Any) -> None:
    """Try one input again; raises what it raises."""
    with NoTraceback() as watch, territory:
        territory.judge(given)
        watch.check()


def _series(territory: Territory, watch: NoTraceback, tally: Tally, most: int, asked: str) -> None:
    first: list[float] = []
    smallest: dict[str, Failure] = {}

    def one(drawn: Any) -> None:
        counting = not first
        if first and time.monotonic() > first[0]:
            return
        tally.examples += counting
        began_s = time.process_time()
        try:
            verdicts = territory.judge(drawn)
            watch.check()
        except Exception as error:
            if counting:
                tally.inputs += 1
                tally.failures += 1
                # One of a known kind is not made smaller once more.
                known = _kind_of_failure(error) in tally.kinds
                first.append(time.monotonic() + (0.0 if known else LONGEST_SHRINKING_S))
            failure = Failure("".join(traceback.format_exception(error)), drawn)
            kind = _kind_of_failure(error)
            if kind not in smallest or size(drawn) < size(smallest[kind].given):
                smallest[kind] = failure
            territory.begin_afresh()
            raise
        if counting:
            took_s = time.process_time() - began_s
            tally.inputs += len(verdicts)
            tally.accepted += sum(verdict.accepted for verdict in verdicts)
            tally.messages.update(kind_of(v.message) for v in verdicts if not v.accepted)
            tally.slowest_ms = max(tally.slowest_ms, took_s * 1000 / max(1, len(verdicts)))

    test = given(territory.inputs)(one)
    test = settings(
        max_examples=max(1, most),
        database=None,
        deadline=None,
        phases=(Phase.generate, Phase.shrink),
        suppress_health_check=list(HealthCheck),
        verbosity=Verbosity.quiet,
        report_multiple_bugs=False,
        print_blob=False,
    )(test)
    try:
        seed(asked)(test)()
    except BaseException as error:
        # What hypothesis says of a failure that was cut short is no news: the input is kept.
        if not smallest or isinstance(error, KeyboardInterrupt):
            raise
    for kind, failure in smallest.items():
        known = tally.kinds.get(kind)
        if known is None or size(failure.given) < size(known.given):
            tally.kinds[kind] = failure


def _kind_of_failure(error: BaseException) -> str:
    """Where and as what it was raised: two inputs of one kind are taken for one defect."""
    frames = traceback.extract_tb(error.__traceback__)
    at = next((f for f in reversed(frames) if "/fermd/" in f.filename), frames[-1])
    return f"{type(error).__name__} {Path(at.filename).name}:{at.lineno} {kind_of(str(error))[:80]}"
