"""A witness to a probe: what the chamber trusts, held against the samples that came in."""

from __future__ import annotations

from chamber_witness import ViolatedError

from fermd.control.reading import Reading, Sample, Trusted
from fermd.control.settings import ProbeSettings

TINY_S = 1e-6


class ProbeWitness:
    """Follows one probe through one process."""

    def __init__(self, settings: ProbeSettings) -> None:
        self.settings = settings
        self.plain: list[tuple[float, float]] = []
        """The newest samples within the probe's range: when, and calibrated °C."""
        self.bad_in_row = 0
        self.good_in_row = 0
        self.trusted = False

    def sees(self, mono_s: float, samples: tuple[Sample, ...], seen: Reading) -> None:
        """Take in a tick."""
        lost = False
        for sample in samples:
            temp_c = sample.temp_c
            good = temp_c is not None and (
                self.settings.lowest_c <= temp_c <= self.settings.highest_c
            )
            self.bad_in_row = 0 if good else self.bad_in_row + 1
            self.good_in_row = self.good_in_row + 1 if good else 0
            lost = lost or self.bad_in_row >= self.settings.bad_run
            if temp_c is not None and good:
                calibrated_c = temp_c + self.settings.offset_c
                self.plain = [*self.plain, (sample.taken_mono_s, calibrated_c)][-40:]
        if isinstance(seen, Trusted):
            self._may_be_trusted(mono_s, seen, lost=lost)
        self.trusted = isinstance(seen, Trusted)

    def _may_be_trusted(self, mono_s: float, seen: Trusted, *, lost: bool) -> None:
        if mono_s - seen.taken_mono_s > self.settings.stale_s + TINY_S:
            raise ViolatedError("stale", f"a reading {mono_s - seen.taken_mono_s} s old is trusted")
        if all(taken_s != seen.taken_mono_s for taken_s, _ in self.plain):
            raise ViolatedError("trust", "a reading is trusted that no good sample stands behind")
        if lost and self.good_in_row < self.settings.good_run:
            raise ViolatedError("trust", f"trusted after {self.bad_in_row} bad samples")
        if not self.trusted and self.good_in_row < self.settings.good_run:
            raise ViolatedError("trust", f"trusted again after {self.good_in_row} good samples")
        near_c = [temp_c for _, temp_c in self.plain]
        if not min(near_c) <= seen.temp_c <= max(near_c):
            raise ViolatedError("trust", f"{seen.temp_c} °C is trusted, and was never measured")
