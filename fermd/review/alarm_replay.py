"""Whether everything that must raise an alarm did: lost probes, longest runs, no effect."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from fermd.control.alarms import RULES, AlarmKind
from fermd.control.chamber import LONGEST_TICK_S
from fermd.control.reasons import Rule
from fermd.control.settings import ChamberSettings
from fermd.review.unattended import Unattended
from fermd.review.violation import ROUNDING_S, Row, Violation

_OF_RULE = {
    Rule.LONGEST_RUN.value: AlarmKind.LONGEST_RUN,
    Rule.NO_EFFECT.value: AlarmKind.NO_EFFECT,
}

_Key = tuple[str, str]
"""An alarm's kind and what it is about."""


@dataclass(frozen=True, slots=True)
class _Demand:
    """An alarm that must be raised from then on."""

    by_s: float
    since: Row


class AlarmReplay:
    """The alarms of one chamber: what was raised, and what had to be."""

    def __init__(
        self, chamber: ChamberSettings, unattended: Unattended, sample_period_s: float
    ) -> None:
        self._chamber = chamber
        self._unattended = unattended
        # The alarm is raised by the tick after its time is over, and a tick may be late.
        self._late_s = sample_period_s + LONGEST_TICK_S
        self._standing: set[_Key] = set()
        self._demands: dict[_Key, _Demand] = {}
        self._kinds = {probe.name: AlarmKind.WATCHING_PROBE_LOST for probe in chamber.probes}
        if chamber.air_probe is not None:
            self._kinds[chamber.air_probe.name] = AlarmKind.AIR_PROBE_LOST
        self._kinds[chamber.vessel_probe.name] = AlarmKind.VESSEL_PROBE_LOST

    def alarm(self, row: Row) -> None:
        """Take note of an alarm that was raised, acknowledged or cleared."""
        key = (row["alarm"], row["subject"])
        if row["phase"] == "cleared":
            self._standing.discard(key)
        else:
            self._standing.add(key)
            self._demands.pop(key, None)

    def trust(self, row: Row) -> None:
        """A probe that is lost must raise its alarm, unless it comes back before that."""
        kind = self._kinds.get(row["probe"])
        if kind is None:
            return
        key = (kind.value, row["probe"])
        if row["trusted"]:
            self._demands.pop(key, None)
        else:
            self._demand(key, RULES[kind].raise_after_s, row)

    def output(self, row: Row) -> None:
        """An output that was ended by its longest run, or for no effect, must raise its alarm."""
        kind = _OF_RULE.get(row["reason_rule"])
        if kind is not None and not row["is_on"]:
            self._demand((kind.value, row["output"]), RULES[kind].raise_after_s, row)

    def daemon(self, row: Row) -> None:
        """Who is not there raises no alarm; a new start begins with what stands."""
        if row["change"] != "continued":
            self._demands.clear()

    def pass_time(self, row: Row) -> Iterator[Violation]:
        """See what should have been raised by now, if somebody was there to raise it."""
        if row["what"] == "daemon" or row["certainty"] == "presumed":
            return
        there_s = row["t_s"] - self._late_s
        for key, demand in list(self._demands.items()):
            if there_s > max(demand.by_s, self._unattended.until_s) + ROUNDING_S:
                del self._demands[key]
                kind, subject = key
                detail = f"no {kind} alarm about {subject}"
                yield Violation(demand.since["seq"], self._chamber.name, "alarm raised", detail)

    def _demand(self, key: _Key, after_s: float, row: Row) -> None:
        if key not in self._standing:
            self._demands.setdefault(key, _Demand(row["t_s"] + after_s, row))
