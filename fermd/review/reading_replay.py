"""What was known of the temperatures at each row: the newest readings, their trust, the limits."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field

from fermd.control.settings import ChamberSettings, Duty, ProbeSettings
from fermd.review.violation import Row

EVIDENCE = 3
"""So many readings of any probe without a good one of this, and it has none: what is missing is
not just missing from the record."""


@dataclass(slots=True)
class Seen:
    """One probe as the rows tell it."""

    settings: ProbeSettings
    trusted: bool = False
    untrusted_since_s: float = 0.0
    newest_c: deque[float] = field(default_factory=deque)
    good_s: float | None = None
    """When the newest good reading was taken."""
    others: int = 0
    """Readings of any probe since."""

    def keeps(self) -> None:
        """Keep as many as may be behind what is believed: bad ones among them are passed over."""
        self.newest_c = deque(self.newest_c, self.settings.median_of + self.settings.bad_run)


class ReadingReplay:
    """The probes of one chamber."""

    def __init__(self, chamber: ChamberSettings, sample_period_s: float) -> None:
        self._limits = chamber.limits
        self._period_s = sample_period_s
        vessel = Seen(chamber.vessel_probe)
        air = Seen(chamber.air_probe) if chamber.air_probe is not None else None
        self.vessel, self.air = vessel, air
        self._probes = [seen for seen in (vessel, air) if seen is not None]
        self._by_name = {seen.settings.name: seen for seen in self._probes}
        for seen in self._probes:
            seen.keeps()
        self._beyond_since_s: dict[tuple[Duty, str], float] = {}

    def adopt(self, chamber: ChamberSettings) -> None:
        """Go on by other numbers, from a site file that was read again."""
        self._limits = chamber.limits
        for probe in chamber.probes:
            if probe.name in self._by_name:
                self._by_name[probe.name].settings = probe
                self._by_name[probe.name].keeps()
        self._beyond_since_s.clear()

    def reading(self, row: Row) -> None:
        """Take a reading, good or not."""
        temp_c, seen = row["temp_c"], self._by_name.get(row["probe"])
        for other in self._probes:
            other.others += 1
        if seen is None or temp_c is None:
            return
        seen.newest_c.append(temp_c)
        seen.good_s, seen.others = row["t_s"], 0
        limits, at_s = self._limits, row["t_s"]
        if seen is self.vessel:
            self._note(Duty.COOL, "freezing margin", temp_c < limits.coldest_beer_c, at_s)
        else:
            self._note(Duty.COOL, "lowest air temperature", temp_c < limits.air_lowest_c, at_s)
            self._note(Duty.HEAT, "highest air temperature", temp_c > limits.air_highest_c, at_s)

    def trust(self, row: Row) -> None:
        """A probe gained or lost trust."""
        seen = self._by_name.get(row["probe"])
        if seen is not None:
            seen.trusted, seen.untrusted_since_s = bool(row["trusted"]), row["t_s"]

    def daemon(self, row: Row) -> None:
        """Trust every probe only once it has been told of: a new daemon knows none."""
        if row["change"] == "started":
            for seen in self._probes:
                seen.trusted, seen.untrusted_since_s = False, row["t_s"]
                seen.newest_c.clear()
                seen.good_s, seen.others = None, 0
            self._beyond_since_s.clear()

    def beyond(self, duty: Duty, t_s: float) -> str | None:
        """Return the limit that was exceeded for longer than it takes to be believed, if any."""
        for (of, promise), since_s in self._beyond_since_s.items():
            probe = self.vessel if promise == "freezing margin" else self.air
            if of is not duty or probe is None or not probe.trusted:
                # What is not believed holds nothing back: blind, it is the fail-safe that counts.
                continue
            if t_s - since_s > self._believed_after_s(probe):
                return promise
        return None

    def are_at_hand(self, t_s: float) -> bool:
        """Whether the record has the vessel's newest readings, none thinned away or lost."""
        good_s = self.vessel.good_s
        return good_s is not None and t_s - good_s <= 2 * self._period_s

    def blind_to(self, probe: Seen, t_s: float) -> bool:
        """Whether the rows show that the probe gave no good reading within its stale limit."""
        if probe.good_s is None or probe.others < EVIDENCE:
            return False
        return t_s - probe.good_s > probe.settings.stale_s + 2 * self._period_s

    def _believed_after_s(self, probe: Seen) -> float:
        """How long a reading beyond a limit may go unheeded, s.

        A run of bad readings is passed over until it is `bad_run` long, and the median follows the
        newest ones; then comes the tick.
        """
        settings = probe.settings
        return (max(settings.bad_run, settings.median_of) + 1) * self._period_s

    def _note(self, duty: Duty, promise: str, beyond: bool, at_s: float) -> None:
        if beyond:
            self._beyond_since_s.setdefault((duty, promise), at_s)
        else:
            self._beyond_since_s.pop((duty, promise), None)
