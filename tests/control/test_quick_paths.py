"""What is done quickly at every tick is what the slow way would have done."""

from __future__ import annotations

from dataclasses import replace

import pytest
from chamber_bench import fridge, heater, settings
from hypothesis import given
from hypothesis import strategies as st

from fermd.control import site
from fermd.control.commands import SetTarget
from fermd.control.moment import Moment
from fermd.control.progress import begin, remaining_after_s
from fermd.control.protection import History, Surroundings, protect, stays_off
from fermd.control.reading import Sample
from fermd.control.reasons import Reason, Rule
from fermd.control.replacing import replacer
from fermd.control.settings import Duty, SiteSettings
from fermd.control.state import ChamberState, first_state
from fermd.control.steps import Hold, Profile, Ramp, leaves_c, planned_s

times = st.none() | st.floats(0.0, 1e5)


def test_a_value_is_replaced_as_by_the_standard_library() -> None:
    state = first_state(settings(), 5.0)
    quick = replacer(ChamberState, "last_mono_s", "told_index")
    assert quick(state, 7.0, 3) == replace(state, last_mono_s=7.0, told_index=3)
    assert replacer(ChamberState, "told_index")(state, 3) == replace(state, told_index=3)
    with pytest.raises(ValueError, match="shorter"):
        quick(state, 7.0)


@given(
    stopped_s=times,
    rest_s=times,
    unknown_s=times,
    starts=st.lists(st.floats(0.0, 1e5), max_size=3).map(sorted),
    unsafe=st.booleans(),
    other_on=st.booleans(),
)
def test_what_is_off_and_not_asked_for_stays_off_whatever_is_around_it(
    stopped_s: float | None,
    rest_s: float | None,
    unknown_s: float | None,
    starts: list[float],
    unsafe: bool,
    other_on: bool,
) -> None:
    history = History(False, None, stopped_s, tuple(starts), unknown_s, rest_s)
    safety = (Reason(Rule.AIR_LIMIT),) if unsafe else ()
    around = Surroundings(safety, other_on, 10.0, 600.0, 0.0)
    for output in (fridge(), heater()):
        assert protect(history, output, False, around, 5e4) == stays_off(history)


def test_what_is_left_of_a_profile_is_the_sum_of_its_later_steps() -> None:
    steps = (Ramp(12.0, 2.0), Hold(12.0, 600.0), Ramp(4.0, 4.0), Hold(4.0, 50.0))
    progress, _ = begin(Profile("sum", steps), 18.0)
    for index in range(len(steps)):
        later_s, at_c = 0.0, leaves_c(steps[index])
        for step in steps[index + 1 :]:
            later_s += planned_s(step, at_c) or 0.0
            at_c = leaves_c(step)
        assert remaining_after_s(replace(progress, index=index)) == pytest.approx(later_s)


def test_chambers_of_a_site_without_circuits_are_each_on_their_own() -> None:
    chambers = (settings(name="one"), settings(name="two"))
    given = SiteSettings(chambers)
    state = site.SiteState({one.name: first_state(one, 0.0) for one in chambers})
    for tick in range(200):
        mono_s = 10.0 * tick
        samples = {"beer": (Sample(mono_s, 20.0),), "air": (Sample(mono_s, 20.0),)}
        commands = (SetTarget(10.0),) if tick == 5 else ()
        inputs = {one.name: site.Inputs(samples, commands) for one in chambers}
        state, decisions = site.step(state, given, inputs, Moment(mono_s))
    on = {decision.chamber: decision.outputs[1].on for decision in decisions.values()}
    assert on == {"one": True, "two": True}
    assert decisions["one"].outputs[1].duty is Duty.COOL
    assert state.waiting_since_mono_s == {}
