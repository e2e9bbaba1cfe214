"""What the daemon itself wrote down of a disturbance."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from typing import Any

from fermd.control.alarms import AlarmKind
from fermd.control.events import (
    AlarmChanged,
    AlarmPhase,
    CommandAnswered,
    OutputChanged,
    ProfileChange,
    ProfileChanged,
    TargetChanged,
)
from fermd.control.reading import ProbeFault as Fault
from fermd.control.reasons import Rule
from fermd.control.settings import HOUR_S
from fermd.control.wording import fault as fault_words
from fermd.control.wording import span
from fermd.journal.rows import ClockStepped
from fermd.review.absences import absences
from fermd.review.causes.cause import Cause, Finding
from fermd.review.course import Course, Happened
from fermd.review.probe_figures import probe_faults
from fermd.review.series import Series

AFTER_COMMAND_S = 3600.0
"""So long after a person's command what happens is put down to it, s, unless it says how long."""


OF_THE_WIRE = frozenset(
    {
        Fault.CHECKSUM.value,
        Fault.POWER_ON_VALUE.value,
        Fault.DISCONNECTED.value,
        Fault.NO_ANSWER.value,
        Fault.STALE.value,
    }
)
"""Faults of a probe that was not moved: what such a one reads between them is no move either."""


def told_findings(course: Course) -> list[Finding]:
    """Everything that the journal tells of disturbances, in the order of their starts."""
    found = [
        *_probes(course),
        *_absences(course),
        *_clock(course),
        *_alarms(course),
        *_commands(course),
        *_limits(course),
    ]
    return sorted(found, key=lambda one: one.start_s)


def _probes(course: Course) -> Iterator[Finding]:
    for name in course.probes:
        for fault in probe_faults(course, name):
            if fault.fault == Fault.STARTING:
                continue
            why = fault_words(Fault(fault.fault)) if fault.fault else "no reason told"
            lasted = span(fault.end_s - fault.start_s)
            yield Finding(
                Cause.PROBE_FAULT,
                fault.start_s,
                fault.end_s,
                f"{name}: {why}, for {lasted}",
                weight=(2.0 if name == course.roles.vessel else 1.0)
                + (0.5 if fault.fault in OF_THE_WIRE else 0.0),
            )


def _absences(course: Course) -> Iterator[Finding]:
    for one in absences(course):
        cause = Cause.POWER_CUT if one.kind == "power" else Cause.DAEMON_AWAY
        how = "for an unknown time" if one.lasted_s is None else f"for {span(one.lasted_s)}"
        if one.kind == "gap":
            how = f"the loop stood still {how}"
        drift = ""
        if one.beer_before_c is not None and one.beer_after_c is not None:
            moved_c = one.beer_after_c - one.beer_before_c
            drift = f", the beer moved by {moved_c:+.1f} °C"
        yield Finding(cause, one.start_s, one.end_s, how + drift)


def _clock(course: Course) -> Iterator[Finding]:
    for one in course.of(ClockStepped):
        if isinstance(one.what, ClockStepped):
            way = "forward" if one.what.by_s > 0 else "back"
            told = f"{way} by {span(abs(one.what.by_s))}"
            yield Finding(Cause.CLOCK_STEP, one.at_s, one.at_s, told)


_BY_ALARM = {
    AlarmKind.RELAY_FAULT: Cause.RELAY_FAULT,
    AlarmKind.LEASE_EXPIRED: Cause.DAEMON_AWAY,
}


def _alarms(course: Course) -> Iterator[Finding]:
    for number, one in enumerate(course.happened):
        event = one.what
        if not isinstance(event, AlarmChanged) or event.phase is not AlarmPhase.RAISED:
            continue
        end_s = _cleared_s(course, number, event)
        if event.alarm in (AlarmKind.NO_EFFECT, AlarmKind.LONGEST_RUN):
            duty, since_s = _run_before(course, event.subject, one.at_s)
            if duty is None:
                continue
            if event.alarm == AlarmKind.NO_EFFECT:
                cause = Cause.COOLING_FAILED if duty == "cool" else Cause.HEATING_FAILED
                told = f"{event.subject} had no effect for {span(one.at_s - since_s)}"
            else:
                cause = _of_long_run(course, duty, since_s, one.at_s)
                told = f"{event.subject} ran its longest allowed time, {span(one.at_s - since_s)}"
            if cause in (Cause.COOLING_FAILED, Cause.HEATING_FAILED):
                since_s = _since_s(course, duty, since_s, one.at_s)
            # The alarm may stand until somebody has seen it; that it stands does no harm.
            until_s = min(end_s, one.at_s + AFTER_COMMAND_S)
            yield Finding(cause, since_s, until_s, told, weight=2.0)
        elif (kind := _kind(event.alarm)) is not None and kind in _BY_ALARM:
            # An expired lease is told when the loop is back, and stands until somebody has seen it.
            until_s = one.at_s if kind is AlarmKind.LEASE_EXPIRED else end_s
            yield Finding(
                _BY_ALARM[kind], one.at_s, until_s, _output_on(course, event.subject), weight=2.0
            )


def _output_on(course: Course, line: str) -> str:
    """A line with the output that hangs on it."""
    for one in (*course.happened, *course.before):
        if isinstance(one.what, OutputChanged) and one.what.line == line:
            return f"{one.what.output} on {line}"
    return line


MOVED_C = 0.15
"""Beer that moves less than this the right way in a longest run was not cooled or heated, °C."""


STEP_S = 300.0
STILL_C = 0.1
"""What reads within this of the furthest that it came has stopped to move, °C."""


def _since_s(course: Course, duty: str, since_s: float, at_s: float) -> float:
    """Since when a run had no effect: it may have failed on its way."""
    series = course.air or course.vessel
    way = -1.0 if duty == "cool" else 1.0
    steps = range(int((at_s - since_s) // STEP_S)) if series is not None else ()
    reached = [
        (from_s, way * mean_c)
        for from_s in (since_s + STEP_S * step for step in steps)
        if series is not None and (mean_c := series.mean(from_s, from_s + STEP_S)) is not None
    ]
    furthest_c = max((value_c for _, value_c in reached), default=0.0)
    near = (from_s for from_s, value_c in reached if value_c >= furthest_c - STILL_C)
    return next(near, since_s)


def _of_long_run(course: Course, duty: str, since_s: float, at_s: float) -> Cause:
    """Whether a run that lasted too long did nothing, or not enough."""
    series = course.air or course.vessel
    way = -1.0 if duty == "cool" else 1.0
    failed = Cause.COOLING_FAILED if duty == "cool" else Cause.HEATING_FAILED
    weak = Cause.COOLING_WEAK if duty == "cool" else Cause.HEATING_WEAK
    if series is None:
        return weak
    first_c = series.mean(since_s - 300.0, since_s + 300.0)
    last_c = series.mean(at_s - 600.0, at_s)
    if first_c is None or last_c is None:
        return weak
    if way * (last_c - first_c) >= MOVED_C:
        return weak
    if course.air is None and _bends(series, since_s, at_s, way):
        return weak
    return failed


BENT_C = 0.2
"""In an hour a fridge or heater that works makes so much of a difference at least, °C."""


def _bends(series: Series, since_s: float, at_s: float, way: float) -> bool:
    """Whether beer that does not go the way of a run has left its own for it: a fridge holds it.

    Without a probe in the air nothing else tells a fridge that is too weak from a dead one.
    """
    if at_s - since_s < 3 * HOUR_S:
        return False
    by_itself_c = _in_an_hour_c(series, since_s)
    in_run_c = _in_an_hour_c(series, at_s)
    if by_itself_c is None or in_run_c is None:
        return False
    return way * (in_run_c - by_itself_c) >= BENT_C


def _in_an_hour_c(series: Series, until_s: float) -> float | None:
    """How far a probe went in the hour before a moment, °C."""
    first_c = series.mean(until_s - HOUR_S - 300.0, until_s - HOUR_S + 300.0)
    last_c = series.mean(until_s - 600.0, until_s)
    return None if first_c is None or last_c is None else last_c - first_c


def _kind(alarm: str) -> AlarmKind | None:
    """Which alarm it is; None for one of a later version."""
    try:
        return AlarmKind(alarm)
    except ValueError:
        return None


def _cleared_s(course: Course, number: int, event: AlarmChanged) -> float:
    for later in course.happened[number + 1 :]:
        what = later.what
        if (
            isinstance(what, AlarmChanged)
            and what.phase is AlarmPhase.CLEARED
            and (what.alarm, what.subject) == (event.alarm, event.subject)
        ):
            return later.at_s
    return course.end_s


def _run_before(course: Course, output: str, at_s: float) -> tuple[str | None, float]:
    runs = [run for run in course.runs if run.output == output and run.start_s <= at_s]
    return (runs[-1].duty, runs[-1].start_s) if runs else (None, at_s)


_OVERRIDE = re.compile(r"(heat|cool|fan) (on|off) for (.+)")
_UNITS_S = {"d": 86400.0, "h": 3600.0, "min": 60.0, "s": 1.0}


def _commands(course: Course) -> Iterator[Finding]:
    for one in course.happened:
        match one.what:
            case CommandAnswered(taken=True) as command:
                yield from _command(one, command)
            case TargetChanged(source="off"):
                yield Finding(
                    Cause.SWITCHED_OFF,
                    one.at_s,
                    _until(course, one, TargetChanged, lambda what: what.source != "off"),
                    "by hand",
                )
            case TargetChanged(source="hand") as change:
                heat = "none" if change.heat_c is None else f"{change.heat_c:g} °C"
                yield Finding(
                    Cause.TARGET_CHANGED, one.at_s, one.at_s + AFTER_COMMAND_S, f"to {heat} by hand"
                )
            case ProfileChanged(change=ProfileChange.PAUSED):
                yield Finding(
                    Cause.PAUSED,
                    one.at_s,
                    _until(course, one, ProfileChanged, lambda what: what.change != "paused"),
                    "by hand",
                )
            case ProfileChanged(change=ProfileChange.STARTED | ProfileChange.STOPPED) as change:
                if one.at_s > course.start_s + 1.0:
                    yield Finding(
                        Cause.TARGET_CHANGED,
                        one.at_s,
                        one.at_s + AFTER_COMMAND_S,
                        f"{change.profile} {change.change.value}",
                    )
            case _:
                pass


def _command(one: Happened, command: CommandAnswered) -> Iterator[Finding]:
    said = command.command
    if found := _OVERRIDE.fullmatch(said):
        lasts_s = sum(
            float(number) * _UNITS_S[unit]
            for number, unit in re.findall(r"([0-9.]+) (d|h|min|s)", found[3])
        )
        yield Finding(Cause.OVERRIDE, one.at_s, one.at_s + lasts_s, f"{said} by {command.who}")
    elif said.startswith(("change the step", "go to step", "go on with", "skip", "return to")):
        yield Finding(
            Cause.TARGET_CHANGED,
            one.at_s,
            one.at_s + AFTER_COMMAND_S,
            f"{said} by {command.who}",
            weight=0.5,
        )


def _until(course: Course, since: Happened, kind: type[Any], fact: Callable[[Any], bool]) -> float:
    for later in course.happened:
        if later.seq > since.seq and isinstance(later.what, kind) and fact(later.what):
            return later.at_s
    return course.end_s


_BY_RULE = {
    Rule.AIR_LIMIT: Cause.AIR_LIMIT,
    Rule.AIR_UNKNOWN: Cause.PROBE_FAULT,
    Rule.FREEZING: Cause.FREEZING_MARGIN,
}


def _limits(course: Course) -> Iterator[Finding]:
    for one in course.happened:
        if not isinstance(one.what, OutputChanged) or one.what.on or not one.what.reasons:
            continue
        why = one.what.reasons[0]
        if why.rule in _BY_RULE:
            limit = "" if why.limit_c is None else f", its limit is {why.limit_c:.1f} °C"
            at = "" if why.value_c is None else f" at {why.value_c:.1f} °C{limit}"
            yield Finding(
                _BY_RULE[why.rule],
                one.at_s,
                one.at_s + AFTER_COMMAND_S,
                f"{one.what.output} was switched off{at}",
                weight=0.5,
            )
