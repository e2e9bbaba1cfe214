"""Whether an output went on that plainly had no effect, judged from the readings alone.

More lenient than the watcher in charge by a margin, some patience, and the sample periods that it
takes until a reading is believed: raw readings are noisier and earlier than what it works with.
What is found here should have been found there long before.
"""

from __future__ import annotations

from fermd.control.settings import Duty, OutputSettings
from fermd.review.reading_replay import ReadingReplay
from fermd.review.violation import Row

MARGIN_C = 0.3
"""Five steps of a 12-bit probe, °C."""

PATIENCE = 0.25
"""Share of the time allowed for an effect that is given on top: the watcher goes by what it takes
the beer to be, which follows the probe late where that is taped to the wall."""

DRIVING_DIFFERENCE_C = 0.7
"""Air colder (or warmer) than the beer by this, °C, may show an effect: not clearly less."""


class EffectReplay:
    """One run of one output."""

    def __init__(self, output: OutputSettings, sample_period_s: float) -> None:
        self._settings = output.effect
        self._duty = output.duty
        self._period_s = sample_period_s
        self._best: tuple[float, float] | None = None
        """The furthest that the temperature came in the output's direction, °C, and when, s."""
        self._worst_c = 0.0
        self._wrong_since_s: float | None = None
        """Since when every reading has been too far the wrong way, s."""

    def adopt(self, output: OutputSettings) -> None:
        """Go on by other numbers; the watcher in charge begins anew with them, too."""
        self._settings = output.effect
        self.start()

    def start(self) -> None:
        """A new run."""
        self._best = None

    def waited_s(self, row: Row) -> float:
        """For how long there has been no progress, s."""
        return 0.0 if self._best is None else row["t_s"] - self._best[1]

    def reading(self, row: Row, readings: ReadingReplay) -> bool:
        """Take a reading while the output is on; True if it must have been off by now."""
        by_air = self._duty is Duty.COOL and readings.air is not None
        watched = readings.air if by_air else readings.vessel
        temp_c = row["temp_c"]
        if watched is None or temp_c is None or row["probe"] != watched.settings.name:
            return False
        if not watched.trusted:
            # Nobody could see it: what it reads once it is believed again is news.
            self._wrong_since_s = None
            return False
        if self._best is None or self._drives(readings):
            self._begin(temp_c, row)
            return False
        sign = 1.0 if self._duty is Duty.HEAT else -1.0
        moved_c = sign * (temp_c - self._best[0])
        turned_c = sign * (temp_c - self._worst_c)
        if moved_c > 0 or turned_c >= self._settings.wrong_way_c / 2:
            self._begin(temp_c, row)
            return False
        if turned_c < 0:
            self._worst_c = temp_c
        if moved_c > -self._settings.wrong_way_c - MARGIN_C:
            self._wrong_since_s = None
            return False
        if self._wrong_since_s is None:
            self._wrong_since_s = row["t_s"]
        probe = watched.settings
        slack_s = (2 + max(probe.median_of, probe.bad_run)) * self._period_s
        allowed_s = (1.0 + PATIENCE) * self._settings.within_s
        late = self.waited_s(row) > allowed_s + slack_s
        return late and row["t_s"] - self._wrong_since_s > slack_s

    def _begin(self, temp_c: float, row: Row) -> None:
        self._best, self._worst_c = (temp_c, row["t_s"]), temp_c
        self._wrong_since_s = None

    def _drives(self, readings: ReadingReplay) -> bool:
        if readings.air is None or not readings.air.newest_c or not readings.vessel.newest_c:
            return False
        sign = 1.0 if self._duty is Duty.HEAT else -1.0
        difference_c = readings.air.newest_c[-1] - readings.vessel.newest_c[-1]
        return sign * difference_c >= DRIVING_DIFFERENCE_C
