"""What outlives the process: round trips through JSON, and memories that nobody can read."""

from __future__ import annotations

import json
from dataclasses import asdict, replace
from typing import Any, get_args

import pytest
from calendar_bench import CALENDAR
from chamber_bench import Bench, unprotected
from hypothesis import given
from hypothesis import strategies as st

from fermd.control.alarms import Alarm, AlarmKind
from fermd.control.calendar import CalendarTime
from fermd.control.commands import (
    AcknowledgeAlarm,
    ExtendStep,
    OverrideOutput,
    PauseProfile,
    PlanStart,
    SetTarget,
    StartProfile,
    SwitchOff,
)
from fermd.control.decision import Mode
from fermd.control.events import AlarmChanged, AlarmPhase
from fermd.control.memory import (
    VERSION,
    ForgottenError,
    from_plain,
    profile_from_plain,
    profile_to_plain,
    to_plain,
)
from fermd.control.placing import Placing, recalled
from fermd.control.progress import Progress
from fermd.control.settings import Duty
from fermd.control.state import ChamberState, first_state
from fermd.control.steps import (
    Change,
    FinalHold,
    FreeRise,
    Hold,
    HoldUntil,
    Jump,
    Profile,
    Ramp,
    Schedule,
    Soak,
    Step,
    WaitForPerson,
)
from fermd.control.swing import Learned, Swing

EVERY_STEP = Profile(
    "everything",
    (
        Hold(12.0, 3600.0, "primary"),
        Soak(16.0, 3600.0, 0.4, "rest"),
        Ramp(4.0, 2.5, "down"),
        Jump(1.0, 0.3, "crash"),
        FreeRise(16.0, 22.0, 3600.0, "rise"),
        WaitForPerson(12.0, "taste it", "tasting"),
        HoldUntil(12.0, CalendarTime(18, 0, weekday=4), "until the weekend"),
        FinalHold(1.0, "lagering"),
    ),
    "One of each but a schedule, which has no end either",
)
CELLAR = Profile(
    "cellar",
    (
        Schedule(
            (
                Change(CalendarTime(7, 30, months=(11, 12, 1)), 12.0),
                Change(CalendarTime(8, 0, date=(2026, 12, 24)), 10.0),
            ),
            "winter",
        ),
    ),
)
LEARNED = Learned(7, 0.4, 8.0, 600.0, -0.1, 0.3, -0.05, 0.02)
FITTED = recalled([float(number) for number in range(1, 37)])
FRESH = first_state(unprotected(), 5.0)
WITH_CALENDAR = unprotected(calendar=CALENDAR)


def through_json(plain: object) -> Any:
    return json.loads(json.dumps(plain, allow_nan=False))


def at_work() -> Bench:
    bench = Bench(WITH_CALENDAR)
    bench.run(60.0)
    bench.tick(StartProfile(EVERY_STEP))
    bench.tick(ExtendStep(120.0))
    bench.run(1234.5)
    return bench


def test_a_profile_comes_back_as_it_was() -> None:
    for profile in (EVERY_STEP, CELLAR):
        assert profile_from_plain(through_json(profile_to_plain(profile))) == profile


def test_a_profile_that_was_kept_without_a_description_has_none() -> None:
    plain = through_json(profile_to_plain(CELLAR))
    del plain["description"]
    assert profile_from_plain(plain) == CELLAR


def test_a_ramp_however_slow_is_remembered() -> None:
    slow = Profile("slow", (Ramp(4.0, 0.01),))
    assert profile_from_plain(through_json(profile_to_plain(slow))) == slow


def remembers(state: ChamberState) -> ChamberState:
    return from_plain(FRESH, through_json(to_plain(state)), 5.0)


def test_every_kind_of_step_is_among_those_that_come_back() -> None:
    assert {type(step) for step in (*EVERY_STEP.steps, *CELLAR.steps)} == set(get_args(Step))


def test_a_running_profile_comes_back_with_its_clock() -> None:
    bench = at_work()
    after = remembers(bench.state)
    assert after.mode is Mode.PROFILE
    assert after.progress == bench.state.progress
    assert after.hand is None


@pytest.mark.parametrize(
    ("command", "mode"),
    [
        (PauseProfile(), Mode.PAUSED),
        (SetTarget(15.5), Mode.HAND),
        (SwitchOff(), Mode.OFF),
    ],
)
def test_every_mode_comes_back_with_its_target(command: Any, mode: Mode) -> None:
    bench = at_work()
    bench.tick(command)
    after = remembers(bench.state)
    assert (after.mode, after.hand, after.progress) == (
        mode,
        bench.state.hand,
        bench.state.progress,
    )


def test_what_was_remembered_twice_is_the_same() -> None:
    plain = to_plain(at_work().state)
    assert to_plain(from_plain(FRESH, through_json(plain), 5.0)) == plain


def test_trust_overrides_and_calls_have_to_be_earned_again() -> None:
    bench = at_work()
    bench.tick(OverrideOutput(Duty.COOL, True, 3600.0))
    after = remembers(bench.state)
    assert after.healths == FRESH.healths
    assert after.histories == FRESH.histories
    assert after.overrides == {}
    assert after.call is FRESH.call


def lost_probe() -> Bench:
    bench = Bench(unprotected())
    bench.run(60.0)
    bench.vessel_c = None
    bench.run(200.0)
    return bench


def goes_on(bench: Bench) -> Bench:
    after = Bench(bench.settings, vessel_c=bench.vessel_c)
    after.state = from_plain(after.state, through_json(to_plain(bench.state)), after.mono_s)
    after.tick()
    return after


def test_an_alarm_that_was_raised_is_not_raised_again_by_a_restart() -> None:
    after = goes_on(lost_probe())
    assert after.alarms() == {AlarmKind.VESSEL_PROBE_LOST}
    after.run(200.0)
    assert after.happened(AlarmChanged) == []
    after.vessel_c = 18.0
    after.run(200.0)
    assert [event.phase for event in after.happened(AlarmChanged)] == [AlarmPhase.CLEARED]


def test_an_alarm_that_somebody_has_seen_stays_seen_over_a_restart() -> None:
    bench = lost_probe()
    bench.tick(AcknowledgeAlarm("vessel-probe-lost", "beer", "anna"))
    after = goes_on(bench)
    assert after.decision is not None
    assert [alarm.phase for alarm in after.decision.alarms] == [AlarmPhase.ACKNOWLEDGED]


def test_a_fridge_without_effect_keeps_its_alarm_over_a_restart_in_the_middle_of_its_rest() -> None:
    bench = Bench(unprotected(air_probe=None), vessel_c=16.0)
    bench.tick(SetTarget(10.0))
    while AlarmKind.NO_EFFECT not in bench.alarms():
        assert bench.vessel_c is not None
        bench.vessel_c += 0.01
        bench.tick(after_s=60.0)
    after = goes_on(bench)
    after.run(2000.0)
    assert AlarmKind.NO_EFFECT in after.alarms()
    after.tick(AcknowledgeAlarm("no-effect", "fridge", "anna"))
    assert AlarmKind.NO_EFFECT not in after.alarms()


def test_an_alarm_that_had_not_rung_yet_is_not_remembered() -> None:
    bench = Bench(unprotected())
    bench.vessel_c = None
    bench.run(30.0)
    assert bench.state.alarms
    assert remembers(bench.state).alarms == ()


def broken(**given: Any) -> Any:
    return through_json(to_plain(at_work().state)) | given


def with_progress(**given: Any) -> Any:
    plain = through_json(to_plain(at_work().state))
    plain["progress"] |= given
    return plain


def with_step(step: Any) -> Any:
    plain = through_json(to_plain(at_work().state))
    plain["progress"]["profile"]["steps"][0] = step
    return plain


def with_learned(duty: str = "cool", **given: Any) -> Any:
    return broken(learned={duty: asdict(LEARNED) | given})


UNREADABLE = {
    "not a table": [],
    "nothing": {},
    "another version": broken(version=VERSION + 1),
    "an unknown mode": broken(mode="asleep"),
    "a running profile that is not there": broken(progress=None),
    "a target by hand that is not there": broken(mode="hand"),
    "a pause without its target": broken(mode="paused"),
    "a target of one number": broken(hand=[12.0]),
    "a target of words": broken(hand=["cold", "colder"]),
    "a target that is no number": broken(hand=[float("nan"), 12.0]),
    "a step beyond the last": with_progress(index=len(EVERY_STEP.steps)),
    "a step before the first": with_progress(index=-1),
    "a calendar before all time": with_progress(from_utc_s=-1e300),
    "a clock that is no number": with_progress(elapsed_s="long"),
    "a clock without end": with_progress(elapsed_s=float("inf")),
    "a clock beyond numbers": with_progress(elapsed_s=10**400),
    "a target on or off": with_progress(entry_c=True),
    "a profile that is a name": with_progress(profile="lager"),
    "a profile without steps": with_progress(index=0, profile={"name": "lager", "steps": []}),
    "a profile without a name": with_progress(profile={"name": 7, "steps": []}),
    "a schedule without changes": with_step({"kind": "schedule", "changes": []}),
    "a schedule at no time": with_step({"kind": "schedule", "changes": [["soon", 1.0]]}),
    "a hold until never": with_step({"kind": "hold-until", "target_c": 1.0, "until": "never"}),
    "a step of an unknown kind": with_step({"kind": "boil"}),
    "a step that is a list": with_step(["hold"]),
    "a step without its numbers": with_step({"kind": "hold"}),
    "a step with one too many": with_step({"kind": "final-hold", "target_c": 1.0, "for_s": 1.0}),
    "a step at a word": with_step({"kind": "final-hold", "target_c": "cold"}),
    "a ramp that never ends": with_step({"kind": "ramp", "to_c": 1.0, "rate_c_per_day": 0.0}),
    "a step named by a number": with_step({"kind": "final-hold", "target_c": 1.0, "name": 7}),
    "a side that nobody knows": with_learned(duty="boil"),
    "a run that was never": with_learned(runs=-1),
    "a coast that goes back": with_learned(coast_c=-0.1),
    "a lag that is no number": with_learned(lag_c="long"),
    "a side without its numbers": broken(learned={"cool": {"runs": 1}}),
    "a run of an unknown side": broken(ran_last="boil"),
    "sums of another fit": broken(probe_fit=[1.0, 2.0]),
    "sums that are words": broken(probe_fit=["much"]),
    "an alarm of an unknown kind": broken(raised=[["on-fire", "fridge"]]),
    "an alarm about a number": broken(acknowledged=[["no-effect", 7]]),
    "alarms that are no pairs": broken(raised=[["no-effect"]]),
}


@pytest.mark.parametrize("plain", UNREADABLE.values(), ids=UNREADABLE.keys())
def test_a_memory_that_cannot_be_read_is_said_to_be_so(plain: Any) -> None:
    with pytest.raises(ForgottenError, match="not readable"):
        from_plain(FRESH, plain, 5.0)


@pytest.mark.parametrize(
    ("plain", "why"),
    [
        (broken(version=VERSION + 1), f"version {VERSION + 1}, known is {VERSION}"),
        (broken(progress=None), "mode profile without a profile"),
        (broken(mode="paused", progress=None), "mode paused without a profile"),
        (broken(mode="hand"), "mode hand without a target"),
        (broken(mode="paused"), "mode paused without a target"),
        (with_progress(index=-1), "step -1 of 8"),
        (with_progress(index=8), "step 8 of 8"),
        (with_progress(elapsed_s=True), "True is not a number"),
        (with_progress(entry_c=float("inf")), "inf is not a number"),
        (with_progress(due_utc_s=-1.0), "-1.0 s is before 1970, where no calendar is looked into"),
        (with_learned(coast_c=-0.1), "coast_c of -0.1"),
        (broken(raised=[["no-effect", 7]]), "7 is not a text"),
        (with_step({"kind": "schedule", "changes": []}), "a schedule without changes"),
        (with_progress(profile={"name": "x", "steps": []}), "a profile without steps"),
        (
            with_step({"kind": "ramp", "to_c": 1.0, "rate_c_per_day": 0.0}),
            "a ramp at 0.0 °C a day never ends",
        ),
    ],
)
def test_a_memory_that_cannot_be_read_says_what_is_wrong_with_it(plain: Any, why: str) -> None:
    with pytest.raises(ForgottenError) as caught:
        from_plain(FRESH, plain, 5.0)
    kind = "TypeError" if "text" in why else "ValueError"
    assert str(caught.value) == (
        f"what was remembered of the chamber is not readable: {kind}({why!r})"
    )


def test_the_first_second_of_1970_and_the_last_step_are_still_to_be_understood() -> None:
    assert from_plain(FRESH, with_progress(due_utc_s=0.0, index=7), 5.0).progress is not None
    assert from_plain(FRESH, with_progress(index=0), 5.0).progress is not None


def test_what_was_learned_of_a_chamber_comes_back_as_it_was() -> None:
    bench = at_work()
    swing = Swing({Duty.COOL: LEARNED, Duty.HEAT: Learned()}, Duty.HEAT, smooth_c=12.0)
    before = replace(bench.state, swing=swing, placing=FITTED)
    plain = through_json(to_plain(before))
    after = from_plain(FRESH, plain, 5.0)
    assert after.swing == Swing(swing.learned, Duty.HEAT)
    assert after.placing == FITTED
    assert to_plain(after)["probe_fit"] == plain["probe_fit"]
    assert plain["ran_last"] == "heat"
    assert plain["learned"]["cool"] == {
        "runs": 7,
        "coast_c": 0.4,
        "difference_c": 8.0,
        "run_s": 600.0,
        "lag_c": -0.1,
        "least_swing_c": 0.3,
        "centre_c": -0.05,
        "error_c": 0.02,
    }


def test_a_memory_from_before_anything_was_learned_has_nothing_of_it() -> None:
    plain = through_json(to_plain(at_work().state))
    for key in ("learned", "probe_fit", "ran_last"):
        del plain[key]
    after = from_plain(FRESH, plain, 5.0)
    assert (after.swing, after.placing) == (Swing(), Placing())


def test_the_sums_of_a_fit_that_is_not_made_any_more_are_left_alone() -> None:
    plain = through_json(to_plain(at_work().state)) | {"vessel_fit": [1.0, 2.0]}
    del plain["probe_fit"]
    assert from_plain(FRESH, plain, 5.0).placing == Placing()
    assert "vessel_fit" not in to_plain(from_plain(FRESH, plain, 5.0))


@pytest.mark.parametrize("coast_c", [0.0, 0.4])
def test_what_is_nothing_is_remembered_too(coast_c: float) -> None:
    known = from_plain(FRESH, with_learned(coast_c=coast_c, runs=0), 5.0).swing.learned
    assert known == {Duty.COOL: replace(LEARNED, runs=0, coast_c=coast_c)}
    assert isinstance(known[Duty.COOL].runs, int)


def test_a_planned_start_and_the_alarms_come_back_as_they_were() -> None:
    bench = at_work()
    bench.tick(PlanStart(CELLAR, bench.wall_utc_s + 3600.0, "anna"))
    plain = through_json(to_plain(bench.state)) | {
        "acknowledged": [["no-effect", "fridge"]],
        "raised": [["vessel-probe-lost", "beer"]],
    }
    after = from_plain(FRESH, plain, 5.0)
    assert after.planned == bench.state.planned
    assert after.alarms == (
        Alarm(AlarmKind.NO_EFFECT, "fridge", AlarmPhase.ACKNOWLEDGED, False, 5.0, 5.0),
        Alarm(AlarmKind.VESSEL_PROBE_LOST, "beer", AlarmPhase.RAISED, False, 5.0, 5.0),
    )
    assert {key: to_plain(after)[key] for key in plain} == plain


def test_a_step_that_is_not_of_a_profile_keeps_every_number_that_it_had() -> None:
    given = {
        "elapsed_s": 12.3456,
        "entry_c": 11.5,
        "extra_s": -30.0,
        "reached": True,
        "due_utc_s": 1.76e9,
        "from_utc_s": 1.75e9,
        "scheduled_c": 9.5,
        "plan": profile_to_plain(CELLAR),
    }
    progress = from_plain(FRESH, with_progress(**given), 5.0).progress
    assert progress == Progress(
        EVERY_STEP,
        progress.index if progress is not None else -1,
        12.3456,
        11.5,
        -30.0,
        True,
        1.76e9,
        1.75e9,
        9.5,
        plan=CELLAR,
    )
    kept = to_plain(replace(FRESH, progress=progress))["progress"]
    assert {key: kept[key] for key in given} == given | {"elapsed_s": 12.346}


values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=5),
    lambda inner: (
        st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner, max_size=3)
    ),
    max_leaves=5,
)


@given(data=st.data())
def test_a_memory_with_anything_in_any_place_is_read_or_refused_and_never_ends_a_tick(
    data: st.DataObject,
) -> None:
    plain = through_json(to_plain(at_work().state))
    place: Any = plain
    while True:
        keys = sorted(place) if isinstance(place, dict) else range(len(place))
        key = data.draw(st.sampled_from(list(keys)))
        if not isinstance(place[key], dict | list) or not place[key] or data.draw(st.booleans()):
            break
        place = place[key]
    place[key] = data.draw(values)
    bench = Bench(WITH_CALENDAR)
    try:
        bench.state = from_plain(bench.state, plain, bench.mono_s)
    except ForgottenError:
        return
    bench.run(60.0)
