"""How long nobody was in charge, told once, and what of it counts for a step."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from loop_rig import PERIOD_S, SITE, VESSEL_ID, Rig

from fermd.control.commands import (
    ChangeStepTarget,
    Command,
    ExtendStep,
    GoToStep,
    PauseProfile,
    ResumeProfile,
    SkipStep,
    StartProfile,
)
from fermd.control.events import (
    Event,
    OutageSeen,
    ProfileChange,
    ProfileChanged,
    StepChange,
    StepChanged,
)
from fermd.control.moment import Moment
from fermd.control.steps import FinalHold, Hold, Profile
from fermd.journal.ports import Outage
from fermd.service.outage import PATIENCE_S, WORTH_AN_ALARM_S, Known, OutageTeller, Untold, untold

BOOT, NEXT_BOOT = "first boot", "second boot"
WALL_S = 1_790_000_000.0
LAST = Moment(5000.0, WALL_S, wall_trusted=True)
DAY_S = 86_400.0


def before(boot: str | None = BOOT, last: Moment | None = LAST, *, cleanly: bool = False) -> Outage:
    return Outage(boot, cleanly, last, (), ())


def teller(
    outage: Outage, started: Moment, boot: str = NEXT_BOOT, beer_c: float = 18.0
) -> OutageTeller:
    one = untold(outage, beer_c)
    return OutageTeller({} if one is None else {"lager": one}, boot, started)


def after(moment: Moment, span_s: float, **changed: Any) -> Moment:
    """So much later on both clocks."""
    later = replace(moment, mono_s=moment.mono_s + span_s, wall_utc_s=moment.wall_utc_s + span_s)
    return replace(later, **changed)


spans_s = st.floats(0.0, 400 * DAY_S)


# --- how long it was -----------------------------------------------------------------------------


@given(spans_s, st.floats(-1e9, 1e9), st.booleans())
def test_on_the_same_boot_it_is_as_long_as_its_own_clock_says_whatever_is_on_the_wall(
    outage_s: float, stepped_s: float, clock_set: bool
) -> None:
    started = after(LAST, outage_s, wall_utc_s=WALL_S + stepped_s, wall_trusted=clock_set)
    known = teller(before(), started, BOOT).tell("lager", 19.0, after(started, 30.0))
    assert known is not None
    assert known.lasted_s == pytest.approx(outage_s)


@given(spans_s, st.floats(0.0, PATIENCE_S))
def test_after_a_power_cut_it_is_known_once_the_clock_is_set_and_not_before(
    outage_s: float, set_after_s: float
) -> None:
    # The board comes up at the time of the cut, or in 1970.
    started = Moment(3.0, WALL_S + 1.0, wall_trusted=False)
    tells = teller(before(), started)
    assert tells.tell("lager", 19.0, after(started, set_after_s * 0.99)) is None
    set_at = Moment(3.0 + set_after_s, WALL_S + outage_s + set_after_s, wall_trusted=True)
    known = tells.tell("lager", 19.0, set_at)
    assert known is not None
    # From the last word to the start; the minutes until the clock was set were under control.
    assert known.lasted_s == pytest.approx(outage_s, abs=0.01)


def test_after_a_power_cut_whose_clock_nobody_sets_it_is_told_as_unknown_when_patience_ends() -> (
    None
):
    started = Moment(3.0, WALL_S, wall_trusted=False)
    tells = teller(before(), started)
    assert tells.tell("lager", 19.0, after(started, PATIENCE_S)) is None
    known = tells.tell("lager", 19.0, after(started, PATIENCE_S + 10.0))
    assert known == Known(None, False, 18.0, 19.0)
    assert known.worth_an_alarm


def test_after_a_process_whose_own_clock_was_never_set_nobody_pretends_to_know() -> None:
    last = replace(LAST, wall_trusted=False)
    started = Moment(3.0, WALL_S + 3600.0, wall_trusted=True)
    tells = teller(before(last=last), started)
    assert tells.tell("lager", 19.0, after(started, 30.0)) is None
    known = tells.tell("lager", 19.0, after(started, PATIENCE_S + 10.0))
    assert known is not None
    assert known.lasted_s is None


def test_a_clock_that_was_set_back_leaves_the_length_of_an_outage_unknown() -> None:
    started = Moment(3.0, WALL_S - 3600.0, wall_trusted=True)
    tells = teller(before(), started)
    assert tells.tell("lager", 19.0, after(started, 30.0)) is None
    known = tells.tell("lager", 19.0, after(started, PATIENCE_S + 10.0))
    assert known is not None
    assert known.lasted_s is None
    assert known.worth_an_alarm


def test_a_journal_that_knows_of_nobody_tells_of_no_outage() -> None:
    assert untold(before(None, None), 18.0) is None


@pytest.mark.parametrize(
    ("lasted_s", "worth"),
    [(None, True), (0.0, False), (WORTH_AN_ALARM_S - 1, False), (WORTH_AN_ALARM_S, True)],
)
def test_a_restart_is_no_alarm_and_an_outage_of_unknown_length_is(
    lasted_s: float | None, worth: bool
) -> None:
    assert Known(lasted_s, True, None, None).worth_an_alarm is worth


# --- told once -----------------------------------------------------------------------------------


def test_it_waits_for_the_beer_to_be_measured_and_is_told_once() -> None:
    started = after(LAST, 3600.0)
    tells = teller(before(), started, BOOT)
    assert tells.tell("lager", None, started) is None
    assert tells.tell("lager", 19.5, after(started, 60.0)) == Known(3600.0, False, 18.0, 19.5)
    assert tells.tell("lager", 19.5, after(started, 120.0)) is None
    assert tells.to_plain() == {}


def test_the_beer_after_it_is_as_it_was_when_first_measured_not_when_the_clock_was_set() -> None:
    started = Moment(3.0, WALL_S, wall_trusted=False)
    tells = teller(before(), started)
    assert tells.tell("lager", 21.0, after(started, 60.0)) is None
    set_at = Moment(303.0, WALL_S + DAY_S, wall_trusted=True)
    known = tells.tell("lager", 20.0, set_at)
    assert known is not None
    assert known.beer_after_c == 21.0


def test_a_chamber_that_was_not_there_then_is_told_nothing() -> None:
    started = after(LAST, 3600.0)
    assert teller(before(), started, BOOT).tell("ale", 19.5, after(started, 60.0)) is None


# --- what nobody was told of yet -----------------------------------------------------------------


def passed_on(tells: OutageTeller) -> dict[str, Any]:
    plain: dict[str, Any] = json.loads(json.dumps(tells.to_plain()["lager"]))
    return plain


def test_the_next_process_tells_of_both_outages_less_what_was_under_control_between() -> None:
    started = after(LAST, 8 * 3600.0)
    first = teller(before(cleanly=True), started, BOOT, beer_c=12.0)
    assert first.tell("lager", None, after(started, 30.0)) is None
    # It ended without a word after 40 s; ten minutes later the next one starts.
    ended = after(started, 40.0)
    again = after(ended, 600.0)
    one = untold(before(last=ended), 17.0, passed_on(first), BOOT)
    assert one is not None
    known = OutageTeller({"lager": one}, BOOT, again).tell("lager", 19.0, after(again, 30.0))
    assert known == Known(8 * 3600.0 + 600.0, False, 12.0, 19.0)


@given(
    st.lists(st.tuples(st.floats(1.0, DAY_S), st.floats(0.0, 500.0)), min_size=1, max_size=6),
    st.booleans(),
)
def test_however_often_the_mains_come_and_go_every_second_without_control_is_told_of(
    cuts: list[tuple[float, float]], other_boot: bool
) -> None:
    """Each is a time without control and the time that the next process lived, untold."""
    last, boot, kept, dark_s = LAST, BOOT, None, 0.0
    for number, (outage_s, lived_s) in enumerate(cuts):
        now_boot = f"boot {number}" if other_boot else BOOT
        started = after(last, outage_s)
        if other_boot:
            started = replace(started, mono_s=5.0)
        dark_s += outage_s
        one = untold(before(boot, last), 18.0, kept, boot)
        assert one is not None
        tells = OutageTeller({"lager": one}, now_boot, started)
        last, boot, kept = after(started, lived_s), now_boot, passed_on(tells)
    known = tells.tell("lager", 19.0, last)
    assert known is not None
    assert known.lasted_s == pytest.approx(dark_s, abs=0.01)


def test_what_cannot_be_understood_of_an_untold_outage_is_refused_or_counts_as_the_worse() -> None:
    kept = passed_on(teller(before(cleanly=True), after(LAST, 3600.0), BOOT))
    assert untold(before(cleanly=True), 18.0, kept, BOOT) is not None
    for key in kept.keys() - {"boot_id"}:
        for garbage in ("yes", [], float("nan")):
            try:
                one = untold(before(cleanly=True), 18.0, {**kept, key: garbage}, BOOT)
            except (KeyError, TypeError, ValueError):
                continue
            # Whatever is no plain "yes" counts as the worse.
            assert one is not None
            assert not (one.last.wall_trusted and one.cleanly and one.counts)


LEAVES: list[Event] = [
    StepChanged("p", 1, "hold", "", StepChange.ENTERED, 0.0),
    StepChanged("p", 0, "hold", "", StepChange.CHANGED, 0.0),
    ProfileChanged("p", ProfileChange.STARTED),
    ProfileChanged("p", ProfileChange.PAUSED),
    ProfileChanged("p", ProfileChange.RESUMED),
    ProfileChanged("p", ProfileChange.FINISHED),
]


@pytest.mark.parametrize("event", LEAVES, ids=lambda e: e.change.value)
def test_nothing_counts_for_a_step_that_was_left_before_anything_was_known(event: Event) -> None:
    started = after(LAST, 3600.0)
    tells = teller(before(), started, BOOT)
    tells.happened("lager", [event])
    # Nor if the next process is the one to tell of it.
    one = untold(before(last=after(started, 40.0)), 18.0, passed_on(tells), BOOT)
    assert one is not None
    assert not one.counts
    known = tells.tell("lager", 18.0, after(started, 60.0))
    assert known is not None
    assert not known.counts


STAYS: list[Event] = [
    StepChanged("p", 0, "hold", "", StepChange.EXTENDED, 0.0),
    StepChanged("p", 0, "soak", "", StepChange.REACHED, 0.0),
    OutageSeen(5.0, cleanly=True),
]


def test_what_happens_within_a_step_leaves_it_what_it_had_of_the_outage() -> None:
    started = after(LAST, 3600.0)
    tells = teller(before(), started, BOOT)
    tells.happened("lager", STAYS)
    tells.happened("ale", LEAVES)
    known = tells.tell("lager", 18.0, after(started, 60.0))
    assert known is not None
    assert known.counts


# --- through the loop ----------------------------------------------------------------------------

LONG = Profile("long", (Hold(18.0, 20 * 3600.0), Hold(18.0, 20 * 3600.0), FinalHold(10.0)))


@pytest.fixture
def rig(tmp_path: Path) -> Rig:
    made = Rig(tmp_path)
    made.run_for(120.0)
    return made


def elapsed_s(rig: Rig) -> float:
    progress = rig.loop._state.chambers["lager"].progress
    assert progress is not None
    return progress.elapsed_s


def over_an_outage(rig: Rig, after_c: float, commands: Sequence[Command] = ()) -> OutageSeen:
    """Two hours without control, then these commands while the beer is not known yet."""
    assert rig.ask(StartProfile(LONG, "anna")).taken
    rig.run_for(1800.0)
    rig.end(cleanly=False)
    rig.let_pass(7200.0)
    rig.lose(VESSEL_ID)
    rig.start()
    for command in commands:
        assert rig.ask(command).taken
        rig.tick()
    rig.board.probes.mend(VESSEL_ID)
    rig.warm_to(after_c)
    rig.run_for(300.0)
    (outage,) = rig.told(OutageSeen)
    assert isinstance(outage, OutageSeen)
    return outage


def test_an_outage_at_temperature_counts_for_the_hold_through_the_loop(rig: Rig) -> None:
    outage = over_an_outage(rig, 18.0)
    assert outage.counted_s == outage.lasted_s
    assert elapsed_s(rig) == pytest.approx(1800.0 + 7200.0 + 300.0, abs=3 * PERIOD_S)


def test_of_an_outage_in_which_the_beer_warmed_the_share_within_a_degree_counts(rig: Rig) -> None:
    outage = over_an_outage(rig, 22.0)
    # It warmed by 4 degrees, evenly as far as anybody knows: a quarter of the time was within one.
    assert outage.counted_s == pytest.approx(7200.0 / 4, abs=2 * PERIOD_S)


@pytest.mark.parametrize(
    "commands",
    [
        [SkipStep()],
        [GoToStep(1)],
        [StartProfile(LONG)],
        [PauseProfile(), ResumeProfile()],
        [ChangeStepTarget(18.5)],
    ],
    ids=["skipped", "gone-to", "started", "paused", "changed"],
)
def test_what_a_person_did_to_the_step_meanwhile_leaves_nothing_of_the_outage_to_count(
    rig: Rig, commands: list[Command]
) -> None:
    assert over_an_outage(rig, 18.0, commands).counted_s == 0.0
    assert elapsed_s(rig) < 1800.0 + 600.0


def test_a_step_that_was_made_longer_meanwhile_keeps_what_counts(rig: Rig) -> None:
    outage = over_an_outage(rig, 18.0, [ExtendStep(3600.0)])
    assert outage.counted_s == outage.lasted_s


def test_a_paused_profile_counts_nothing_of_an_outage(rig: Rig) -> None:
    assert rig.ask(StartProfile(LONG, "anna")).taken
    rig.run_for(1800.0)
    assert rig.ask(PauseProfile("anna")).taken
    stood_s = elapsed_s(rig)
    rig.restart(cleanly=False, after_s=7200.0)
    rig.run_for(300.0)
    (outage,) = rig.told(OutageSeen)
    assert outage.counted_s == 0.0
    assert elapsed_s(rig) == stood_s


TWO_CHAMBERS = (
    SITE
    + """
[probe.other]
id = "28-00000aa11bb2"
jump_c = 50
frozen_s = 0

[output.other]
gpio = 22
duty = "heat"
active = "low"

[chamber.ale]
vessel_probe = "other"
outputs = ["other"]
"""
)


def test_each_chamber_is_told_once_and_the_board_raises_one_alarm(tmp_path: Path) -> None:
    rig = Rig(tmp_path, TWO_CHAMBERS)
    rig.board.probes.freeze("28-00000aa11bb2", 12.0)
    rig.run_for(120.0)
    rig.restart(cleanly=False, after_s=7200.0)
    rig.run_for(1200.0)
    told = [(row.chamber, row.happening) for row in rig.rows()]
    outages = [(name, happened) for name, happened in told if isinstance(happened, OutageSeen)]
    assert sorted(name for name, _ in outages) == ["ale", "lager"]
    assert {round(happened.lasted_s or 0.0) for _, happened in outages} == {7200}
    assert rig.alarms()["outage"] == "raised"
    alarms = [h for _, h in told if getattr(h, "alarm", "") == "outage"]
    assert len(alarms) == 1
    assert alarms[0].value == pytest.approx(7200.0, abs=PERIOD_S)  # type: ignore[union-attr]


def test_a_record_with_an_untold_outage_that_is_garbage_keeps_its_profile(rig: Rig) -> None:
    assert rig.ask(StartProfile(LONG, "anna")).taken
    rig.run_for(1800.0)
    spoilt = {"lager": {"mono_s": "soon"}}
    rig.loop._outage.to_plain = lambda: spoilt  # type: ignore[method-assign]
    rig.run_for(1200.0)
    rig.end()
    rig.start()
    assert elapsed_s(rig) > 1800.0
    rig.run_for(120.0)
    (outage,) = rig.told(OutageSeen)
    assert outage.lasted_s == pytest.approx(0.0, abs=PERIOD_S)


def test_what_is_untold_is_plain_and_comes_back_as_it_was() -> None:
    one = Untold(LAST, BOOT, True, 12.0, 77.0, counts=False)
    kept = json.loads(json.dumps(one.to_plain(9000.0)))
    ended = Moment(9040.0, WALL_S + 4040.0, wall_trusted=True)
    again = untold(before(last=ended, cleanly=True), 15.0, kept, BOOT)
    assert again == replace(one, ran_s=77.0 + 40.0)
    # Of a process of another boot nothing is known.
    assert untold(before(last=ended, cleanly=True), 15.0, kept, NEXT_BOOT) == one
