"""Whether what hung on one supply circuit ever added up to more than its limit."""

from __future__ import annotations

from collections.abc import Iterator

from fermd.control.settings import SiteSettings
from fermd.review.violation import Row, Violation

ROUNDING_A = 1e-9


class CircuitReplay:
    """All outputs of the site, and the circuits that they hang on."""

    def __init__(self, settings: SiteSettings) -> None:
        self._on: set[tuple[str, str]] = set()
        self.adopt(settings)

    def adopt(self, settings: SiteSettings) -> None:
        """Go on by other numbers; what is on then may stay on, but nothing more may start."""
        self._limits_a = {circuit.name: circuit.limit_a for circuit in settings.circuits}
        self._rated = {
            (chamber.name, output.name): (output.circuit, output.rated_a)
            for chamber in settings.chambers
            for output in chamber.outputs
            if output.circuit in self._limits_a
        }

    def daemon(self, row: Row) -> None:
        """What was on when a daemon started is off by then."""
        if row["change"] == "started":
            self._on.clear()

    def output(self, row: Row) -> Iterator[Violation]:
        """Take a switching."""
        key = (row["chamber"], row["output"])
        if not row["is_on"]:
            self._on.discard(key)
            return
        self._on.add(key)
        if key not in self._rated:
            return
        circuit = self._rated[key][0]
        shares = (self._rated[one] for one in self._on if one in self._rated)
        drawn_a = sum(a for other, a in shares if other == circuit)
        limit_a = self._limits_a[circuit or ""]
        if drawn_a > limit_a + ROUNDING_A:
            detail = f"{circuit} carries {drawn_a:g} A, not {limit_a:g} A"
            yield Violation(row["seq"], row["chamber"], "supply limit", detail)
