"""Mends a journal: what was set aside of it, and what is damaged in it, becomes one record again.

When the daemon finds its file damaged it sets it aside and begins a new one, because control cannot
wait. Here, with the daemon stopped, both are carried over into one new file, the oldest first. The
files that it was made from are kept under another name, and nothing is taken from them twice.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from contextlib import closing
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from fermd.journal.backup import to_disk
from fermd.journal.checking import full_check
from fermd.journal.errors import JournalError
from fermd.journal.opening import set_aside
from fermd.journal.readonly import connect_to_read
from fermd.journal.restoring import like_before
from fermd.journal.salvage import Carried, salvage
from fermd.journal.schema import KNOWN_VERSION, version_of


class RepairFailed(Exception):  # noqa: N818 - reads as what it says
    """Nothing was changed; the text names the file, the cause and what to do."""


@dataclass(frozen=True, slots=True)
class Repaired:
    """What came of it."""

    journal: Path
    carried: tuple[Carried, ...]
    kept: tuple[Path, ...]
    """Where the files are now that it was made from."""


def files_of(journal: Path) -> list[Path]:
    """What was set aside of a journal, the oldest first, and the journal itself. Raises OSError."""
    aside = [
        path
        for path in journal.parent.glob(f"{journal.name}.set-aside-*")
        if not path.name.endswith(("-wal", "-shm"))
        and _KEPT not in path.name
        and path.stat().st_size > 0
    ]
    # By the time in the name, and by the number behind it.
    aside.sort(key=lambda path: (path.name[: len(journal.name) + 26], len(path.name), path.name))
    return [*aside, *([journal] if journal.exists() else [])]


def faults_of(path: Path) -> list[str]:
    """What is wrong with a file; empty for a sound journal."""
    try:
        return full_check(path)
    except (sqlite3.Error, OSError) as error:
        return [(str(error).splitlines() or ["?"])[0]]


def carry_into(sources: Sequence[Path], target: Path) -> list[Carried]:
    """Carry everything readable over into a new file. Raises RepairFailed, and makes none then."""
    for source in sources:
        if (version := _version(source)) > KNOWN_VERSION:
            raise RepairFailed(
                f"{source}: was made by a newer fermd (schema version {version}); install that one"
            )
    part = target.with_name(target.name + ".part")
    try:
        if target.exists():
            raise RepairFailed(f"{target}: is there already; name another file")
        part.unlink(missing_ok=True)
        carried = salvage(sources, part)
        part.replace(target)
    except sqlite3.Error as error:
        raise RepairFailed(f"{target}: {error}; see that its folder has room") from error
    except OSError as error:
        where = error.filename or target
        raise RepairFailed(f"{where}: {error.strerror}; see that its folder has room") from error
    finally:
        for suffix in ("", "-wal", "-journal", "-shm"):
            part.with_name(part.name + suffix).unlink(missing_ok=True)
    return carried


def repair(journal: Path, wall_utc_s: float) -> Repaired:
    """Put one sound journal in the place of what there is; `wall_utc_s` names what is kept.

    Ended in the middle, it begins anew the next time: while a file of the name `.repaired-...` is
    there, what was already renamed is named as before again.

    To be called by whoever holds the lock on the hardware. Raises RepairFailed.
    """
    try:
        _take_back_unfinished(journal)
        sources = files_of(journal)
        stamp = _free_stamp(journal, wall_utc_s)
        ready = journal.with_name(f"{journal.name}{_READY}{stamp}")
        carried = carry_into(sources, ready)
        like_before(journal, ready)
        kept = [_keep(source, stamp) for source in sources]
        ready.replace(journal)
        to_disk(journal.parent)
    except OSError as error:
        raise RepairFailed(f"{error.filename or journal}: {error.strerror}") from error
    except JournalError as error:
        raise RepairFailed(str(error)) from error
    return Repaired(journal, tuple(carried), tuple(kept))


_READY, _KEPT = ".repaired-", ".carried-over-"


def _keep(source: Path, stamp: str) -> Path:
    kept_as = source.with_name(f"{source.name}{_KEPT}{stamp}")
    for suffix in ("-shm", "-wal", ""):
        if (one := source.with_name(source.name + suffix)).exists():
            one.rename(kept_as.with_name(kept_as.name + suffix))
    to_disk(source.parent)
    return kept_as


def _take_back_unfinished(journal: Path) -> None:
    for ready in journal.parent.glob(f"{journal.name}{_READY}*"):
        if ready.name.endswith(".part"):
            continue
        ending = _KEPT + ready.name.removeprefix(journal.name + _READY)
        for kept in journal.parent.glob(f"{journal.name}*{ending}*"):
            before = kept.with_name(kept.name.replace(ending, "", 1))
            # A daemon that was started in between has begun a new journal: that goes first.
            if before.exists() and before == journal:
                set_aside(journal, journal.stat().st_mtime)
            kept.rename(before)
        to_disk(journal.parent)
        ready.unlink()


def _free_stamp(journal: Path, wall_utc_s: float) -> str:
    at = datetime.fromtimestamp(max(0.0, wall_utc_s), UTC).strftime("%Y%m%dT%H%M%S")
    number, stamp = 1, at
    while list(journal.parent.glob(f"{journal.name}*-{stamp}*")):
        number += 1
        stamp = f"{at}x{number}"
    return stamp


def _version(path: Path) -> int:
    try:
        with closing(connect_to_read(path)) as connection:
            return version_of(connection)
    except (sqlite3.Error, OSError):
        return 0
