"""What the relays truly did, held against what must never happen: from the record of the coils.

True time throughout: no kill, power cut or wrong clock touches it. The numbers are those of the
site file in force at each switching.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator

from truth import UNIT_S, Broken, Process, Span, Switching, on_spans
from world_run import RELEASED_AFTER_S, Outcome

from fermd.config.site import lease_s
from fermd.control.settings import HOUR_S, ChamberSettings, Duty, OutputSettings

SLACK_S = 4 * UNIT_S


def broken_by_relays(outcome: Outcome) -> list[Broken]:
    """Return every promise that the relays broke."""
    return [
        *_together(outcome),
        *_starts(outcome),
        *_runs(outcome),
        *_circuits(outcome),
        *_ends(outcome),
    ]


def _chamber(one: Switching) -> ChamberSettings:
    return next(each for each in one.settings.chambers if each.name == one.chamber)


def _output(one: Switching) -> OutputSettings:
    return _chamber(one).by_duty[one.duty]


def _together(outcome: Outcome) -> Iterator[Broken]:
    """1: heat and cooling, never together, nor within the changeover delay."""
    opposite = {Duty.HEAT: Duty.COOL, Duty.COOL: Duty.HEAT}
    on: dict[tuple[str, Duty], bool] = {}
    stopped_s: dict[tuple[str, Duty], float] = {}
    for one in outcome.truth.switchings:
        key = (one.chamber, one.duty)
        on[key] = one.on
        if not one.on:
            stopped_s[key] = one.at_s
        elif one.duty in opposite:
            other = (one.chamber, opposite[one.duty])
            if on.get(other):
                detail = f"{one.duty} starts while {opposite[one.duty]} is on"
                yield Broken(1, "never together", one.chamber, one.at_s, detail)
            gap_s = one.at_s - stopped_s.get(other, float("-inf"))
            least_s = _chamber(one).changeover_s
            if gap_s < least_s - SLACK_S:
                detail = f"{one.duty} {gap_s:.1f} s after {opposite[one.duty]}, not {least_s:g} s"
                yield Broken(1, "changeover delay", one.chamber, one.at_s, detail)


def _starts(outcome: Outcome) -> Iterator[Broken]:
    """2: the minimum off time and the starts per hour, whatever lies between."""
    spans = on_spans(outcome.truth, outcome.end_s)
    for (chamber, duty), runs in spans.items():
        before: Span | None = None
        starts_s: list[float] = []
        for run in runs:
            protection, at_s = _output(run.began).protection, run.began.at_s
            if before is not None:
                off_s = at_s - before.until_s
                if off_s < protection.minimum_off_s - SLACK_S:
                    detail = f"{duty} off for {off_s:.1f} s, not {protection.minimum_off_s:g} s"
                    yield Broken(2, "minimum off time", chamber, at_s, detail)
                apart_s = protection.minimum_off_s + protection.minimum_run_s
                if at_s - before.began.at_s < apart_s - SLACK_S:
                    detail = f"{duty} {at_s - before.began.at_s:.1f} s apart, not {apart_s:g} s"
                    yield Broken(2, "start to start", chamber, at_s, detail)
            starts_s = [one for one in starts_s if at_s - one < HOUR_S - SLACK_S]
            starts_s.append(at_s)
            most = protection.starts_per_hour
            if most and len(starts_s) > most:
                detail = f"{duty} {len(starts_s)} times, not {most}"
                yield Broken(2, "starts per hour", chamber, at_s, detail)
            yield from _after_unknown(outcome, run)
            before = run


def _after_unknown(outcome: Outcome, run: Span) -> Iterator[Broken]:
    """After a start that follows no orderly stop of the same boot, the power-up delay."""
    processes = outcome.truth.processes
    process = processes[run.began.process]
    before = processes[process.number - 1] if process.number else None
    known = before is not None and before.how == "stop" and before.boot == process.boot
    delay_s = _output(run.began).protection.power_up_delay_s
    since_s = run.began.at_s - process.started_s
    if not known and since_s < delay_s - SLACK_S:
        detail = f"{run.began.duty} {since_s:.1f} s after an unknown past, not {delay_s:g} s"
        yield Broken(2, "power-up delay", run.began.chamber, run.began.at_s, detail)


def _runs(outcome: Outcome) -> Iterator[Broken]:
    """5: the longest run; 6: an `on` is a lease that only a completed tick renews."""
    period_s = outcome.world.site["sample_period_s"]
    processes = outcome.truth.processes
    for (chamber, duty), runs in on_spans(outcome.truth, outcome.end_s).items():
        for run in runs:
            process = processes[run.began.process]
            ran_s = min(run.until_s, process.ended_s) - run.began.at_s
            longest_s = _longest_run_s(outcome, run)
            if ran_s > longest_s + max(2 * period_s, lease_s(period_s)) + SLACK_S:
                detail = f"{duty} for {ran_s:.0f} s, not {longest_s:g} s"
                yield Broken(5, "longest run", chamber, run.began.at_s, detail)
            yield from _lease(run, process, lease_s(period_s))


def _longest_run_s(outcome: Outcome, run: Span) -> float:
    """The longest that was allowed by any site file in force during the run."""
    in_force = [run.began.settings]
    in_force += [s for at_s, s in outcome.truth.settings if run.began.at_s < at_s < run.until_s]
    return max(
        chamber.by_duty[run.began.duty].protection.longest_run_s
        for settings in in_force
        for chamber in settings.chambers
        if chamber.name == run.began.chamber
    )


def _lease(run: Span, process: Process, least_s: float) -> Iterator[Broken]:
    gaps = [*process.gaps_s]
    if process.ticks_s:
        gaps.append((process.ticks_s[1], process.ended_s))
    place = bisect_left([from_s for from_s, _ in gaps], run.began.at_s - SLACK_S)
    for from_s, to_s in gaps[max(0, place - 1) :]:
        # A tick drives the relays a little after it has begun: a stall may lie between.
        until_s = min(run.until_s, to_s, process.ended_s)
        kept_s = until_s - max(from_s, run.began.at_s)
        if from_s >= run.began.at_s - SLACK_S and kept_s > least_s + SLACK_S:
            detail = f"{run.began.duty} on for {kept_s:.0f} s without a tick, lease {least_s:g} s"
            yield Broken(6, "a lease runs out", run.began.chamber, run.began.at_s, detail)
            return


def _ends(outcome: Outcome) -> Iterator[Broken]:
    """6: off once the process has ended in whatever way, and off when the next one begins."""
    processes = outcome.truth.processes
    for (chamber, duty), runs in on_spans(outcome.truth, outcome.end_s + 1.0).items():
        for run in runs:
            process = processes[run.began.process]
            after_s = RELEASED_AFTER_S if process.how == "kill" else 0.0
            late_s = run.until_s - process.ended_s - after_s
            if late_s > SLACK_S:
                detail = f"{duty} on for {late_s:.1f} s after the daemon's end ({process.how})"
                yield Broken(6, "off at the end", chamber, process.ended_s, detail)
            first_s = process.ticks_s[0] if process.ticks_s else process.ended_s
            if run.began.at_s < first_s - SLACK_S:
                detail = f"{duty} on before the first tick"
                yield Broken(6, "off at the start", chamber, run.began.at_s, detail)


def _circuits(outcome: Outcome) -> Iterator[Broken]:
    """9: what is on at one time on a supply circuit."""
    on: set[tuple[str, Duty]] = set()
    for one in outcome.truth.switchings:
        key = (one.chamber, one.duty)
        if not one.on:
            on.discard(key)
            continue
        on.add(key)
        for circuit in one.settings.circuits:
            drawn_a = sum(
                output.rated_a
                for chamber in one.settings.chambers
                for output in chamber.outputs
                if output.circuit == circuit.name and (chamber.name, output.duty) in on
            )
            if drawn_a > circuit.limit_a + 1e-9:
                detail = f"{circuit.name} carries {drawn_a:g} A, not {circuit.limit_a:g} A"
                yield Broken(9, "supply limit", one.chamber, one.at_s, detail)
