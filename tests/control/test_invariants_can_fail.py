"""Each witness to an invariant can fail: with one deliberate defect in the core, it cries out.

A defect is one rule of the core left out or turned round. The machine that finds nothing in the
real core has to find each of them within a bounded number of examples, always the same ones.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest
from chamber_machine import ChamberMachine
from chamber_witness import ViolatedError
from hypothesis import HealthCheck, Phase, settings
from hypothesis.stateful import run_state_machine_as_test

from fermd.control import chamber, effect, health, memory, progress, protection, safety
from fermd.control.protection import NEXT, Wish
from fermd.control.protection import Phase as OutputPhase

BOUNDED = settings(
    max_examples=1000,
    stateful_step_count=30,
    derandomize=True,
    database=None,
    deadline=None,
    phases=[Phase.generate],
    suppress_health_check=list(HealthCheck),
)

Patch = pytest.MonkeyPatch


def nothing(*_: object, **__: object) -> None:
    """A rule that never holds."""


def leaves_out(module: Any, rule: str) -> Callable[[Patch], None]:
    def left_out(patch: Patch) -> None:
        patch.setattr(module, rule, nothing)

    left_out.__name__ = f"leaves out {rule.strip('_').replace('_', ' ')}"
    return left_out


def starts_while_locked(patch: Patch) -> None:
    patch.setattr(protection, "NEXT", {**NEXT, (OutputPhase.LOCKED, Wish.ON): True})


def argues_with_safety(patch: Patch) -> None:
    patch.setattr(protection, "NEXT", {**NEXT, (OutputPhase.FREE, Wish.SAFETY_OFF): True})


def forgets_minimum_run(patch: Patch) -> None:
    patch.setattr(protection, "NEXT", {**NEXT, (OutputPhase.HELD, Wish.OFF): False})


def counts_a_cycle_from_the_stop_only(patch: Patch) -> None:
    patch.setattr(protection, "_start_to_start", nothing)


def does_not_look_at_the_other(patch: Patch) -> None:
    real = chamber._surroundings

    def blind(*given: Any) -> protection.Surroundings:
        return replace(real(*given), other_on=False)

    patch.setattr(chamber, "_surroundings", blind)


def believes_every_record(patch: Patch) -> None:
    def trusting(known: Any, *_: Any, proven: bool) -> protection.History:
        return replace(known or protection.History(), on=False)

    patch.setattr(protection, "history_after_restart", trusting)


def takes_unknown_for_long_ago(patch: Patch) -> None:
    def long_ago(*_: Any) -> protection.History:
        return protection.History()

    patch.setattr(protection, "unknown_history", long_ago)


def turns_the_air_limits_round(patch: Patch) -> None:
    real = safety._air_limit

    def turned(limits: Any, duty: Any, on: bool, air: Any) -> Any:
        other = safety.Duty.HEAT if duty is safety.Duty.COOL else safety.Duty.COOL
        return real(limits, other, on, air)

    patch.setattr(safety, "_air_limit", turned)


def runs_fail_safe_without_end(patch: Patch) -> None:
    real = safety.fail_safe_call
    patch.setattr(
        safety,
        "fail_safe_call",
        lambda chosen, *given: real(replace(chosen, run_s=chosen.every_s), *given),
    )


def lets_overrides_run_blind(patch: Patch) -> None:
    real = chamber._wish

    def blind(state: Any, output: Any, called: Any, view: Any, mono_s: float) -> Any:
        override = state.overrides.get(output.duty)
        if override is not None and override.on:
            return chamber._Wish(True, chamber.Reason(chamber.Rule.OVERRIDE))
        return real(state, output, called, view, mono_s)

    patch.setattr(chamber, "_wish", blind)


def never_accuses(patch: Patch) -> None:
    def trusting(*given: Any, **more: Any) -> Any:
        return effect.watch(*given, **more)[0], None

    patch.setattr(chamber, "watch", trusting)


def forgets_the_rest(patch: Patch) -> None:
    patch.setattr(protection, "_rest", nothing)


def raises_no_alarm(patch: Patch) -> None:
    patch.setattr(chamber, "standing", lambda _: ())


def believes_stale_readings(patch: Patch) -> None:
    real = health.absorb

    def patient(seen: Any, probe: Any, samples: Any, mono_s: float) -> Any:
        return real(seen, replace(probe, stale_s=1e9), samples, mono_s)

    patch.setattr(health, "absorb", patient)


def believes_any_value(patch: Patch) -> None:
    real = health.absorb

    def credulous(seen: Any, probe: Any, samples: Any, mono_s: float) -> Any:
        wide = replace(probe, lowest_c=-55.0, highest_c=125.0, jump_c=500.0)
        return real(seen, wide, samples, mono_s)

    patch.setattr(health, "absorb", credulous)


def trusts_again_at_once(patch: Patch) -> None:
    real = health.absorb

    def hasty(seen: Any, probe: Any, samples: Any, mono_s: float) -> Any:
        return real(seen, replace(probe, good_run=1), samples, mono_s)

    patch.setattr(health, "absorb", hasty)


def tells_nobody(patch: Patch) -> None:
    real = chamber._command

    def silent(*given: Any) -> Any:
        return real(*given[:-1], [])

    patch.setattr(chamber, "_command", silent)


def tells_what_did_not_happen(patch: Patch) -> None:
    real = chamber._command

    def talkative(*given: Any) -> Any:
        state, outputs = real(*given)
        events, last = given[-1], outputs[-1]
        if not any(isinstance(event, chamber.OutputChanged) for event in events):
            told = chamber.OutputChanged(last.duty, last.name, last.line, False, last.reasons)
            events.append(told)
        return state, outputs

    patch.setattr(chamber, "_command", talkative)


def counts_gaps_as_control(patch: Patch) -> None:
    patch.setattr(chamber, "LONGEST_TICK_S", 1e9)


def runs_steps_by_the_wall_clock(patch: Patch) -> None:
    last_wall_s: list[float] = []

    def by_the_wall(state: Any, now: Any, events: Any) -> Any:
        passed_s = now.wall_utc_s - last_wall_s[-1] if last_wall_s else 0.0
        last_wall_s.append(now.wall_utc_s)
        return max(0.0, passed_s)

    patch.setattr(chamber, "_passed_s", by_the_wall)


def forgets_a_steps_clock(patch: Patch) -> None:
    real = memory.to_plain

    def forgetful(state: Any) -> Any:
        plain = real(state)
        if plain["progress"] is not None:
            plain["progress"]["elapsed_s"] = 0.0
        return plain

    patch.setattr(memory, "to_plain", forgetful)


def repeats_a_step_after_a_restart(patch: Patch) -> None:
    real = memory.to_plain

    def repeating(state: Any) -> Any:
        plain = real(state)
        if plain["progress"] is not None:
            plain["progress"]["index"] = max(0, plain["progress"]["index"] - 1)
        return plain

    patch.setattr(memory, "to_plain", repeating)


def skips_a_step(patch: Patch) -> None:
    real = progress._next

    def hasty(at: Any, step: Any, beer_c: Any) -> Any:
        moved = real(at, step, beer_c)
        last = len(moved.profile.steps) - 1
        return replace(moved, index=moved.index + 1) if moved.index < last else moved

    patch.setattr(progress, "_next", hasty)


def shortens_holds(patch: Patch) -> None:
    real = progress._run_clock
    patch.setattr(progress, "_run_clock", lambda at, for_s, passed_s: real(at, for_s / 2, passed_s))


DEFECTS = [
    (starts_while_locked, {"minimum off", "power-up delay", "start to start", "starts per hour"}),
    (
        argues_with_safety,
        {"air limits", "fail-safe", "freezing margin", "longest run", "no effect"},
    ),
    (forgets_minimum_run, {"minimum run"}),
    (leaves_out(protection, "_minimum_off"), {"minimum off"}),
    (leaves_out(protection, "_start_to_start"), {"start to start"}),
    (leaves_out(protection, "_starts_per_hour"), {"starts per hour"}),
    (leaves_out(protection, "_power_up"), {"power-up delay"}),
    (leaves_out(protection, "_changeover"), {"changeover"}),
    (does_not_look_at_the_other, {"never both", "changeover"}),
    (leaves_out(protection, "_longest_run"), {"longest run"}),
    (forgets_the_rest, {"rest"}),
    (leaves_out(protection, "_sent_to_rest"), {"no effect"}),
    (never_accuses, {"no effect"}),
    (believes_every_record, {"minimum off", "power-up delay", "starts per hour", "events"}),
    (takes_unknown_for_long_ago, {"minimum off", "power-up delay", "changeover"}),
    (leaves_out(safety, "_fail_safe"), {"fail-safe"}),
    (runs_fail_safe_without_end, {"fail-safe"}),
    (lets_overrides_run_blind, {"fail-safe"}),
    (turns_the_air_limits_round, {"air limits", "reasons"}),
    (leaves_out(safety, "_air_unknown"), {"air limits"}),
    (leaves_out(safety, "_freezing"), {"freezing margin"}),
    (raises_no_alarm, {"fail-safe", "longest run", "no effect"}),
    (believes_stale_readings, {"stale"}),
    (believes_any_value, {"trust"}),
    (trusts_again_at_once, {"trust"}),
    (tells_nobody, {"events"}),
    (tells_what_did_not_happen, {"events"}),
    (counts_gaps_as_control, {"step clock"}),
    (runs_steps_by_the_wall_clock, {"step clock"}),
    (forgets_a_steps_clock, {"step clock"}),
    (repeats_a_step_after_a_restart, {"profile", "step clock"}),
    (skips_a_step, {"profile"}),
    (shortens_holds, {"step clock"}),
]


@pytest.mark.slow
@pytest.mark.parametrize(
    ("defect", "invariants"), DEFECTS, ids=[defect.__name__ for defect, _ in DEFECTS]
)
def test_a_defect_is_found(
    defect: Callable[[Patch], None], invariants: set[str], monkeypatch: Patch
) -> None:
    defect(monkeypatch)
    with pytest.raises(ViolatedError) as found:
        run_state_machine_as_test(ChamberMachine, settings=BOUNDED)
    assert found.value.invariant in invariants
