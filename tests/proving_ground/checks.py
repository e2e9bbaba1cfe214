"""All invariants of one world that is over."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from tempfile import TemporaryDirectory

from journal_checks import broken_in_journal
from progress_checks import broken_progress
from relay_checks import broken_by_relays
from truth import Broken
from world import World
from world_run import Outcome, live

IN_MEMORY = Path("/dev/shm")  # noqa: S108 - the folder in it has a name of its own
"""A disk in memory, where there is one: a world commits as often as a year of brewing."""


def broken_promises(outcome: Outcome) -> list[Broken]:
    """Hold a world against every invariant; an empty list is as it should be."""
    return [
        *outcome.truth.broken,
        *broken_by_relays(outcome),
        *broken_in_journal(outcome),
        *broken_progress(outcome),
    ]


def prove(world: World) -> tuple[Outcome, Sequence[Broken]]:
    """Live through a world in a folder that is gone afterwards, and hold it against everything."""
    where = IN_MEMORY if IN_MEMORY.is_dir() else None
    with TemporaryDirectory(prefix="proving-", dir=where) as folder:
        outcome = live(world, Path(folder))
        return outcome, broken_promises(outcome)
