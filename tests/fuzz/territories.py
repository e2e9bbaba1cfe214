"""Every territory of bad input, and its share of all that is fired."""

from __future__ import annotations

from collections.abc import Callable

from territory import Territory
from territory_arguments import Arguments
from territory_documents import Documents
from territory_files import Profiles, SiteFiles
from territory_journals import Journals
from territory_requests import WholeRequests, WireRequests
from territory_sysfs import SysfsTexts
from territory_times import Times

_ALL: list[tuple[type[Territory], float]] = [
    (SysfsTexts, 18),
    (Times, 40),
    (SiteFiles, 4),
    (Profiles, 12),
    (Documents, 14),
    (Arguments, 1),
    (Journals, 2),
    (WholeRequests, 7),
    (WireRequests, 2),
]

BY_NAME: dict[str, Callable[[], Territory]] = {kind.name: kind for kind, _ in _ALL}
SHARES: dict[str, float] = {kind.name: share for kind, share in _ALL}
