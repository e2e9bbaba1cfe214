"""Worlds of the cause finder that were lived through before: kept in a folder, one folder a world.

A world takes half a minute, its review a second: rules for causes are scored on kept worlds. What
is kept is named after all that makes a world, but not after the code that lives in it: after a
change of the daemon, of the plant or of a fault the folder is to be emptied by hand.
"""

from __future__ import annotations

import json
import shutil
from dataclasses import astuple
from hashlib import sha256
from pathlib import Path
from tempfile import TemporaryDirectory

from causes_worlds import Lived, Sample, live_watched
from checks import IN_MEMORY
from script import to_json
from world import World


def lived_once(world: World, kept: Path) -> Lived:
    """Live through a world, unless `kept` has it; either way its journal is in `kept` then."""
    name = f"{world.seed} {world.span_s} {to_json(world.script)}"
    last = world.script[-1].kind.replace(":", "").replace(" ", "-")
    there = kept / f"{world.seed}-{last}-{sha256(name.encode()).hexdigest()[:12]}"
    if not there.is_dir():
        _live_into(world, there)
    end_s, *samples = json.loads((there / "truth.json").read_text(encoding="utf-8"))
    return Lived(
        there / "journal.db", [Sample(*one) for one in samples], world.start_utc_s, float(end_s)
    )


def _live_into(world: World, there: Path) -> None:
    where = IN_MEMORY if IN_MEMORY.is_dir() else None
    with TemporaryDirectory(prefix="causes-", dir=where) as folder:
        lived = live_watched(world, Path(folder))
        half = there.with_name(f"half-{there.name}")
        shutil.rmtree(half, ignore_errors=True)
        half.mkdir(parents=True)
        for path in lived.journal.parent.glob(f"{lived.journal.name}*"):
            if path.is_file():
                shutil.copy(path, half)
    truth = [lived.end_s, *(astuple(one) for one in lived.samples)]
    (half / "truth.json").write_text(json.dumps(truth), encoding="utf-8")
    half.rename(there)
