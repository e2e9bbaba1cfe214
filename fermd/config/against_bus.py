"""The probes of a site file held against those that the bus shows."""

from __future__ import annotations

import difflib
from collections.abc import Sequence

from fermd.config.errors import Fault, any_of
from fermd.config.site import SiteFile


def check_against_bus(site: SiteFile, listed_ids: Sequence[str]) -> tuple[Fault, ...]:
    """A fault for each probe of the site that is not among the ids that the bus lists."""
    unnamed = sorted(set(listed_ids) - set(site.probe_ids.values()))
    return tuple(
        Fault(f"probe.{name}.id", probe_id, f"is not on the bus; {_remedy(probe_id, listed_ids)}")
        if not unnamed
        else Fault(
            f"probe.{name}.id",
            probe_id,
            f"is not on the bus; on it, and without a name in the file: "
            f"{_listed(unnamed, probe_id)}",
        )
        for name, probe_id in site.probe_ids.items()
        if probe_id not in listed_ids
    )


def _remedy(probe_id: str, listed_ids: Sequence[str]) -> str:
    if not listed_ids:
        return (
            "the bus shows no probe at all: check that 1-Wire is switched on "
            "(dtoverlay=w1-gpio), the pull-up of 4.7 kΩ, and the wiring"
        )
    shown = any_of(sorted(listed_ids))
    return f"it shows {shown}, all of which have names: check the wiring of {any_of([probe_id])}"


def _listed(unnamed: Sequence[str], probe_id: str) -> str:
    """The nearest first: a slip of the pen is likelier than another probe."""
    by_likeness = sorted(
        unnamed, key=lambda other: -difflib.SequenceMatcher(None, probe_id, other).ratio()
    )
    return any_of(by_likeness)
