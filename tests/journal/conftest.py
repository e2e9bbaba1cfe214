"""A journal in a real file, opened and closed."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
import whole_record
from journal_bench import IMPATIENT, at

from fermd.control.moment import Moment
from fermd.journal.writer import SqliteJournal


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "journal.sqlite"


@pytest.fixture(scope="session")
def _record_once(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("record") / "journal.sqlite"
    whole_record.write(made)
    return made


@pytest.fixture
def record(path: Path, _record_once: Path) -> Path:
    """A copy of a record with something in every table."""
    path.write_bytes(_record_once.read_bytes())
    return path


@pytest.fixture
def begin(path: Path) -> Iterator[Callable[..., SqliteJournal]]:
    """Opens journals, and closes those that the test leaves open."""
    opened: list[SqliteJournal] = []

    def open_one(
        *, boot_id: str = "first-boot", moment: Moment | None = None, **options: Any
    ) -> SqliteJournal:
        options.setdefault("settings", IMPATIENT)
        where = options.pop("path", path)
        journal = SqliteJournal(
            where, boot_id=boot_id, moment=moment or at(0.0), version="1.0", **options
        )
        opened.append(journal)
        return journal

    yield open_one
    for journal in opened:
        journal.close(at(1e6), cleanly=True)
