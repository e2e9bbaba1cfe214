"""The first and the last bucket of each boot, found without a look at those in between.

Buckets lie boot by boot and probe by probe (see schema.py), so that each probe's ends are found by
its key: a year has a million minutes.
"""

from __future__ import annotations

from typing import Literal

from sqlite_utils import Database

End = Literal["min", "max"]


def ends_by_boot(db: Database, table: str, end: End) -> dict[int, float]:
    """The start of each boot's first (`min`) or last (`max`) bucket, on its own clock (s).

    Boots of which the table has nothing are left out.
    """
    found = db.execute(
        f"SELECT boot, {end}(of_probe_s) FROM (SELECT boot, "  # noqa: S608 - constants
        f"(SELECT {end}(start_mono_s) FROM {table} WHERE boot = boots.boot "
        "AND probe_key = probes.probe_key) AS of_probe_s FROM boots CROSS JOIN probes) "
        "WHERE of_probe_s IS NOT NULL GROUP BY boot"
    )
    return {boot: float(start_s) for boot, start_s in found}
