"""What becomes of a profile when the power returns: to the minute, and to the brewer's ear.

The board has no battery clock: after a power cut it stands at the time of the cut until the
network has set it.
"""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from batch_rig import HOUR_S, PERIOD_S, broken_promises
from resume_rig import KilledBatch

from fermd.control.calendar import parse_calendar_time
from fermd.control.commands import CancelPlan, PlanStart, StartProfile
from fermd.control.decision import Mode
from fermd.control.events import OutageSeen, ProfileChange, ProfileChanged, StepChange, StepChanged
from fermd.control.steps import FinalHold, Hold, HoldUntil, Profile, Step
from fermd.journal.rows import DaemonRun
from fermd.journal.settings import JournalSettings

MINUTE_S = 60.0
UNWRITTEN_S = JournalSettings().batch_s + 2 * PERIOD_S
"""So much of the end of a process may not be on the disk."""
AT_WORK = Profile("at work", (Hold(18.0, 10 * HOUR_S, "main"), FinalHold(16.0)))


def local_s(text: str) -> float:
    return datetime.fromisoformat(text).replace(tzinfo=ZoneInfo("Europe/Vienna")).timestamp()


@pytest.fixture
def batch(tmp_path: Path) -> KilledBatch:
    """A board that has just been switched on, on a Tuesday at nine."""
    return KilledBatch(tmp_path, local_s("2026-03-24 09:00"))


def starts(batch: KilledBatch, *steps: Step) -> None:
    batch.ask(StartProfile(Profile("batch", steps), "brewer"))


def until(batch: KilledBatch, true_s: float) -> None:
    while batch.clock.true_utc_s < true_s:
        batch.tick()


def changes(batch: KilledBatch, change: StepChange, index: int) -> list[tuple[float, float]]:
    """When it happened to this step, and what the step's clock (or its lateness) was then."""
    return [
        (batch.true_s(row), row.happening.elapsed_s)
        for row in batch.rows()
        if isinstance(row.happening, StepChanged)
        and (row.happening.change, row.happening.index) == (change, index)
    ]


# --- a planned start -----------------------------------------------------------------------------


def started(batch: KilledBatch) -> list[tuple[float, str]]:
    return [
        (batch.true_s(row), row.happening.who)
        for row in batch.rows()
        if isinstance(row.happening, ProfileChanged)
        and row.happening.change is ProfileChange.STARTED
    ]


def test_a_planned_start_comes_on_time_whatever_the_process_went_through(
    batch: KilledBatch,
) -> None:
    at_s = local_s("2026-03-25 18:00")
    batch.ask(PlanStart(AT_WORK, at_s, "anna"))
    for outage_s in (3.0, HOUR_S, 4 * HOUR_S):
        batch.run_for(2 * HOUR_S)
        batch.kill(in_tick=True)
        batch.restart(outage_s)
        batch.run_for(HOUR_S)
        batch.kill()
        batch.power_returns(outage_s, clock_set_after_s=90.0)
    until(batch, at_s + HOUR_S)
    ((began_s, who),) = started(batch)
    assert who == "anna"
    assert at_s <= began_s < at_s + PERIOD_S
    assert changes(batch, StepChange.OVERDUE, 0) == []


def test_a_planned_start_that_the_board_slept_through_comes_late_once_the_clock_is_set_and_is_told(
    batch: KilledBatch,
) -> None:
    at_s = local_s("2026-03-24 18:00")
    batch.ask(PlanStart(AT_WORK, at_s, "anna"))
    until(batch, at_s - HOUR_S)
    batch.kill()
    batch.power_returns(4 * HOUR_S, clock_set_after_s=500.0)
    set_s = batch.clock.true_utc_s + 500.0
    batch.run_for(HOUR_S)
    ((began_s, _),) = started(batch)
    assert set_s <= began_s < set_s + PERIOD_S
    # Over a kill right after it, too, it is started once.
    batch.kill()
    batch.restart(10.0)
    batch.run_for(HOUR_S)
    assert len(started(batch)) == 1
    ((_, late_s),) = changes(batch, StepChange.OVERDUE, 0)
    assert late_s == pytest.approx(began_s - at_s, abs=1.0)
    assert late_s > 3 * HOUR_S


def test_a_planned_start_waits_for_ever_for_a_clock_that_nobody_sets(batch: KilledBatch) -> None:
    at_s = local_s("2026-03-24 18:00")
    batch.ask(PlanStart(AT_WORK, at_s, "anna"))
    batch.kill()
    batch.power_returns(HOUR_S, clock_set_after_s=1e9)
    until(batch, at_s + 12 * HOUR_S)
    assert started(batch) == []
    assert batch.state.planned is not None
    batch.set_clock()
    batch.tick()
    assert batch.state.mode is Mode.PROFILE


def test_a_start_that_was_taken_back_does_not_come_after_a_restart(batch: KilledBatch) -> None:
    at_s = local_s("2026-03-24 12:00")
    batch.ask(PlanStart(AT_WORK, at_s, "anna"))
    batch.ask(CancelPlan("anna"))
    batch.kill()
    batch.restart(10.0)
    until(batch, at_s + HOUR_S)
    assert started(batch) == []


# --- steps of the calendar -----------------------------------------------------------------------


def test_a_date_that_was_found_when_the_clock_was_set_is_kept_over_a_cut_right_after(
    tmp_path: Path,
) -> None:
    batch = KilledBatch(tmp_path, local_s("2026-03-24 19:00"))
    batch.clock.vouch_for_wall(False)
    batch.clock.step_wall(-20 * 86_400.0)
    starts(batch, HoldUntil(18.0, parse_calendar_time("20:00")), FinalHold(16.0))
    until(batch, local_s("2026-03-24 19:50"))
    batch.set_clock()
    batch.run_for(3 * PERIOD_S)
    batch.kill()
    # The evening meant is this one, and it passes without power.
    batch.power_returns(HOUR_S, clock_set_after_s=300.0)
    set_s = batch.clock.true_utc_s + 300.0
    batch.run_for(HOUR_S)
    ((ended_s, _),) = changes(batch, StepChange.ENDED, 0)
    assert set_s <= ended_s < set_s + PERIOD_S
    ((_, late_s),) = changes(batch, StepChange.OVERDUE, 0)
    assert late_s == pytest.approx(ended_s - local_s("2026-03-24 20:00"), abs=1.0)


def test_steps_that_are_late_are_taken_up_at_once_in_order_and_each_is_told(
    batch: KilledBatch,
) -> None:
    dates = ["2026-03-25 08:00", "2026-03-26 08:00", "2026-03-28 08:00"]
    rules = [parse_calendar_time(date) for date in dates]
    starts(batch, *(HoldUntil(18.0 - n, at) for n, at in enumerate(rules)), FinalHold(10.0))
    batch.run_for(HOUR_S)
    batch.kill()
    batch.power_returns(60 * HOUR_S)
    back_s = batch.clock.true_utc_s
    until(batch, local_s(dates[2]) + HOUR_S)
    for index, date in enumerate(dates[:2]):
        ((_, late_s),) = changes(batch, StepChange.OVERDUE, index)
        assert late_s == pytest.approx(back_s - local_s(date), abs=PERIOD_S)
    assert [changes(batch, StepChange.ENDED, index)[0][0] for index in (0, 1)] == [back_s] * 2
    ((on_time_s, _),) = changes(batch, StepChange.ENDED, 2)
    assert local_s(dates[2]) <= on_time_s < local_s(dates[2]) + PERIOD_S
    assert changes(batch, StepChange.OVERDUE, 2) == []


def test_a_date_that_passed_while_the_step_before_it_was_held_up_is_told_to_be_overdue(
    batch: KilledBatch,
) -> None:
    noon = parse_calendar_time("2026-03-24 21:00")
    starts(batch, Hold(10.0, 10 * HOUR_S), HoldUntil(9.0, noon), FinalHold(8.0))
    batch.run_for(2 * HOUR_S)
    batch.kill()
    # The beer is far from 10 °C: nothing counts, and the hold takes until the next morning.
    batch.power_returns(6 * HOUR_S)
    until(batch, local_s("2026-03-25 09:00"))
    ((ended_s, _),) = changes(batch, StepChange.ENDED, 1)
    ((_, late_s),) = changes(batch, StepChange.OVERDUE, 1)
    assert late_s == pytest.approx(ended_s - local_s("2026-03-24 21:00"), abs=1.0)


# --- what an outage counts for -------------------------------------------------------------------


def test_a_hold_is_not_shortened_by_an_outage_that_another_step_was_in(batch: KilledBatch) -> None:
    starts(batch, Hold(18.0, HOUR_S, "first"), Hold(18.0, 10 * HOUR_S, "second"), FinalHold(16.0))
    batch.run_for(57 * MINUTE_S)
    batch.kill()
    # The first hold ends before anybody knows how long the night was.
    batch.power_returns(8 * HOUR_S, clock_set_after_s=580.0)
    batch.run_for(11 * HOUR_S)
    (outage,) = batch.told(OutageSeen)
    assert outage.lasted_s == pytest.approx(8 * HOUR_S, abs=UNWRITTEN_S)
    assert outage.counted_s == 0.0
    ((entered_s, _),) = changes(batch, StepChange.ENTERED, 1)
    ((ended_s, _),) = changes(batch, StepChange.ENDED, 1)
    assert ended_s - entered_s == pytest.approx(10 * HOUR_S, abs=PERIOD_S)


def test_a_profile_that_is_started_after_an_outage_owes_nothing_to_it(batch: KilledBatch) -> None:
    starts(batch, Hold(18.0, 10 * HOUR_S), FinalHold(16.0))
    batch.run_for(HOUR_S)
    batch.kill()
    batch.power_returns(8 * HOUR_S, clock_set_after_s=580.0)
    starts(batch, Hold(18.0, 10 * HOUR_S), FinalHold(16.0))
    batch.run_for(HOUR_S)
    (outage,) = batch.told(OutageSeen)
    assert outage.counted_s == 0.0
    assert batch.ticks[-1].elapsed_s <= HOUR_S + PERIOD_S


def test_what_was_counted_of_an_outage_is_not_counted_again_after_a_kill(
    batch: KilledBatch,
) -> None:
    starts(batch, Hold(18.0, 20 * HOUR_S), FinalHold(16.0))
    batch.run_for(HOUR_S)
    for _ in range(3):
        batch.kill()
        batch.restart(2 * HOUR_S)
        batch.run_for(20 * MINUTE_S)
    told = batch.told(OutageSeen)
    counted_s = sum(each.counted_s for each in told)
    assert len(told) == 3
    assert counted_s > 3 * HOUR_S
    true_s = batch.clock.true_utc_s - batch.start_utc_s
    assert batch.ticks[-1].elapsed_s <= true_s
    assert batch.ticks[-1].elapsed_s == pytest.approx(counted_s + 2 * HOUR_S, abs=4 * UNWRITTEN_S)


# --- what the brewer is told ---------------------------------------------------------------------


def test_mains_that_come_back_for_a_minute_do_not_hide_the_night_before(
    batch: KilledBatch,
) -> None:
    starts(batch, Hold(18.0, 30 * HOUR_S), FinalHold(16.0))
    batch.run_for(HOUR_S)
    true_before_c = batch.true_beer_c
    for outage_s in (8 * HOUR_S, 10.0, 20.0):
        batch.kill()
        batch.power_returns(outage_s, clock_set_after_s=200.0)
        batch.run_for(2 * PERIOD_S)
    assert batch.told(OutageSeen) == []
    batch.run_for(HOUR_S)
    (outage,) = batch.told(OutageSeen)
    # The minutes in between were under control, though nobody could tell yet.
    assert outage.lasted_s == pytest.approx(8 * HOUR_S + 30.0, abs=UNWRITTEN_S + 3 * PERIOD_S)
    assert outage.beer_before_c == pytest.approx(true_before_c, abs=0.6)
    assert {alarm.kind.value for alarm in batch.loop._site_alarms} >= {"outage"}


def test_an_outage_of_which_the_first_half_was_an_orderly_stop_is_not_called_orderly(
    batch: KilledBatch,
) -> None:
    starts(batch, Hold(18.0, 30 * HOUR_S), FinalHold(16.0))
    batch.run_for(HOUR_S)
    batch.stop()
    batch.restart(HOUR_S)
    batch.tick()
    batch.kill()
    batch.restart(HOUR_S)
    batch.run_for(HOUR_S)
    (outage,) = batch.told(OutageSeen)
    assert not outage.cleanly
    assert outage.lasted_s == pytest.approx(2 * HOUR_S, abs=2 * PERIOD_S)
    runs = [(run.change, run.cleanly) for run in batch.told(DaemonRun)]
    assert runs == [("started", None), ("stopped", True), ("started", None), ("started", None)]


def test_an_unbroken_run_tells_of_no_outage_and_breaks_no_promise(batch: KilledBatch) -> None:
    starts(batch, Hold(18.0, 5 * HOUR_S), FinalHold(16.0))
    batch.run_for(6 * HOUR_S)
    batch.stop()
    assert broken_promises(batch.path, batch.site) == []
