"""Any profile that a file may hold, for hypothesis."""

from __future__ import annotations

from collections.abc import Sequence

from hypothesis import strategies as st

from fermd.control.calendar import CalendarTime, parse_calendar_time
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

LONGEST_S = 400 * 86400

temps = st.floats(-10, 45).map(lambda c: c + 0.0)
some_text = st.text(st.characters(codec="utf-8"), max_size=30)
sure_text = st.text(st.characters(codec="utf-8"), min_size=1, max_size=30)
any_time = st.floats(1, LONGEST_S)
whole_minutes = st.integers(1, LONGEST_S // 60).map(lambda minutes: minutes * 60.0)

calendar_times = st.one_of(
    st.builds(CalendarTime, st.integers(0, 23), st.integers(0, 59)),
    st.sampled_from(["fri 18:00", "apr-sep 07:00", "dec 06:30", "2026-12-24 08:00"]).map(
        parse_calendar_time
    ),
)
changes = st.builds(Change, calendar_times, temps)


def _of_kind(kind: type[Step], for_s: st.SearchStrategy[float]) -> st.SearchStrategy[Step]:
    within = st.floats(0.01, 5)
    match kind.kind:
        case "hold":
            return st.builds(Hold, temps, for_s, some_text)
        case "soak":
            return st.builds(Soak, temps, for_s, within, some_text)
        case "ramp":
            return st.builds(Ramp, temps, st.floats(0.2, 480), some_text)
        case "jump":
            return st.builds(Jump, temps, within, some_text)
        case "free-rise":
            pairs = st.tuples(temps, temps).filter(lambda two: two[0] < two[1])
            return st.builds(
                lambda two, time_s, name: FreeRise(*two, time_s, name), pairs, for_s, some_text
            )
        case "wait":
            return st.builds(WaitForPerson, temps, sure_text, some_text)
        case "hold-until":
            return st.builds(HoldUntil, temps, calendar_times, some_text)
        case "schedule":
            some = st.lists(changes, min_size=1, max_size=3).map(tuple)
            return st.builds(Schedule, some, some_text)
        case _:
            return st.builds(FinalHold, temps, some_text)


BEFORE_THE_LAST = (Hold, HoldUntil, Soak, Ramp, Jump, FreeRise, WaitForPerson)


def profiles(
    kinds: Sequence[type[Step]] = BEFORE_THE_LAST, for_s: st.SearchStrategy[float] = any_time
) -> st.SearchStrategy[Profile]:
    """Profiles of these kinds of steps; with all of them there may be one without end."""
    steps = st.lists(st.one_of([_of_kind(kind, for_s) for kind in kinds]), min_size=1, max_size=8)
    ends = st.just(())
    if kinds is BEFORE_THE_LAST:
        last = st.one_of(_of_kind(FinalHold, for_s), _of_kind(Schedule, for_s))
        ends = st.one_of(ends, st.tuples(last))
    return st.builds(
        lambda name, first, end, text: Profile(name, (*first, *end), text),
        sure_text,
        steps,
        ends,
        some_text,
    )
