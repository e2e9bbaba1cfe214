"""A witness to a chamber's relays: keeps its own book and cries out when something must not be.

It knows what was decided (which relays are on, what was told of them) and what the chamber's
readings were, keeps its own true time across boots, and does its own sums. It calls nothing of the
core that it watches.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from fermd.control.alarms import AlarmKind
from fermd.control.decision import Decision
from fermd.control.events import Event, OutputChanged
from fermd.control.reading import ProbeFault, Reading, Trusted, Untrusted
from fermd.control.reasons import Rule
from fermd.control.settings import ChamberSettings, Duty, OutputSettings

NEVER = float("-inf")
TINY_S = 1e-6
"""True times are sums of times in several boots: they carry rounding."""

SAFETY_RULES = {
    Rule.FAIL_SAFE,
    Rule.AIR_LIMIT,
    Rule.AIR_UNKNOWN,
    Rule.FREEZING,
    Rule.LONGEST_RUN,
    Rule.NO_EFFECT,
    Rule.STOPPING,
    Rule.LEASE_EXPIRED,
}


class ViolatedError(AssertionError):
    """Something happened that must never happen; `invariant` names it."""

    def __init__(self, invariant: str, text: str) -> None:
        super().__init__(f"{invariant}: {text}")
        self.invariant = invariant


@dataclass
class Line:
    """The book of one relay, in true time, s."""

    on: bool = False
    started_s: float = NEVER
    stopped_s: float = NEVER
    starts_s: list[float] = field(default_factory=list)
    unknown_since_s: float = NEVER
    """When a process last took over without proof of the past."""
    rest_until_s: float = NEVER
    run: list[tuple[float, float]] = field(default_factory=list)
    """Of the present run since its last progress for good: (time, watched °C)."""
    accused: bool = False
    """Seen to have no effect: must be off at the next tick."""
    doubtful: bool = False
    """The same, or so near to it that rounding decides."""

    def forgets_run(self) -> None:
        """Whoever watched the run starts afresh."""
        self.run, self.accused, self.doubtful = [], False, False


class RelayWitness:
    """Watches one chamber's outputs through ticks and restarts."""

    def __init__(self, settings: ChamberSettings) -> None:
        self.settings = settings
        self.lines = {output.duty: Line() for output in settings.outputs}
        self.lost_since_s: float | None = None
        self.starting_since_s: float | None = None

    def sees(self, true_s: float, mono_s: float, decision: Decision) -> None:
        """Take in a tick."""
        told = self._told(decision.events)
        for decided in decision.outputs:
            line, output = self.lines[decided.duty], self.settings.by_duty[decided.duty]
            change = told.pop(decided.duty, None)
            if decided.on != line.on:
                if change is None or change.on != decided.on:
                    raise ViolatedError("events", f"{decided.duty} switched without an event")
            elif change is not None:
                raise ViolatedError("events", f"{decided.duty} did not switch as told")
            if decided.on and not line.on:
                self._starts(true_s, output, line)
            if line.on and not decided.on and change is not None:
                self._stops(true_s, output, line, decision, change)
        if told:
            raise ViolatedError("events", f"events of outputs that the chamber has not: {told}")
        self._stands(true_s, mono_s, decision)
        self._alarms(true_s, decision)

    def hears(self, true_s: float, events: tuple[Event, ...], duties: set[Duty]) -> None:
        """Relays went off without a decision: a stop, or a lease that ran out."""
        told = self._told(events)
        expected = {duty for duty in duties if self.lines[duty].on}
        if set(told) != expected or any(change.on for change in told.values()):
            raise ViolatedError("events", f"{expected} went off, events tell of {set(told)}")
        for duty in expected:
            self._goes_off(true_s, self.lines[duty])

    def restarts(
        self, true_s: float, settings: ChamberSettings, *, off_s: float | None, rest_kept: bool
    ) -> None:
        """Let a new process take over.

        `off_s` is when what was on fell off, None if all were off by a proven stop.
        """
        self.settings = settings
        self.lost_since_s = self.starting_since_s = None
        for line in self.lines.values():
            if off_s is None:
                if line.on:
                    raise ViolatedError("events", "on after a proven stop")
                continue
            if line.on:
                self._goes_off(off_s, line)
            line.unknown_since_s = true_s
            if not rest_kept:
                line.rest_until_s = NEVER

    def _told(self, events: tuple[Event, ...]) -> dict[Duty, OutputChanged]:
        told: dict[Duty, OutputChanged] = {}
        for event in events:
            if isinstance(event, OutputChanged):
                if event.duty in told or not event.reasons:
                    raise ViolatedError("events", f"told twice, or without a reason: {event}")
                told[event.duty] = event
        return told

    def _starts(self, true_s: float, output: OutputSettings, line: Line) -> None:
        protection = output.protection
        if true_s - line.stopped_s < protection.minimum_off_s - TINY_S:
            raise ViolatedError("minimum off", f"off for {true_s - line.stopped_s} s only")
        apart_s = protection.minimum_off_s + protection.minimum_run_s
        if line.starts_s and true_s - line.starts_s[-1] < apart_s - TINY_S:
            raise ViolatedError("start to start", f"{true_s - line.starts_s[-1]} s apart only")
        if true_s - line.unknown_since_s < protection.power_up_delay_s - TINY_S:
            raise ViolatedError("power-up delay", f"after {true_s - line.unknown_since_s} s")
        line.starts_s.append(true_s)
        within_hour = sum(true_s - start < 3600.0 - TINY_S for start in line.starts_s)
        if protection.starts_per_hour and within_hour > protection.starts_per_hour:
            raise ViolatedError("starts per hour", f"{within_hour} starts within the hour")
        if true_s < line.rest_until_s - TINY_S:
            raise ViolatedError("rest", f"rests for another {line.rest_until_s - true_s} s")
        if output.duty is not Duty.FAN:
            for duty, other in self.lines.items():
                if duty not in (output.duty, Duty.FAN):
                    between_s = true_s - other.stopped_s
                    if between_s < self.settings.changeover_s - TINY_S:
                        raise ViolatedError("changeover", f"{between_s} s after {duty} ended")
        line.on, line.started_s = True, true_s
        line.forgets_run()

    def _stops(
        self,
        true_s: float,
        output: OutputSettings,
        line: Line,
        decision: Decision,
        change: OutputChanged,
    ) -> None:
        ran_s = true_s - line.started_s
        rule = change.reasons[0].rule
        if ran_s < output.protection.minimum_run_s - TINY_S and rule not in SAFETY_RULES:
            raise ViolatedError("minimum run", f"ran for {ran_s} s only, because of {rule}")
        over_long = ran_s >= output.protection.longest_run_s - TINY_S
        accused = {Rule.LONGEST_RUN: over_long, Rule.NO_EFFECT: line.doubtful}
        is_so = accused.get(rule, True) and self._is_so(rule, output.duty, decision)
        if rule in SAFETY_RULES and not is_so:
            raise ViolatedError("reasons", f"{rule} is given as the reason, and is not so")
        if ran_s >= output.protection.longest_run_s + TINY_S:
            line.rest_until_s = true_s + output.protection.rest_s
            if AlarmKind.LONGEST_RUN not in {alarm.kind for alarm in decision.alarms}:
                raise ViolatedError("longest run", "ended without an alarm")
        self._goes_off(true_s, line)

    def _goes_off(self, true_s: float, line: Line) -> None:
        line.on, line.stopped_s = False, true_s
        line.forgets_run()

    def _is_so(self, rule: Rule, duty: Duty, decision: Decision) -> bool:
        limits = self.settings.limits
        vessel_c, air_c = _known(decision.vessel), _known(decision.air)
        if rule is Rule.FAIL_SAFE:
            return vessel_c is None
        if rule is Rule.AIR_UNKNOWN:
            return isinstance(decision.air, Untrusted)
        if rule is Rule.FREEZING:
            return vessel_c is not None and vessel_c <= limits.coldest_beer_c
        if rule is Rule.AIR_LIMIT and air_c is not None:
            return (
                air_c >= limits.air_highest_c
                if duty is Duty.HEAT
                else (air_c <= limits.air_lowest_c)
            )
        return rule in (Rule.LONGEST_RUN, Rule.NO_EFFECT)

    def _stands(self, true_s: float, mono_s: float, decision: Decision) -> None:
        """Whatever led to it: what is on now may be on now."""
        on = {duty for duty, line in self.lines.items() if line.on}
        if {Duty.HEAT, Duty.COOL} <= on:
            raise ViolatedError("never both", "heat and cooling are on together")
        for duty in on:
            line, output = self.lines[duty], self.settings.by_duty[duty]
            if true_s - line.started_s >= output.protection.longest_run_s + TINY_S:
                raise ViolatedError("longest run", f"on for {true_s - line.started_s} s")
            if duty is not Duty.FAN:
                self._may_be_on(true_s, mono_s, duty, line, decision)
                self._has_effect(true_s, duty, line, decision)

    def _may_be_on(
        self, true_s: float, mono_s: float, duty: Duty, line: Line, decision: Decision
    ) -> None:
        limits, vessel_c, air_c = (
            self.settings.limits,
            _known(decision.vessel),
            _known(decision.air),
        )
        if isinstance(decision.vessel, Untrusted):
            self._fail_safe(true_s, mono_s, duty, line, decision.vessel)
        if isinstance(decision.air, Untrusted) and not limits.carry_on_without_air:
            raise ViolatedError("air limits", f"{duty} on without knowing the air")
        if air_c is not None and duty is Duty.HEAT and air_c >= limits.air_highest_c:
            raise ViolatedError("air limits", f"heating in air of {air_c} °C")
        if air_c is not None and duty is Duty.COOL and air_c <= limits.air_lowest_c:
            raise ViolatedError("air limits", f"cooling in air of {air_c} °C")
        coldest_c = limits.freezing_point_c + limits.freezing_margin_c
        if vessel_c is not None and duty is Duty.COOL and vessel_c <= coldest_c:
            raise ViolatedError("freezing margin", f"cooling beer of {vessel_c} °C")

    def _fail_safe(
        self, true_s: float, mono_s: float, duty: Duty, line: Line, vessel: Untrusted
    ) -> None:
        declared = self.settings.fail_safe
        if duty is not declared.duty:
            raise ViolatedError("fail-safe", f"{duty} on without a reading of the vessel")
        into_s = (mono_s - vessel.since_mono_s) % declared.every_s
        may_still_s = self.settings.by_duty[duty].protection.minimum_run_s
        if into_s >= declared.run_s and true_s - line.started_s >= may_still_s:
            raise ViolatedError("fail-safe", f"on {into_s} s into a cycle")

    def _has_effect(self, true_s: float, duty: Duty, line: Line, decision: Decision) -> None:
        if line.accused:
            raise ViolatedError("no effect", f"{duty} on though it was seen to have no effect")
        vessel_c, air_c = _known(decision.vessel), _known(decision.air)
        watched_c = air_c if duty is Duty.COOL and decision.air is not None else vessel_c
        if watched_c is None:
            return
        sign = 1.0 if duty is Duty.HEAT else -1.0
        if vessel_c is not None and air_c is not None and sign * (air_c - vessel_c) >= 1.0:
            line.run = []
        worst_c = min((sign * temp_c for _, temp_c in line.run), default=sign * watched_c)
        if sign * watched_c - worst_c >= self.settings.by_duty[duty].effect.wrong_way_c / 2:
            line.run = []
        line.run.append((true_s, watched_c))
        best_c = max(line.run, key=lambda point: sign * point[1])[1]
        best_s = next(at_s for at_s, temp_c in line.run if temp_c == best_c)
        effect = self.settings.by_duty[duty].effect
        lost_c, waited_s = sign * (best_c - watched_c), true_s - best_s
        wrong_way = lost_c >= effect.wrong_way_c
        line.doubtful = wrong_way and waited_s >= effect.within_s - TINY_S
        if wrong_way and waited_s >= effect.within_s + TINY_S:
            line.accused = True
            protection = self.settings.by_duty[duty].protection
            line.rest_until_s = true_s + protection.rest_s

    def _alarms(self, true_s: float, decision: Decision) -> None:
        standing = {alarm.kind for alarm in decision.alarms}
        for duty, line in self.lines.items():
            if line.accused and AlarmKind.NO_EFFECT not in standing:
                raise ViolatedError("no effect", f"{duty} has no effect, and no alarm says so")
        if isinstance(decision.vessel, Trusted):
            self.lost_since_s = self.starting_since_s = None
            return
        if self.starting_since_s is None:
            self.starting_since_s = true_s
        starting = decision.vessel.fault is ProbeFault.STARTING
        # A probe that has just started may earn its trust first: five minutes, seen at a tick that
        # may be five minutes late.
        if starting and true_s - self.starting_since_s < 600.0:
            self.lost_since_s = None
            return
        if self.lost_since_s is None:
            self.lost_since_s = true_s
        if true_s - self.lost_since_s >= 60.0 and AlarmKind.VESSEL_PROBE_LOST not in standing:
            raise ViolatedError("fail-safe", "the vessel probe is lost, and no alarm says so")


def _known(seen: Reading | None) -> float | None:
    return seen.temp_c if isinstance(seen, Trusted) else None
