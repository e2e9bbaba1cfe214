"""One chamber: puts probe health, profile, bands, protection, the watcher and alarms together.

`step(state, settings, inputs, now)` is the whole of control. The same state and inputs give the
same decision in the daemon, in the simulator and in a test. The order is the way of the data:

    commands → probes → profile → call → safety → protection → watcher → alarms
"""

from __future__ import annotations

from collections.abc import Container, Mapping, Sequence
from dataclasses import dataclass, field, replace

from fermd.control import (
    conditions,
    orders,
    outages,
    profile_orders,
    profile_run,
    safety,
)
from fermd.control.alarms import Alarms, observe, standing
from fermd.control.bands import Call, Called, Edges
from fermd.control.bands import call as call_of_bands
from fermd.control.calendar import WallTime
from fermd.control.commands import Command
from fermd.control.decision import Decision, Mode, OutputDecision
from fermd.control.edges import Sight, edges, is_slow, left_by_itself
from fermd.control.effect import Watch, watch
from fermd.control.events import Event, GapSeen, OutputChanged, TargetChanged
from fermd.control.learning import Look, learn
from fermd.control.moment import Moment
from fermd.control.progress import Outlook, outlook
from fermd.control.protection import History, Surroundings, protect, rest, stays_off
from fermd.control.reading import Sample
from fermd.control.reasons import Reason, Rule
from fermd.control.replacing import replacer
from fermd.control.settings import ChamberSettings, Duty, OutputSettings
from fermd.control.slow_drift import narrowed, within_noise
from fermd.control.state import ChamberState
from fermd.control.steps import Ramp, Target
from fermd.control.swing import WAYS, Swing
from fermd.control.view import View, idle_s, look, runs_for_s, sighted, what_runs

LONGEST_TICK_S = 300.0
"""Two ticks further apart than this, s, were no control: the time between them is a gap, and does
not count for the profile. Far above any sample period, far below what matters to beer."""


@dataclass(frozen=True, slots=True)
class Inputs:
    """What came in since the last tick."""

    samples: Mapping[str, Sequence[Sample]] = field(default_factory=dict)
    """By the probe's name, oldest first."""
    commands: Sequence[Command] = ()
    headroom_a: Mapping[str, float] = field(default_factory=dict)
    """What each supply circuit with a limit has left for this chamber's outputs, A, not counting
    those of them that are on."""


_TICKED = replacer(
    ChamberState, "healths", "call", "watches", "alarms", "swing", "placing", "last_mono_s"
)
"""What every tick changes, changed in one go: this is the hottest path of the simulator."""


def step(
    state: ChamberState, settings: ChamberSettings, inputs: Inputs, now: Moment
) -> tuple[ChamberState, Decision]:
    """Run one tick of control; returns the new state and everything that was decided."""
    events: list[Event] = []
    passed_s = _passed_s(state, now, events)
    healths, view = look(state, settings, inputs.samples, passed_s, now, events)
    wall = None
    if settings.calendar is not None and now.wall_trusted:
        wall = WallTime(now.wall_utc_s, settings.calendar)
    for command in inputs.commands:
        state = orders.obey(state, settings, command, view.beer_c, now, events)
    if state.planned is not None:
        state = profile_orders.start_what_is_due(state, settings, view.beer_c, now, events)
    state = profile_run.advance(state, view.beer_c, passed_s, wall, events)
    target = profile_run.target(state)
    sight = sighted(state, view, now)
    bands = _edges(state, settings, target, sight, view)
    called = _call(state, settings, target, bands, sight, view, now)
    state, outputs = _command(state, settings, called, view, inputs.headroom_a, now, events)
    swing = _follow_swing(state, settings, sight, target, view, passed_s, now)
    state, watches = _watch(state, settings, outputs, view, now)
    state = _tell_target(state, target, events)
    state = conditions.follow_deviation(state, settings, target, view.beer_c, now.mono_s)
    found = conditions.present(state, settings, healths, view.vessel, view.air, view.readings, now)
    alarms, changed = observe(state.alarms, found, now.mono_s, now.wall_utc_s)
    events.extend(changed)
    going_on = _going_on(called.call, sight, outputs)
    state = _TICKED(state, healths, going_on, watches, alarms, swing, view.placing, now.mono_s)
    return state, _decision(state, settings, target, bands, called, view, outputs, wall, events)


def credit_outage(
    state: ChamberState, lasted_s: float, before_c: float, after_c: float
) -> tuple[ChamberState, float]:
    """Count for the profile the part of an outage with the beer at its temperature (s, too)."""
    if state.progress is None or state.mode is not Mode.PROFILE:
        return state, 0.0
    progress, counted_s = outages.credit(state.progress, lasted_s, before_c, after_c)
    return replace(state, progress=progress), counted_s


def let_go(
    state: ChamberState,
    settings: ChamberSettings,
    rule: Rule,
    mono_s: float,
    lines: Container[str] | None = None,
) -> tuple[ChamberState, tuple[Event, ...]]:
    """Take note that relays went off without a decision of this core.

    `lines` are those that did (None: all); `rule` says why: the daemon is stopping, a lease ran
    out, a line could not be driven. `mono_s` is when, so that the minimum off time counts from it.
    """
    events: list[Event] = []
    histories = dict(state.histories)
    for output in settings.outputs:
        history = histories[output.duty]
        if history.on and (lines is None or output.line in lines):
            histories[output.duty] = replace(history, on=False, stopped_mono_s=mono_s)
            reason = Reason(rule)
            events.append(OutputChanged(output.duty, output.name, output.line, False, (reason,)))
    return replace(state, histories=histories, watches={}), tuple(events)


def _passed_s(state: ChamberState, now: Moment, events: list[Event]) -> float:
    """Return how much time has passed under control since the last tick."""
    passed_s = 0.0 if state.last_mono_s is None else max(0.0, now.mono_s - state.last_mono_s)
    if passed_s > LONGEST_TICK_S:
        events.append(GapSeen(passed_s))
        return 0.0
    return passed_s


def _edges(
    state: ChamberState,
    settings: ChamberSettings,
    target: Target | None,
    sight: Sight | None,
    view: View,
) -> Edges | None:
    """Where calls begin and end now; None without a target, or without a trusted reading."""
    if target is None or sight is None or view.vessel_c is None:
        return None
    # The bands go by what the probe shows: the edges move by what it sees beside the beer.
    beside_c = view.vessel_c - sight.beer_c
    return edges(state.swing, settings, target, sight).moved(beside_c)


def _call(
    state: ChamberState,
    settings: ChamberSettings,
    target: Target | None,
    bands: Edges | None,
    sight: Sight | None,
    view: View,
    now: Moment,
) -> Called:
    """What is called for by the bands; overrides come in output by output, in `_wish`."""
    if view.vessel_c is None or sight is None:
        chosen = safety.fail_safe_call(settings.fail_safe, view.vessel, now.mono_s)
        return chosen or Called(Call.IDLE, Reason(Rule.FAIL_SAFE))
    if bands is None or target is None:
        return Called(Call.IDLE, Reason(Rule.NO_TARGET, view.vessel_c))
    seen_c, steady_c = view.vessel_c, state.swing.steady_c
    if (
        sight.running is None
        and steady_c is not None
        and is_slow(state.swing, settings, target, sight)
    ):
        # It is of the tick before: a probe whose placing is known since then has other beer.
        seen_c += within_noise(steady_c, sight.beer_c) - sight.beer_c
    return call_of_bands(bands, seen_c, state.call)


def _going_on(called: Call, sight: Sight | None, outputs: Sequence[OutputDecision]) -> Call:
    """Return the call that the next tick goes on with.

    One whose run the air's limit has ended is over: going on with it would start the machine once
    more in the same swing, and take the beer further. Outside its band it begins anew anyway.
    """
    if sight is not None and sight.running is not None:
        for output in outputs:
            ended = output.duty is sight.running and not output.on
            if ended and output.reasons[0].rule is Rule.AIR_LIMIT:
                return Call.IDLE
    return called


def _follow_swing(
    state: ChamberState,
    settings: ChamberSettings,
    sight: Sight | None,
    target: Target | None,
    view: View,
    passed_s: float,
    now: Moment,
) -> Swing:
    """Follow the beer after the outputs were decided; `sight` is from before."""
    running = what_runs(state.histories)
    was_running = None if sight is None else sight.running
    ran = running or was_running
    looked = Look(
        now.mono_s,
        passed_s,
        view.beer_c,
        view.air_c,
        running,
        was_running,
        0.0 if ran is None else runs_for_s(state.histories[ran], now.mono_s),
        target,
        ramp_c_per_h=0.0 if sight is None else sight.ramp_c_per_h,
        other_beer=(state.placing.beer_c is None) is not (view.placing.beer_c is None),
    )
    if sight is not None and running is not None and running is not was_running:
        looked = replace(
            looked,
            left_by_itself=left_by_itself(state.swing, sight, running),
            narrowed=narrowed(sight.drift_c_per_h, WAYS[running]),
            drift_c_per_h=sight.drift_c_per_h,
            idle_s=idle_s(state.histories, now.mono_s),
        )
    return learn(state.swing, settings, looked)


@dataclass(frozen=True, slots=True)
class _Wish:
    on: bool
    reason: Reason


def _wish(
    state: ChamberState, output: OutputSettings, called: Called, view: View, mono_s: float
) -> _Wish:
    override = state.overrides.get(output.duty)
    # Without a reading of the vessel nobody runs heat or cooling for longer than fail-safe does.
    blind = view.vessel_c is None and output.duty is not Duty.FAN
    if override is not None and not (override.on and blind):
        return _Wish(override.on, Reason(Rule.OVERRIDE, until_mono_s=override.until_mono_s))
    if output.duty is Duty.FAN:
        return _fan_wish(state, output, mono_s)
    own = Call.HEAT if output.duty is Duty.HEAT else Call.COOL
    if called.call is own or called.call is Call.IDLE:
        return _Wish(called.call is own, called.reason)
    return _Wish(False, Reason(Rule.OPPOSITE_CALLED))


def _fan_wish(state: ChamberState, fan: OutputSettings, mono_s: float) -> _Wish:
    others = [history for duty, history in state.histories.items() if duty is not Duty.FAN]
    if any(history.on for history in others):
        return _Wish(True, Reason(Rule.FOLLOWS_CALL))
    # Only a run that this process saw is run on from: after a restart nothing is stored any more.
    stops = [
        history.stopped_mono_s
        for history in others
        if history.stopped_mono_s is not None and history.started_mono_s is not None
    ]
    if stops and mono_s < max(stops) + fan.run_on_s:
        return _Wish(True, Reason(Rule.RUN_ON, until_mono_s=max(stops) + fan.run_on_s))
    return _Wish(False, Reason(Rule.FOLLOWS_CALL))


def _command(
    state: ChamberState,
    settings: ChamberSettings,
    called: Called,
    view: View,
    headroom_a: Mapping[str, float],
    now: Moment,
    events: list[Event],
) -> tuple[ChamberState, tuple[OutputDecision, ...]]:
    """Turn the call into commands; what is on comes first, so that it can go off first."""
    state = orders.drop_old_overrides(state, now.mono_s)
    left_a = dict(headroom_a)
    decided: dict[Duty, OutputDecision] = {}
    for duty in _in_order(state, settings):
        output = settings.by_duty[duty]
        history = state.histories[duty]
        wish = _wish(state, output, called, view, now.mono_s)
        if wish.on or history.on:
            around = _surroundings(state, settings, output, view, left_a)
            made = protect(history, output, wish.on, around, now.mono_s)
        else:
            made = stays_off(history)
        state = _keep(state, duty, made.history, rested=made.rested)
        if made.on and not history.on and output.circuit in left_a:
            left_a[output.circuit] -= output.rated_a
        reasons = made.reasons or (wish.reason,)
        if made.on != history.on:
            events.append(OutputChanged(duty, output.name, output.line, made.on, reasons))
        since_s = made.history.started_mono_s if made.on else made.history.stopped_mono_s
        decided[duty] = OutputDecision(
            duty, output.name, output.line, made.on, wish.on, since_s, reasons
        )
    return state, tuple(decided[output.duty] for output in settings.outputs)


def _in_order(state: ChamberState, settings: ChamberSettings) -> list[Duty]:
    on: list[Duty] = []
    off: list[Duty] = []
    fans: list[Duty] = []
    for output in settings.outputs:
        duty = output.duty
        (fans if duty is Duty.FAN else on if state.histories[duty].on else off).append(duty)
    return on + off + fans


_OPPOSITE = {Duty.HEAT: Duty.COOL, Duty.COOL: Duty.HEAT}


def _surroundings(
    state: ChamberState,
    settings: ChamberSettings,
    output: OutputSettings,
    view: View,
    left_a: Mapping[str, float],
) -> Surroundings:
    duty, histories = output.duty, state.histories
    other = histories.get(_OPPOSITE[duty]) if duty in _OPPOSITE else None
    return Surroundings(
        safety.against(settings, duty, histories[duty].on, view.vessel_c, view.air),
        other is not None and other.on,
        None if other is None else other.stopped_mono_s,
        settings.changeover_s,
        left_a.get(output.circuit) if output.circuit is not None else None,
    )


def _keep(state: ChamberState, duty: Duty, history: History, *, rested: bool) -> ChamberState:
    if history is state.histories[duty]:
        return state
    resting = {**state.resting, duty: Rule.LONGEST_RUN} if rested else state.resting
    return replace(state, histories={**state.histories, duty: history}, resting=resting)


def _watch(
    state: ChamberState,
    settings: ChamberSettings,
    outputs: tuple[OutputDecision, ...],
    view: View,
    now: Moment,
) -> tuple[ChamberState, Mapping[Duty, Watch]]:
    """Let the watcher look at every output; one without effect rests from the next tick on."""
    watches: dict[Duty, Watch] = {}
    found: dict[Duty, History] = {}
    for decided in outputs:
        if not decided.on:
            continue
        duty, output = decided.duty, settings.by_duty[decided.duty]
        # A vessel follows hours after the air; heat may come from a belt that the air never sees.
        temp_c = view.air_c if duty is Duty.COOL and view.air is not None else view.vessel_c
        after, reason = watch(
            state.watches.get(duty),
            output.effect,
            duty,
            decided.on,
            temp_c,
            now.mono_s,
            driving=safety.drives(duty, view.vessel_c, view.air_c),
        )
        if after is not None:
            watches[duty] = after
        if reason is not None:
            found[duty] = rest(state.histories[duty], output.protection, now.mono_s)
    if found:
        state = replace(
            state,
            histories={**state.histories, **found},
            resting={**state.resting, **dict.fromkeys(found, Rule.NO_EFFECT)},
        )
    return state, watches


def _tell_target(state: ChamberState, target: Target | None, events: list[Event]) -> ChamberState:
    source = {Mode.OFF: "off", Mode.PROFILE: "profile"}.get(state.mode, "hand")
    index = state.progress.index if state.progress is not None else -1
    state = _tell_end_of_ramp(state, index, source, events)
    if target == state.told_target and source == state.told_source:
        return state if index == state.told_index else replace(state, told_index=index)
    step_now = state.progress.step if state.progress is not None else None
    along = isinstance(step_now, Ramp) and index == state.told_index
    if along and source == state.told_source == "profile":
        return state
    heat_c, cool_c = (target.heat_c, target.cool_c) if target is not None else (None, None)
    events.append(TargetChanged(heat_c, cool_c, source))
    return replace(state, told_target=target, told_source=source, told_index=index)


def _tell_end_of_ramp(
    state: ChamberState, index: int, source: str, events: list[Event]
) -> ChamberState:
    """Tell where a ramp has ended, before the target of the step after it is told."""
    progress = state.progress
    left = state.told_index
    if progress is None or index == left or not 0 <= left < len(progress.profile.steps):
        return state
    if source != "profile" or not isinstance(progress.profile.steps[left], Ramp):
        return state
    ended = Target.at(progress.entry_c)
    if ended == state.told_target:
        return state
    events.append(TargetChanged(ended.heat_c, ended.cool_c, source))
    return replace(state, told_target=ended)


def _decision(
    state: ChamberState,
    settings: ChamberSettings,
    target: Target | None,
    bands: Edges | None,
    called: Called,
    view: View,
    outputs: tuple[OutputDecision, ...],
    wall: WallTime | None,
    events: list[Event],
) -> Decision:
    shown: Outlook | None = outlook(state.progress, wall) if state.progress is not None else None
    alarms: Alarms = standing(state.alarms)
    return Decision(
        chamber=settings.name,
        mode=state.mode,
        target=target,
        call=called.call,
        call_reason=called.reason,
        edges=bands,
        vessel=view.vessel,
        air=view.air,
        watching=tuple((p.name, view.readings[p.name]) for p in settings.watching_probes),
        outputs=outputs,
        outlook=shown,
        planned=state.planned,
        learned=state.swing.learned,
        placing=state.placing,
        foresight=settings.foresight,
        alarms=alarms,
        events=tuple(events),
    )
