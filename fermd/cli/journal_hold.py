"""Holding a journal for a command that changes its file: no daemon may have it open meanwhile."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from typing import TYPE_CHECKING

from fermd.cli.exits import Failure

if TYPE_CHECKING:
    from fermd.cli.journal_place import Place


@contextlib.contextmanager
def held(place: Place) -> Iterator[None]:
    """Take the locks that a daemon would take; raises Failure if one has them, and says who."""
    from fermd.service.hold import lock_path
    from fermd.service.ownership import LOCK_NAME, Ownership, OwnershipError

    paths = [place.journal.absolute().parent / LOCK_NAME]
    if place.site is not None and lock_path(place.site).parent.is_dir():
        paths.append(lock_path(place.site))
    with contextlib.ExitStack() as stack:
        try:
            for path in dict.fromkeys(paths):
                stack.enter_context(Ownership(path))
        except OwnershipError as error:
            raise Failure(str(error), error.exit_code) from error
        yield
