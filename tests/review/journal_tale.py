"""A hand-made journal: what happened, moment by moment, written through the real writer.

One chamber with a fridge (off for 300 s, runs for 180 s, six starts an hour, at most 8 h) and a
heat belt (30 s either way), changeover 600 s, a vessel and an air probe, read every 10 s. A tale
begins with a daemon that starts and probes that earn their trust.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from fermd.config.site import SiteFile
from fermd.config.site_file import parse_site
from fermd.control.events import (
    AlarmChanged,
    AlarmPhase,
    Event,
    GapSeen,
    OutputChanged,
    TrustChanged,
)
from fermd.control.moment import Moment
from fermd.control.reading import ProbeFault
from fermd.control.reasons import Reason, Rule
from fermd.control.settings import Duty
from fermd.journal.ports import ReadingRow
from fermd.journal.settings import JournalSettings
from fermd.journal.writer import SqliteJournal

WALL_S = 1_790_000_000.0
"""Some day in 2026."""

QUICK = JournalSettings(batch_s=3600.0, linger_s=0.0)
PERIOD_S = 10.0

WORST_PAST_S = 3600.0 - 5 * 480.0
"""Six starts an hour, each as late as 300 s off and 180 s of running allow: so long after an
unknown past until the first of them is an hour old, s."""

SITE = """\
time_zone = "Europe/Berlin"

[probe.vessel]
id = "28-000006b67845"

[probe.air]
id = "28-0000071a2b3c"

[circuit.garage]
limit_a = 1.0

[output.fridge]
gpio = 17
active = "low"
duty = "cool"
circuit = "garage"
rated_a = 0.8

[output.belt]
gpio = 27
active = "low"
duty = "heat"
circuit = "garage"
rated_a = 0.3

[chamber.lager]
vessel_probe = "vessel"
air_probe = "air"
outputs = ["fridge", "belt"]

[simulated]
"""


def site(text: str = SITE) -> SiteFile:
    return parse_site(text, Path("tale.toml"))


class Tale:
    """Tells rows in the order of time; `at_s` counts from the start of the present boot."""

    def __init__(self, path: Path, chamber: str = "lager", *, rested: bool = False) -> None:
        """`rested`: after an unknown past time passes until it cannot matter any more."""
        self.path = path
        self._rested = rested
        self.chamber = chamber
        self.at_s = 0.0
        self.beer_c = 10.0
        self.air_c: float = 8.0
        self.vessel_reads = self.air_reads = True
        self.wall_offset_s = WALL_S
        self.wall_trusted = True
        self._boot = 0
        self._boot_s = 0.0
        self._journal: SqliteJournal | None = None
        self._ended_cleanly = False
        self.starts()

    # -- the daemon -----------------------------------------------------------------------------

    def starts(
        self, *, new_boot: bool = True, trusted: bool = True, waits_s: float | None = None
    ) -> None:
        """A daemon starts, on a new boot of the board or on the same; `waits_s` before it acts."""
        known = (self._ended_cleanly and not new_boot) or not self._rested
        if new_boot:
            self._boot += 1
            self.wall_offset_s += self.at_s
            self.at_s = 0.0
        self._journal = SqliteJournal(
            self.path,
            boot_id=f"boot-{self._boot}",
            moment=self.now,
            version="tale",
            settings=QUICK,
        )
        if trusted:
            self.trust("vessel", True)
            self.trust("air", True)
        self.at_s += waits_s if waits_s is not None else 0.0 if known else WORST_PAST_S

    def stops(self, *, cleanly: bool = True) -> None:
        self.journal.close(self.now, cleanly=cleanly)
        self._journal = None
        self._ended_cleanly = cleanly

    def is_killed(self) -> None:
        """The daemon is gone without a word: what is written stands, and nothing more comes."""
        assert self.journal.flush()
        writing = self.journal._writing
        with writing.changed:
            writing.pending.take()
        # Closing would note a stop; the thread is ended without it.
        writing.close(cleanly=False)
        self._journal = None
        self._ended_cleanly = False

    def ends(self) -> Path:
        if self._journal is not None:
            self.stops()
        return self.path

    # -- what happens ---------------------------------------------------------------------------

    def passes(self, span_s: float) -> None:
        """Time passes, with a reading of each probe every period."""
        until_s = self.at_s + span_s
        while self.at_s + PERIOD_S <= until_s + 1e-6:
            self.at_s += PERIOD_S
            self.read()
        self.at_s = until_s

    def hangs(self, span_s: float, *, is_a_gap: bool = True, lets_go: str | None = None) -> None:
        """The loop hangs: what is read meanwhile is handed over at its end, and a lease is over."""
        self.passes(span_s)
        if lets_go is not None:
            self.off(lets_go, Rule.LEASE_EXPIRED)
        if is_a_gap:
            self.tell(GapSeen(span_s))

    def read(self) -> None:
        fault = ProbeFault.NO_ANSWER.value
        rows = []
        for probe, temp_c, reads in (
            ("vessel", self.beer_c, self.vessel_reads),
            ("air", self.air_c, self.air_reads),
        ):
            known = (temp_c, None) if reads else (None, fault)
            rows.append(ReadingRow(self.now, self.chamber, probe, *known))
        self.journal.readings(rows)

    def on(self, output: str, rule: Rule | None = None, **numbers: float) -> None:
        cool = output == "fridge"
        rule = rule or (Rule.ABOVE_BAND if cool else Rule.BELOW_BAND)
        limit_c = self.beer_c - 0.1 if cool else self.beer_c + 0.1
        self.switch(output, True, Reason(rule, self.beer_c, limit_c, **numbers))

    def off(self, output: str, rule: Rule = Rule.WITHIN_BAND) -> None:
        self.switch(output, False, Reason(rule, self.beer_c))

    def runs(self, output: str, span_s: float) -> None:
        self.on(output)
        self.passes(span_s)
        self.off(output)

    def switch(self, output: str, on: bool, *reasons: Reason) -> None:
        duty = Duty.COOL if output == "fridge" else Duty.HEAT
        self.tell(OutputChanged(duty, output, f"sim:{output}", on, reasons))

    def trust(self, probe: str, trusted: bool) -> None:
        fault = None if trusted else ProbeFault.NO_ANSWER
        self.tell(TrustChanged(probe, trusted, fault, self.beer_c))

    def alarm(self, kind: str, subject: str, phase: AlarmPhase = AlarmPhase.RAISED) -> None:
        from fermd.control.events import Severity

        self.tell(AlarmChanged(kind, subject, phase, Severity.CRITICAL))

    def tell(self, *events: Event) -> None:
        self.journal.events(self.now, self.chamber, events)

    def say(self, events: Sequence[Event]) -> None:
        self.tell(*events)

    # -- what there is --------------------------------------------------------------------------

    @property
    def journal(self) -> SqliteJournal:
        assert self._journal is not None, "no daemon is running in this tale"
        return self._journal

    @property
    def now(self) -> Moment:
        return Moment(self.at_s, self.wall_offset_s + self.at_s, self.wall_trusted)


def looser(site_file: SiteFile, **changes: float) -> SiteFile:
    """The same site with other numbers for its fridge's protection."""
    chamber = site_file.settings.chambers[0]
    outputs = tuple(
        replace(output, protection=replace(output.protection, **changes))
        if output.name == "fridge"
        else output
        for output in chamber.outputs
    )
    settings = replace(site_file.settings, chambers=(replace(chamber, outputs=outputs),))
    return replace(site_file, settings=settings)
