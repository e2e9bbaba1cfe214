"""Whether every switching of a chamber's outputs was allowed, and every run ended in time."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

from fermd.control.reasons import Rule
from fermd.control.settings import HOUR_S, ChamberSettings, Duty, OutputSettings
from fermd.review.effect_replay import EffectReplay
from fermd.review.output_reasons import AT_ONCE, objections
from fermd.review.reading_replay import ReadingReplay, Seen
from fermd.review.unattended import Unattended
from fermd.review.violation import ROUNDING_S, Row, Violation


@dataclass(slots=True)
class _Line:
    """One output as the rows tell it."""

    settings: OutputSettings
    effect: EffectReplay
    on: bool | None = False
    """None: rows were lost, and it is not known."""
    started_s: float | None = None
    stopped_s: float | None = None
    locked_until_s: float = float("-inf")
    """By the power-up delay, or by a rest."""
    starts_s: list[float] = field(default_factory=list)
    """The starts of the last hour; what is not known of them counts as the worst."""
    last_start_s: float | None = None
    told: set[str] = field(default_factory=set)
    """What was said of the present run already."""


class OutputReplay:
    """The outputs of one chamber."""

    def __init__(
        self,
        chamber: ChamberSettings,
        readings: ReadingReplay,
        unattended: Unattended,
        sample_period_s: float,
    ) -> None:
        self._chamber = chamber
        self._unattended = unattended
        self._readings = readings
        self._period_s = sample_period_s
        self._lines = {
            output.name: _Line(output, EffectReplay(output, sample_period_s))
            for output in chamber.outputs
        }
        self._boot: int | None = None
        self._ended_cleanly = False
        self._adopted_s = float("-inf")

    def adopt(self, chamber: ChamberSettings, t_s: float) -> None:
        """Go on by other numbers, from a site file that was read again at this time."""
        self._chamber, self._adopted_s = chamber, t_s
        for output in chamber.outputs:
            line = self._lines.get(output.name)
            if line is not None:
                line.settings = output
                line.effect.adopt(output)

    def output(self, row: Row) -> Iterator[Violation]:
        """Take a switching."""
        line = self._lines.get(row["output"])
        if line is None or line.settings.duty.value != row["duty"]:
            yield self._broken(row, "every output is one of the site", row["output"])
            return
        on = bool(row["is_on"])
        if on == line.on:
            detail = f"{row['output']} was {'on' if on else 'off'} already"
            yield self._broken(row, "every change is a change", detail)
        for promise, detail in objections(row, line.settings.duty, self._readings):
            yield self._broken(row, promise, detail)
        if on:
            yield from self._start(row, line)
        else:
            yield from self._stop(row, line)

    def daemon(self, row: Row) -> Iterator[Violation]:
        """Take a start or a stop of the daemon."""
        if row["change"] == "continued":
            self.lose_track()
            return
        for line in self._lines.values():
            if line.on:
                promise = f"off when the daemon {row['change']}"
                yield self._broken(row, promise, f"{line.settings.name} is on")
                line.on = False
        if row["change"] == "started":
            if row["boot"] != self._boot or not self._ended_cleanly:
                self._forget_past(row["t_s"], same_boot=row["boot"] == self._boot)
            self._boot = row["boot"]
        self._ended_cleanly = row["change"] == "stopped" and row["cleanly"] == 1

    def lose_track(self) -> None:
        """Rows were lost: nothing is known of the outputs until they are switched again."""
        for line in self._lines.values():
            line.on = line.started_s = line.stopped_s = None

    def reading(self, row: Row) -> Iterator[Violation]:
        """See what a reading means for what is on, once somebody has seen it."""
        if self._unattended.is_on(row["t_s"]):
            for line in self._lines.values():
                line.effect.start()
            return
        for line in self._lines.values():
            duty = line.settings.duty
            if not line.on or duty is Duty.FAN:
                continue
            promise = self._readings.beyond(duty, row["t_s"])
            if promise is not None:
                yield from self._once(row, line, promise, "it is still on")
            yield from self._see_blind(row, line)
            if line.effect.reading(row, self._readings):
                detail = f"it moved the wrong way for {line.effect.waited_s(row):.0f} s"
                yield from self._once(row, line, "off without effect", detail)

    def pass_time(self, row: Row) -> Iterator[Violation]:
        """See what is on for too long, or without a probe that it needs."""
        for line in self._lines.values():
            if not line.on:
                continue
            if line.started_s is not None and row["certainty"] != "presumed":
                ran_s = row["t_s"] - line.started_s
                longest_s = line.settings.protection.longest_run_s
                # A run that other numbers make too long is ended by the next tick.
                due_s = max(line.started_s + longest_s, self._adopted_s, self._unattended.until_s)
                over_s = row["t_s"] - due_s
                if over_s > self._period_s + ROUNDING_S:
                    yield from self._once(
                        row, line, "longest run", f"{ran_s:.0f} s, not {longest_s:g} s"
                    )
            if row["what"] != "daemon" and row["certainty"] != "presumed":
                yield from self._see_trust(row, line)

    def _see_trust(self, row: Row, line: _Line) -> Iterator[Violation]:
        """A probe that has lost trust has switched off, in the same tick, what needs it."""
        for seen in self._needs(line.settings.duty):
            if not seen.trusted and row["t_s"] > seen.untrusted_since_s + ROUNDING_S:
                detail = f"probe {seen.settings.name} is not trusted"
                yield from self._once(row, line, "fail-safe", detail)

    def _see_blind(self, row: Row, line: _Line) -> Iterator[Violation]:
        for seen in self._needs(line.settings.duty):
            if self._readings.blind_to(seen, row["t_s"]):
                detail = f"no good reading of {seen.settings.name} within its stale limit"
                yield from self._once(row, line, "fail-safe", detail)

    def _needs(self, duty: Duty) -> list[Seen]:
        """The probes without which this output must be off."""
        if duty is Duty.FAN:
            return []
        needed = [] if self._chamber.fail_safe.duty is duty else [self._readings.vessel]
        if self._readings.air is not None and not self._chamber.limits.carry_on_without_air:
            needed.append(self._readings.air)
        return needed

    def _start(self, row: Row, line: _Line) -> Iterator[Violation]:
        protection, t_s = line.settings.protection, row["t_s"]
        if line.stopped_s is not None:
            off_s = t_s - line.stopped_s
            if off_s < protection.minimum_off_s - ROUNDING_S:
                detail = f"{off_s:.1f} s, not {protection.minimum_off_s:g} s"
                yield self._broken(row, "minimum off time", detail)
        if t_s < line.locked_until_s - ROUNDING_S:
            left_s = line.locked_until_s - t_s
            yield self._broken(row, "rest and power-up delay", f"{left_s:.1f} s too early")
        apart_s = protection.minimum_off_s + protection.minimum_run_s
        if line.last_start_s is not None and t_s - line.last_start_s < apart_s - ROUNDING_S:
            detail = f"{t_s - line.last_start_s:.1f} s, not {apart_s:g} s"
            yield self._broken(row, "start to start", detail)
        line.starts_s = [start for start in line.starts_s if t_s - start < HOUR_S - ROUNDING_S]
        line.starts_s.append(t_s)
        line.last_start_s = t_s
        allowed = protection.starts_per_hour
        if allowed and len(line.starts_s) > allowed:
            yield self._broken(row, "starts per hour", f"{len(line.starts_s)}, not {allowed}")
        yield from self._changeover(row, line)
        line.on, line.started_s = True, t_s
        line.told.clear()
        line.effect.start()
        for seen in self._needs(line.settings.duty):
            if not seen.trusted:
                detail = f"probe {seen.settings.name} is not trusted"
                yield from self._once(row, line, "fail-safe", detail)
        promise = self._readings.beyond(line.settings.duty, t_s)
        if promise is not None:
            yield from self._once(row, line, promise, f"{row['output']} starts")

    def _changeover(self, row: Row, line: _Line) -> Iterator[Violation]:
        if line.settings.duty is Duty.FAN:
            return
        for other in self._lines.values():
            if other is line or other.settings.duty is Duty.FAN:
                continue
            if other.on:
                yield self._broken(row, "heat and cooling never together", row["output"])
            elif other.stopped_s is not None:
                gap_s = row["t_s"] - other.stopped_s
                if gap_s < self._chamber.changeover_s - ROUNDING_S:
                    detail = f"{gap_s:.1f} s, not {self._chamber.changeover_s:g} s"
                    yield self._broken(row, "changeover delay", detail)

    def _stop(self, row: Row, line: _Line) -> Iterator[Violation]:
        protection, rule, t_s = line.settings.protection, row["reason_rule"], row["t_s"]
        if line.started_s is not None and rule not in AT_ONCE:
            ran_s = t_s - line.started_s
            if ran_s < protection.minimum_run_s - ROUNDING_S:
                detail = f"{ran_s:.1f} s, not {protection.minimum_run_s:g} s"
                yield self._broken(row, "minimum run time", detail)
        if rule in (Rule.LONGEST_RUN, Rule.NO_EFFECT):
            line.locked_until_s = t_s + protection.rest_s - 2 * self._period_s
        line.on, line.stopped_s, line.started_s = False, t_s, None

    def _forget_past(self, t_s: float, *, same_boot: bool) -> None:
        """What is not known counts as stopped just now; without power everything has rested."""
        for line in self._lines.values():
            line.on, line.stopped_s = False, t_s
            self._count_worst(line, t_s)
            powered_up_s = t_s + line.settings.protection.power_up_delay_s
            resting_s = line.locked_until_s if same_boot else t_s
            line.locked_until_s = max(resting_s, powered_up_s)

    @staticmethod
    def _count_worst(line: _Line, t_s: float) -> None:
        """Count as many starts as were allowed, each as late as it could have been.

        The true ones, known or not, each came no later than its like among these.
        """
        protection = line.settings.protection
        apart_s = protection.minimum_off_s + protection.minimum_run_s
        line.starts_s = [
            t_s - apart_s * start for start in range(protection.starts_per_hour - 1, -1, -1)
        ]
        line.last_start_s = t_s if line.starts_s else None

    def _once(self, row: Row, line: _Line, promise: str, detail: str) -> Iterator[Violation]:
        if promise not in line.told:
            line.told.add(promise)
            yield self._broken(row, promise, f"{line.settings.name}: {detail}")

    def _broken(self, row: Row, promise: str, detail: str) -> Violation:
        return Violation(row["seq"], self._chamber.name, promise, detail)
