"""Whether what hung on one supply circuit ever added up to more than its limit."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from fermd.control.settings import SiteSettings
from fermd.review.violation import Row, Violation

ROUNDING_A = 1e-9


def overloads(rows: Iterable[Row], settings: SiteSettings) -> Iterator[Violation]:
    """Follow all outputs of the site; what was on when a daemon started is off by then."""
    limits_a = {circuit.name: circuit.limit_a for circuit in settings.circuits}
    rated = {
        (chamber.name, output.name): (output.circuit, output.rated_a)
        for chamber in settings.chambers
        for output in chamber.outputs
        if output.circuit in limits_a
    }
    if not rated:
        return
    on: set[tuple[str, str]] = set()
    for row in rows:
        key = (row["chamber"], row["output"])
        if row["what"] == "daemon" and row["change"] == "started":
            on.clear()
        elif row["what"] != "output" or key not in rated:
            continue
        elif not row["is_on"]:
            on.discard(key)
        else:
            on.add(key)
            circuit = rated[key][0]
            drawn_a = sum(a for other, a in (rated[one] for one in on) if other == circuit)
            limit_a = limits_a[circuit or ""]
            if drawn_a > limit_a + ROUNDING_A:
                detail = f"{circuit} carries {drawn_a:g} A, not {limit_a:g} A"
                yield Violation(row["seq"], row["chamber"], "supply limit", detail)
