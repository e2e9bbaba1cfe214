"""Words for decisions: the one place that turns reasons and events into what people read.

The page, the command line, the journal's views and the alarms all show these sentences. Numbers
come from the reason; times are told as what is left of them. Temperatures are °C in here; `Unit`
converts at this edge for readers of °F.
"""

from __future__ import annotations

from fermd.control.alarms import Alarm, AlarmKind
from fermd.control.bands import Call
from fermd.control.decision import Decision, Mode, OutputDecision
from fermd.control.events import (
    AlarmChanged,
    AlarmPhase,
    CommandAnswered,
    Event,
    GapSeen,
    OutageSeen,
    OutputChanged,
    ProfileChanged,
    StepChange,
    StepChanged,
    TargetChanged,
    TrustChanged,
)
from fermd.control.knowledge import Knowledge, KnownSide
from fermd.control.reading import ProbeFault, Reading, Trusted
from fermd.control.reasons import Reason, Rule
from fermd.control.scales import Unit as Unit
from fermd.control.scales import difference as difference
from fermd.control.scales import span as span
from fermd.control.scales import temperature as temperature
from fermd.control.settings import Duty
from fermd.control.steps import Target
from fermd.control.swing import LEAST_DIFFERENCE_C


def reason(why: Reason, mono_s: float, unit: Unit = Unit.CELSIUS) -> str:
    """Say why, as a clause that can follow "because" or stand in brackets."""
    left_s = None if why.until_mono_s is None else why.until_mono_s - mono_s
    words = _REASONS[why.rule]
    return words.format(
        # Two digits: a step of the probe is 0.06 °C, and "at 10.3, above 10.3" explains nothing.
        value="?" if why.value_c is None else temperature(why.value_c, unit, 2),
        limit="?" if why.limit_c is None else temperature(why.limit_c, unit, 2),
        left="some time" if left_s is None else span(left_s),
        number="?" if why.number is None else f"{why.number:g}",
        spanned="?" if why.number is None else span(why.number),
    )


_REASONS: dict[Rule, str] = {
    Rule.ABOVE_BAND: "the beer is at {value}, above {limit}",
    Rule.BELOW_BAND: "the beer is at {value}, below {limit}",
    Rule.WITHIN_BAND: "the beer is within its band at {value}",
    Rule.OPPOSITE_CALLED: "the opposite is called for",
    Rule.COASTS: "the beer coasts from {value} to about {limit}",
    Rule.CALL_CONTINUES: "the beer is at {value} on its way to {limit}",
    Rule.NO_TARGET: "no target is set",
    Rule.OVERRIDE: "set by hand for another {left}",
    Rule.FAIL_SAFE: "fail-safe: the vessel probe cannot be trusted",
    Rule.FAIL_SAFE_CYCLE: "fail-safe: running by the clock, this part for another {left}",
    Rule.RUN_ON: "running on for another {left}",
    Rule.FOLLOWS_CALL: "follows heating and cooling",
    Rule.MINIMUM_OFF: "stays off for another {left} (minimum off time)",
    Rule.START_TO_START: "stays off for another {left} (time between two starts)",
    Rule.POWER_UP: "stays off for another {left} (power-up delay: its past is not known)",
    Rule.STARTS_PER_HOUR: "stays off for another {left} (at most {number} starts per hour)",
    Rule.CHANGEOVER: "stays off for another {left} (changeover delay)",
    Rule.OTHER_RUNNING: "waits for the opposite output to go off",
    Rule.RESTING: "rests for another {left}",
    Rule.SUPPLY_LIMIT: "waits for its supply circuit, which has {number} A left",
    Rule.MINIMUM_RUN: "stays on for another {left} (minimum run time)",
    Rule.LONGEST_RUN: "has run for {spanned} (longest run) and rests for {left}",
    Rule.AIR_LIMIT: "the air is at {value}, its limit is {limit}",
    Rule.AIR_UNKNOWN: "the air probe cannot be trusted, so the air limits cannot be kept",
    Rule.FREEZING: "the beer is at {value}, the coldest allowed is {limit} (freezing margin)",
    Rule.NO_EFFECT: "has had no effect and rests for another {left}",
    Rule.STOPPING: "fermd is stopping",
    Rule.LEASE_EXPIRED: "the loop was late, and the relay let go by itself",
    Rule.RELAY_FAULT: "the relay line could not be driven",
    Rule.UNCLEAN_STOP: "fermd ended without a stop, and the relay was released at the next start",
}

_DUTIES = {Duty.HEAT: "heating", Duty.COOL: "cooling", Duty.FAN: "the fan"}


def output(decided: OutputDecision, mono_s: float, unit: Unit = Unit.CELSIUS) -> str:
    """Say what an output does and why, in one sentence."""
    name = _DUTIES[decided.duty]
    why = reason(decided.reasons[0], mono_s, unit)
    if decided.on and decided.wanted:
        return f"{name} is on: {why}"
    if decided.on:
        return f"{name} is not called for any more; it {why}"
    if not decided.wanted:
        return f"{name} is off: {why}"
    if decided.reasons[0].rule in _CLAUSES:
        return f"{name} is called for but held off: {why}"
    return f"{name} is called for; it {why}"


_CLAUSES = {Rule.FAIL_SAFE, Rule.AIR_LIMIT, Rule.AIR_UNKNOWN, Rule.FREEZING, Rule.STOPPING}
"""Rules whose words are a sentence of their own rather than what the output does."""


def call(decision: Decision, mono_s: float, unit: Unit = Unit.CELSIUS) -> str:
    """Say what is called for and why."""
    what = {
        Call.HEAT: "heat is called for",
        Call.COOL: "cooling is called for",
        Call.IDLE: "nothing is called for",
    }[decision.call]
    words = f"{what}: {reason(decision.call_reason, mono_s, unit)}"
    needed = {Call.HEAT: Duty.HEAT, Call.COOL: Duty.COOL}.get(decision.call)
    if needed is not None and all(output.duty is not needed for output in decision.outputs):
        words += f"; but the chamber has no output for {_DUTIES[needed]}"
    return words


def known_of(chamber: Knowledge, unit: Unit = Unit.CELSIUS) -> list[str]:
    """Say what has been learned of a chamber, a clause each; empty while that is nothing."""
    clauses = [_known_side(side, unit) for side in chamber.sides]
    if chamber.air_share:
        clauses.append(f"the vessel probe sees {chamber.air_share:.0%} of the air")
        if chamber.beer_c is not None:
            clauses[-1] += f"; the beer is at {temperature(chamber.beer_c, unit, 2)}"
    if chamber.time_constant_h is not None:
        clauses.append(f"the beer follows the air within {chamber.time_constant_h:.0f} h")
    if chamber.warms_c_per_h is not None:
        by = difference(chamber.warms_c_per_h * 24.0, unit)
        clauses.append(f"by itself the beer warms by {by} a day")
    return clauses


def _known_side(side: KnownSide, unit: Unit) -> str:
    words = f"after {_DUTIES[side.duty]} the beer goes on by {difference(side.coast_c, unit, 2)}"
    if side.difference_c >= LEAST_DIFFERENCE_C:
        beyond = "colder" if side.duty is Duty.COOL else "warmer"
        words += f" (air {difference(side.difference_c, unit)} {beyond})"
    if not side.acted_on:
        words += ", which is not acted on: the plain bands decide"
    return words


def target(wanted: Target | None, unit: Unit = Unit.CELSIUS) -> str:
    """A target as people say it."""
    if wanted is None:
        return "no target"
    if wanted.heat_c == wanted.cool_c:
        return temperature(wanted.heat_c, unit)
    return f"{temperature(wanted.heat_c, unit)} to {temperature(wanted.cool_c, unit)}"


def mode(decision: Decision) -> str:
    """Say where the target comes from."""
    shown = decision.outlook
    profile = f"profile {shown.profile}" if shown is not None else "no profile"
    return {
        Mode.OFF: "switched off",
        Mode.HAND: "target set by hand" + (f" ({profile} is paused)" if shown is not None else ""),
        Mode.PROFILE: profile,
        Mode.PAUSED: f"{profile}, paused",
    }[decision.mode]


def reading(seen: Reading, mono_s: float, unit: Unit = Unit.CELSIUS) -> str:
    """Tell a reading with its quality; an old number is never shown as if it were now."""
    if isinstance(seen, Trusted):
        return temperature(seen.temp_c, unit, 2)
    words = f"not known ({fault(seen.fault)})"
    if seen.last_temp_c is not None and seen.last_taken_mono_s is not None:
        ago = span(mono_s - seen.last_taken_mono_s)
        words += f"; last {temperature(seen.last_temp_c, unit, 2)}, {ago} ago"
    return words


def fault(what: ProbeFault) -> str:
    """Name a probe's fault for people."""
    return _FAULTS[what]


_FAULTS: dict[ProbeFault, str] = {
    ProbeFault.CHECKSUM: "checksum failure",
    ProbeFault.POWER_ON_VALUE: "power-on value of 85 °C: the probe has restarted",
    ProbeFault.DISCONNECTED: "disconnected",
    ProbeFault.NO_ANSWER: "no answer",
    ProbeFault.OUT_OF_RANGE: "out of range",
    ProbeFault.JUMP: "impossible jump",
    ProbeFault.FROZEN: "frozen value",
    ProbeFault.STALE: "no good reading for too long",
    ProbeFault.STARTING: "not enough good readings yet",
}


def alarm(kind: str, subject: str) -> str:
    """Name an alarm for people."""
    words = _ALARMS[AlarmKind(kind)]
    return f"{words}: {subject}" if subject else words


_ALARMS: dict[AlarmKind, str] = {
    AlarmKind.VESSEL_PROBE_LOST: "the vessel probe cannot be trusted; outputs are in fail-safe",
    AlarmKind.AIR_PROBE_LOST: "the air probe cannot be trusted",
    AlarmKind.WATCHING_PROBE_LOST: "a watching probe cannot be trusted",
    AlarmKind.PROBE_UNSTEADY: "a probe often fails: look at its wire and contacts",
    AlarmKind.NO_EFFECT: "an output has no effect: look at the fuse, the plug and the appliance",
    AlarmKind.LONGEST_RUN: "an output has run its longest allowed time",
    AlarmKind.BEER_TOO_WARM: "the beer stays too warm",
    AlarmKind.BEER_TOO_COLD: "the beer stays too cold",
    AlarmKind.NEAR_FREEZING: "the beer is near its freezing point",
    AlarmKind.WAITING_FOR_PERSON: "the profile waits for a person",
    AlarmKind.RELAY_FAULT: "a relay line could not be driven",
    AlarmKind.LEASE_EXPIRED: "the loop was late, and relays let go by themselves",
    AlarmKind.CLOCK_NOT_SET: "the clock is not known to be set",
    AlarmKind.CLOCK_STEPPED: "the clock was stepped",
    AlarmKind.JOURNAL_NOT_WRITING: "the journal cannot be written; control goes on",
    AlarmKind.JOURNAL_SET_ASIDE: "the journal was damaged and set aside; a new one was begun",
    AlarmKind.JOURNAL_DAMAGED: "a check found the journal damaged; `fermd repair` can mend it",
    AlarmKind.BACKUP_FAILED: "the journal could not be backed up: look at the stick or its folder",
    AlarmKind.OUTAGE: "fermd was not running",
    AlarmKind.MEMORY_LOST: (
        "what the chamber was to do could not be read from the journal: it has no target"
    ),
}


def standing_alarm(raised: Alarm, mono_s: float) -> str:
    """Tell an alarm that is not cleared, with its age."""
    since = "" if raised.raised_mono_s is None else f", for {span(mono_s - raised.raised_mono_s)}"
    seen = raised.phase is AlarmPhase.ACKNOWLEDGED
    now = ", acknowledged" if seen else ""
    if not raised.holds:
        now += ", over by now" if seen else ", over by now but not acknowledged"
    return f"{raised.severity.value}: {alarm(raised.kind.value, raised.subject)}{since}{now}"


def event(happened: Event, mono_s: float, unit: Unit = Unit.CELSIUS) -> str:
    """Tell an event in one line."""
    match happened:
        case OutputChanged():
            state = "on" if happened.on else "off"
            why = reason(happened.reasons[0], mono_s, unit)
            return f"{_DUTIES[happened.duty]} ({happened.output}) {state}: {why}"
        case TargetChanged():
            return _target_changed(happened, unit)
        case StepChanged():
            return _step_changed(happened)
        case ProfileChanged():
            return f"profile {happened.profile} {happened.change.value}{_by(happened.who)}"
        case AlarmChanged():
            words = alarm(happened.alarm, happened.subject)
            return f"alarm {happened.phase.value}{_by(happened.who)}: {words}"
        case TrustChanged():
            return _trust_changed(happened, unit)
        case CommandAnswered():
            asked = f" asked{_by(happened.who)} and" if happened.who else ""
            answer = "taken" if happened.taken else f"refused: {happened.why}"
            return f"{happened.command},{asked} {answer}"
        case GapSeen():
            return f"the loop did not run for {span(happened.lasted_s)}"
    return _outage_seen(happened, unit)


def _target_changed(happened: TargetChanged, unit: Unit) -> str:
    if happened.heat_c is None or happened.cool_c is None:
        return f"target switched off{_by(happened.who)}"
    wanted = target(Target(happened.heat_c, happened.cool_c), unit)
    return f"target {wanted} ({happened.source}){_by(happened.who)}"


def _step_changed(happened: StepChanged) -> str:
    named = f" {happened.name!r}" if happened.name else ""
    after = ""
    if happened.change in (StepChange.ENDED, StepChange.SKIPPED):
        after = f" after {span(happened.elapsed_s)}"
    if happened.change is StepChange.OVERDUE:
        after = f" by {span(happened.elapsed_s)}"
    change = happened.change.value
    return f"step {happened.index + 1} ({happened.kind}{named}) {change}{after}{_by(happened.who)}"


def _trust_changed(happened: TrustChanged, unit: Unit) -> str:
    at = "" if happened.temp_c is None else f" at {temperature(happened.temp_c, unit, 2)}"
    if happened.trusted:
        return f"probe {happened.probe} is trusted{at}"
    why = "" if happened.fault is None else f": {fault(happened.fault)}"
    return f"probe {happened.probe} is not trusted{why}{at and ', last' + at}"


def _outage_seen(happened: OutageSeen, unit: Unit) -> str:
    long = "an unknown time" if happened.lasted_s is None else span(happened.lasted_s)
    words = f"fermd was not running for {long}"
    before_c, after_c = happened.beer_before_c, happened.beer_after_c
    if before_c is not None and after_c is not None:
        moved = difference(after_c - before_c, unit)
        before, after = temperature(before_c, unit), temperature(after_c, unit)
        words += f"; the beer went from {before} to {after} ({moved})"
    if happened.counted_s >= 1.0:
        words += f"; {span(happened.counted_s)} of it count for the step"
    return words


def _by(who: str) -> str:
    return f" by {who}" if who else ""
