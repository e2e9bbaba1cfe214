"""A record tells what the rows say, on an axis of time that no step of a clock can bend."""

from __future__ import annotations

from pathlib import Path

import pytest
from journal_tale import WALL_S, Tale

from fermd.control.command_words import command_words
from fermd.control.commands import Command, PauseProfile, SetTarget, SkipStep, StopProfile
from fermd.control.events import (
    CommandAnswered,
    ProfileChange,
    ProfileChanged,
    StepChange,
    StepChanged,
    TargetChanged,
)
from fermd.review.record import Record, read_record

DAY_S = 86400.0


@pytest.fixture
def tale(tmp_path: Path) -> Tale:
    return Tale(tmp_path / "journal.db")


def read(tale: Tale, buckets: int = 1200) -> Record:
    return read_record(tale.ends(), tale.chamber, buckets)


# --- readings ------------------------------------------------------------------------------------


def test_a_record_spans_its_readings(tale: Tale) -> None:
    tale.passes(600.0)
    record = read(tale)
    assert (record.start_s, record.end_s) == (WALL_S + 10.0, WALL_S + 600.0)
    assert record.chamber == "lager"
    assert sorted(record.probes) == ["air", "vessel"]


def test_a_spike_is_in_its_bucket_however_few_there_are(tale: Tale) -> None:
    tale.passes(3600.0)
    tale.beer_c = 17.25
    tale.passes(10.0)
    tale.beer_c = 10.0
    tale.passes(3600.0)
    record = read(tale, buckets=4)
    series = record.probes["vessel"]
    assert len(series) <= 5
    assert max(bucket.maximum_c for bucket in series) == 17.25
    assert min(bucket.minimum_c for bucket in series) == 10.0
    assert all(bucket.mean_c < 10.1 for bucket in series)
    assert [bucket.at_s for bucket in series] == sorted(bucket.at_s for bucket in series)


def test_faults_are_no_temperatures(tale: Tale) -> None:
    tale.passes(100.0)
    tale.vessel_reads = False
    tale.passes(1000.0)
    record = read(tale)
    assert max(bucket.at_s for bucket in record.probes["vessel"]) == WALL_S + 100.0
    assert max(bucket.at_s for bucket in record.probes["air"]) == WALL_S + 1100.0


def test_a_chamber_without_readings_is_told_by_name(tale: Tale) -> None:
    tale.passes(100.0)
    tale.stops()
    with pytest.raises(LookupError, match="no reading of a chamber 'ale'"):
        read_record(tale.path, "ale")


def test_what_was_thinned_is_read_from_its_minutes_and_quarter_hours(tale: Tale) -> None:
    """A batch of six weeks is longer than raw readings are kept; a spike outlives them."""
    tale.passes(900.0)
    tale.beer_c = 14.5
    tale.passes(10.0)
    tale.beer_c = 10.0
    tale.passes(890.0)
    before = read_record_while_open(tale)
    for _ in range(2):
        tale.at_s += 20 * DAY_S
        tale.passes(60.0)
        tale.journal.thin(tale.now)
        assert tale.journal.flush()
        assert tale.journal.settle()
    tale.passes(60.0)
    after = read(tale, buckets=100_000)
    assert after.start_s == pytest.approx(before.start_s, abs=900.0)
    early = [b for b in after.probes["vessel"] if b.at_s < before.end_s + 900.0]
    assert max(bucket.maximum_c for bucket in early) == 14.5
    # 180 readings of 10 s, one of them 4.5 °C higher.
    counted = sum(bucket.mean_c for bucket in early) / len(early)
    assert counted == pytest.approx(10.0 + 4.5 / 180, abs=0.1)


def test_hours_are_told_alike_from_quarter_hours_and_from_readings(tale: Tale) -> None:
    """Two hours in a bucket: a quarter of an hour at its edge may fall to the other side."""
    for level_c in (10.0, 12.0, 11.0):
        tale.beer_c = level_c
        tale.passes(7190.0)
        tale.beer_c = level_c + 5.0
        tale.passes(10.0)
    from_readings = read_record_while_open(tale, buckets=3)
    tale.journal.thin(tale.now)
    assert tale.journal.flush()
    assert tale.journal.settle()
    from_quarter_hours = read_record_while_open(tale, buckets=3)
    assert from_quarter_hours.start_s == from_readings.start_s
    assert from_quarter_hours.end_s == from_readings.end_s
    for seen, truth in zip(
        from_quarter_hours.probes["vessel"][:3], from_readings.probes["vessel"][:3], strict=True
    ):
        assert seen.maximum_c == truth.maximum_c
        assert seen.mean_c == pytest.approx(truth.mean_c, abs=2.0 * 900.0 / 7200.0)
        assert seen.at_s == pytest.approx(truth.at_s, abs=900.0)


def test_what_has_not_been_counted_yet_is_told_beside_quarter_hours(tale: Tale) -> None:
    tale.passes(4 * 3600.0)
    tale.journal.thin(tale.now)
    assert tale.journal.flush()
    assert tale.journal.settle()
    tale.beer_c = 7.5
    tale.passes(30.0)
    record = read(tale, buckets=4)
    assert min(bucket.minimum_c for bucket in record.probes["vessel"]) == 7.5
    assert record.end_s == WALL_S + 4 * 3600.0 + 30.0


def read_record_while_open(tale: Tale, buckets: int = 1200) -> Record:
    assert tale.journal.flush()
    return read_record(tale.path, tale.chamber, buckets)


# --- runs ----------------------------------------------------------------------------------------


def test_runs_are_pairs_of_rows(tale: Tale) -> None:
    tale.passes(600.0)
    tale.runs("fridge", 180.0)
    tale.passes(900.0)
    tale.runs("belt", 60.0)
    runs = read(tale).runs
    assert [(run.output, run.duty, run.started_by, run.is_over) for run in runs] == [
        ("fridge", "cool", "above-band", True),
        ("belt", "heat", "below-band", True),
    ]
    assert (runs[0].start_s, runs[0].end_s) == (WALL_S + 600.0, WALL_S + 780.0)
    assert (runs[1].start_s, runs[1].end_s) == (WALL_S + 1680.0, WALL_S + 1740.0)


def test_a_run_that_goes_on_reaches_to_the_end_of_the_record(tale: Tale) -> None:
    tale.passes(600.0)
    tale.on("fridge")
    tale.passes(300.0)
    (run,) = read_record_while_open(tale).runs
    assert (run.end_s, run.is_over) == (WALL_S + 900.0, False)


def test_a_run_whose_end_was_lost_has_no_length(tale: Tale) -> None:
    tale.passes(600.0)
    tale.on("fridge")
    tale.passes(6000.0)
    tale.on("fridge")
    tale.passes(300.0)
    tale.off("fridge")
    first, second = read(tale).runs
    assert (first.start_s, first.end_s) == (WALL_S + 600.0, None)
    assert second.end_s == WALL_S + 6900.0


@pytest.mark.parametrize("by_s", [-3600.0, 3600.0, -7 * DAY_S], ids=["back", "forward", "far back"])
def test_a_step_of_the_wall_clock_makes_no_run_longer_or_negative(tale: Tale, by_s: float) -> None:
    tale.passes(600.0)
    tale.on("fridge")
    tale.passes(100.0)
    tale.wall_offset_s += by_s
    tale.journal.clock_stepped(tale.now, by_s)
    tale.passes(80.0)
    tale.off("fridge")
    tale.passes(220.0)
    record = read(tale)
    (run,) = record.runs
    assert run.end_s is not None
    assert run.end_s - run.start_s == pytest.approx(180.0)
    # Where the clock was last known to be set is where the record lies.
    assert record.end_s == pytest.approx(WALL_S + by_s + 1000.0)
    assert record.end_s - record.start_s == pytest.approx(990.0)


def test_a_boot_that_does_not_know_the_time_comes_after_the_one_before(tale: Tale) -> None:
    """Without a battery clock the board comes back in the past."""
    tale.passes(5000.0)
    tale.stops()
    tale.starts()
    tale.wall_trusted, tale.wall_offset_s = False, WALL_S - 30 * DAY_S
    tale.passes(600.0)
    tale.runs("fridge", 180.0)
    tale.passes(20.0)
    record = read(tale)
    (run,) = record.runs
    assert run.start_s == pytest.approx(WALL_S + 5000.0 + 600.0, abs=20.0)
    assert record.end_s - record.start_s == pytest.approx(5000.0 + 800.0, abs=30.0)


# --- the target ----------------------------------------------------------------------------------


def hold(tale: Tale, target_c: float, source: str = "profile") -> None:
    tale.tell(TargetChanged(target_c, target_c, source))


def step(tale: Tale, index: int, kind: str, change: StepChange) -> None:
    tale.tell(StepChanged("lager", index, kind, "", change, 0.0))


def at(record: Record, after_s: float) -> tuple[float, float] | None:
    return record.target_at(WALL_S + after_s)


def test_before_the_first_and_while_switched_off_there_is_no_target(tale: Tale) -> None:
    tale.passes(100.0)
    hold(tale, 12.0, "hand")
    tale.passes(100.0)
    tale.tell(TargetChanged(None, None, "off"))
    tale.passes(100.0)
    hold(tale, 14.0, "hand")
    tale.passes(100.0)
    record = read(tale)
    assert [at(record, s) for s in (50.0, 150.0, 250.0, 350.0)] == [
        None,
        (12.0, 12.0),
        None,
        (14.0, 14.0),
    ]


def test_a_jump_is_a_jump(tale: Tale) -> None:
    hold(tale, 12.0)
    tale.passes(1000.0)
    step(tale, 1, "jump", StepChange.ENTERED)
    hold(tale, 4.0)
    tale.passes(1000.0)
    record = read(tale)
    assert at(record, 999.0) == (12.0, 12.0)
    assert at(record, 1001.0) == (4.0, 4.0)


def test_a_ramp_is_a_straight_line_from_its_start_to_its_end(tale: Tale) -> None:
    hold(tale, 12.0)
    tale.passes(1000.0)
    ramp(tale, 1, 1000.0, 18.0)
    tale.passes(1000.0)
    record = read(tale)
    assert at(record, 900.0) == (12.0, 12.0)
    assert at(record, 1500.0) == pytest.approx((15.0, 15.0))
    assert at(record, 1750.0) == pytest.approx((16.5, 16.5))
    assert at(record, 2500.0) == (18.0, 18.0)


def ramp(tale: Tale, index: int, span_s: float, to_c: float) -> None:
    """A ramp, whose end is told by the step after it."""
    step(tale, index, "ramp", StepChange.ENTERED)
    tale.passes(span_s)
    step(tale, index, "ramp", StepChange.ENDED)
    step(tale, index + 1, "hold", StepChange.ENTERED)
    hold(tale, to_c)


def test_ramps_that_follow_each_other_meet_where_the_first_ends(tale: Tale) -> None:
    """Slow cooling, then the crash: the corner between them is not smoothed away."""
    hold(tale, 18.0)
    tale.passes(1000.0)
    step(tale, 1, "ramp", StepChange.ENTERED)
    tale.passes(1000.0)
    step(tale, 1, "ramp", StepChange.ENDED)
    step(tale, 2, "ramp", StepChange.ENTERED)
    hold(tale, 5.0)
    tale.passes(500.0)
    step(tale, 2, "ramp", StepChange.ENDED)
    step(tale, 3, "soak", StepChange.ENTERED)
    hold(tale, -1.0)
    tale.passes(500.0)
    record = read(tale)
    assert at(record, 1500.0) == pytest.approx((11.5, 11.5))
    assert at(record, 2000.0) == pytest.approx((5.0, 5.0))
    assert at(record, 2250.0) == pytest.approx((2.0, 2.0))
    assert at(record, 2600.0) == (-1.0, -1.0)


def test_a_ramp_that_has_nowhere_to_go_leaves_the_target_where_it_is(tale: Tale) -> None:
    hold(tale, 5.0)
    tale.passes(1000.0)
    step(tale, 1, "ramp", StepChange.ENTERED)
    step(tale, 1, "ramp", StepChange.ENDED)
    step(tale, 2, "ramp", StepChange.ENTERED)
    tale.passes(1000.0)
    step(tale, 2, "ramp", StepChange.ENDED)
    step(tale, 3, "soak", StepChange.ENTERED)
    hold(tale, -1.0)
    record = read(tale)
    assert at(record, 500.0) == (5.0, 5.0)
    assert at(record, 1500.0) == pytest.approx((2.0, 2.0))


def test_a_pause_holds_the_ramp_where_it_is_and_it_goes_on_from_there(tale: Tale) -> None:
    hold(tale, 10.0)
    tale.passes(1000.0)
    step(tale, 1, "ramp", StepChange.ENTERED)
    tale.passes(500.0)
    tale.tell(asked(PauseProfile()), ProfileChanged("lager", ProfileChange.PAUSED))
    hold(tale, 13.0, "hand")
    tale.passes(1000.0)
    tale.tell(ProfileChanged("lager", ProfileChange.RESUMED))
    hold(tale, 13.0)
    tale.passes(500.0)
    step(tale, 1, "ramp", StepChange.ENDED)
    step(tale, 2, "hold", StepChange.ENTERED)
    hold(tale, 16.0)
    record = read(tale)
    assert at(record, 1250.0) == pytest.approx((11.5, 11.5))
    assert at(record, 2000.0) == pytest.approx((13.0, 13.0))
    assert at(record, 2750.0) == pytest.approx((14.5, 14.5))


def test_how_far_a_ramp_had_come_when_somebody_set_a_target_is_not_known(tale: Tale) -> None:
    hold(tale, 10.0)
    tale.passes(1000.0)
    step(tale, 1, "ramp", StepChange.ENTERED)
    tale.passes(500.0)
    tale.tell(asked(SetTarget(4.0)))
    hold(tale, 4.0, "hand")
    tale.passes(500.0)
    record = read(tale)
    assert at(record, 900.0) == (10.0, 10.0)
    assert at(record, 1250.0) is None
    assert at(record, 1600.0) == (4.0, 4.0)


def test_a_profile_that_is_stopped_leaves_the_target_where_its_ramp_had_come_to(tale: Tale) -> None:
    hold(tale, 10.0)
    tale.passes(1000.0)
    step(tale, 1, "ramp", StepChange.ENTERED)
    tale.passes(500.0)
    tale.tell(asked(StopProfile()))
    hold(tale, 13.0, "hand")
    tale.passes(500.0)
    record = read(tale)
    assert at(record, 1250.0) == pytest.approx((11.5, 11.5))
    assert at(record, 1750.0) == (13.0, 13.0)


def test_how_far_a_ramp_had_come_that_was_skipped_is_not_known(tale: Tale) -> None:
    hold(tale, 10.0)
    tale.passes(1000.0)
    step(tale, 1, "ramp", StepChange.ENTERED)
    tale.passes(500.0)
    tale.tell(asked(SkipStep()))
    step(tale, 1, "ramp", StepChange.SKIPPED)
    step(tale, 2, "hold", StepChange.ENTERED)
    hold(tale, 18.0)
    tale.passes(500.0)
    record = read(tale)
    assert at(record, 1250.0) is None
    assert at(record, 1750.0) == (18.0, 18.0)


def asked(command: Command) -> CommandAnswered:
    return CommandAnswered(command_words(command), "Ann", True)


def test_where_a_ramp_is_that_is_not_over_is_not_known(tale: Tale) -> None:
    hold(tale, 10.0)
    tale.passes(1000.0)
    step(tale, 1, "ramp", StepChange.ENTERED)
    tale.passes(500.0)
    record = read(tale)
    assert at(record, 900.0) == (10.0, 10.0)
    assert at(record, 1250.0) is None


def test_another_profile_in_the_middle_of_a_ramp_begins_with_its_own_target(tale: Tale) -> None:
    hold(tale, 10.0)
    tale.passes(1000.0)
    step(tale, 1, "ramp", StepChange.ENTERED)
    tale.passes(500.0)
    step(tale, 0, "hold", StepChange.ENTERED)
    hold(tale, 18.0)
    tale.passes(500.0)
    step(tale, 1, "hold", StepChange.ENTERED)
    hold(tale, 20.0)
    tale.passes(500.0)
    record = read(tale)
    assert at(record, 1250.0) is None
    assert at(record, 1750.0) == (18.0, 18.0)
    assert at(record, 2250.0) == (20.0, 20.0)


def test_where_a_ramp_before_a_free_rise_has_ended_is_not_known(tale: Tale) -> None:
    hold(tale, 14.0)
    tale.passes(1000.0)
    step(tale, 1, "ramp", StepChange.ENTERED)
    tale.passes(1000.0)
    step(tale, 1, "ramp", StepChange.ENDED)
    step(tale, 2, "free-rise", StepChange.ENTERED)
    tale.tell(TargetChanged(18.0, 21.0, "profile"))
    tale.passes(1000.0)
    record = read(tale)
    assert at(record, 1500.0) is None
    assert at(record, 2500.0) == (18.0, 21.0)


def test_a_free_rise_has_a_floor_and_a_ceiling(tale: Tale) -> None:
    hold(tale, 18.0)
    tale.passes(1000.0)
    step(tale, 1, "free-rise", StepChange.ENTERED)
    tale.tell(TargetChanged(18.0, 21.0, "profile"))
    tale.passes(1000.0)
    record = read(tale)
    assert at(record, 500.0) == (18.0, 18.0)
    assert at(record, 1500.0) == (18.0, 21.0)


# --- marks ---------------------------------------------------------------------------------------


def test_steps_alarms_and_notes_are_marks_in_the_order_of_time(tale: Tale) -> None:
    tale.passes(10.0)
    tale.tell(StepChanged("lager", 0, "hold", "pitch", StepChange.ENTERED, 0.0))
    tale.passes(10.0)
    tale.journal.note(tale.now, "lager", "Ann", "smells of apples")
    tale.passes(10.0)
    tale.alarm("no-effect", "fridge")
    tale.passes(10.0)
    tale.tell(StepChanged("lager", 0, "hold", "pitch", StepChange.ENDED, 0.0))
    tale.tell(StepChanged("lager", 1, "soak", "", StepChange.ENTERED, 0.0))
    assert [(mark.at_s - WALL_S, mark.kind, mark.text) for mark in read(tale).marks] == [
        (10.0, "step", "pitch"),
        (20.0, "note", "smells of apples"),
        (30.0, "alarm", "no-effect"),
        (40.0, "step", "soak"),
    ]
