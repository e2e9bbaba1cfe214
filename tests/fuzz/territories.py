"""Every territory of bad input, and its share of all that is fired."""

from __future__ import annotations

from collections.abc import Callable

from territory import Territory
from territory_files import Profiles, SiteFiles
from territory_sysfs import SysfsTexts
from territory_times import Times

_ALL: list[tuple[type[Territory], float]] = [
    (SysfsTexts, 30),
    (Times, 20),
    (SiteFiles, 10),
    (Profiles, 10),
]

BY_NAME: dict[str, Callable[[], Territory]] = {kind.name: kind for kind, _ in _ALL}
SHARES: dict[str, float] = {kind.name: share for kind, share in _ALL}
