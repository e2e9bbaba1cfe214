"""A batch goes on where it was, whatever ends its process, whenever, and for however long.

Four batches through every kind of step, each killed at fifty random moments: between two ticks, in
the middle of one, a few minutes after a start; back after seconds or after half a day, on the same
boot or after a power cut, with the clock lost and set again minutes later. Two of them go through a
change of clocks. They are held against the unbroken run, and against a count of their own of the
time that somebody was in charge.

The rule that the hold times are held to. A step lasts as long as it is planned to, in time under
control, where

- what was counted of an outage (told with it) is taken off: the beer was at its temperature;
- what had run since the state was last remembered, ten minutes at the most, runs again.

So a step is never shorter, and never longer than by that for each kill.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise
from random import Random
from zoneinfo import ZoneInfo

import pytest
from batch_rig import HOUR_S, PERIOD_S, broken_promises
from resume_rig import KilledBatch, Tick

from fermd.config.zone_calendar import ZoneCalendar
from fermd.control.calendar import parse_calendar_time
from fermd.control.commands import StartProfile
from fermd.control.events import (
    AlarmChanged,
    OutageSeen,
    StepChange,
    StepChanged,
)
from fermd.control.outages import HOLD_WITHIN_C
from fermd.control.steps import (
    FinalHold,
    FreeRise,
    Hold,
    HoldUntil,
    Jump,
    Profile,
    Ramp,
    Soak,
    WaitForPerson,
)
from fermd.journal.reader import EventRow, JournalReader
from fermd.journal.rows import DaemonRun
from fermd.journal.settings import JournalSettings
from fermd.service.outage import PATIENCE_S, WORTH_AN_ALARM_S

VIENNA = ZoneInfo("Europe/Vienna")
SUNDAY, MORNING = parse_calendar_time("sun 18:00"), parse_calendar_time("06:00")

EVERY_KIND = Profile(
    "every kind of step",
    (
        Hold(18.0, 20 * HOUR_S, "main"),
        Ramp(13.0, 4.0, "down"),
        Soak(13.0, 24 * HOUR_S, 0.5, "rest"),
        FreeRise(13.0, 17.0, 16 * HOUR_S, "up"),
        HoldUntil(16.0, SUNDAY, "until sunday"),
        HoldUntil(15.0, MORNING, "until the morning"),
        Jump(10.0, 0.5, "crash"),
        WaitForPerson(10.0, "add the hops", "hops"),
        Hold(10.0, 12 * HOUR_S, "on hops"),
        FinalHold(8.0, "keep"),
    ),
)
SUNDAY_STEP, MORNING_STEP, LAST = 4, 5, 9

# All on a Tuesday, so that the Sunday comes four days into the batch.
STARTS = {
    "over the change in spring": "2026-03-24 09:00",
    "over the change in autumn": "2026-10-20 09:00",
    "in summer": "2026-07-07 09:00",
    "over New Year": "2026-12-29 09:00",
}
KILLS_EACH = 50
LONGEST_UNREMEMBERED_S = JournalSettings().remember_every_s + PERIOD_S
"""A state is as old as this at the most: what is due waits for the next tick."""
UNWRITTEN_S = JournalSettings().batch_s + 2 * PERIOD_S
"""So much of the end of a process may not be on the disk."""


def utc_s(local: str) -> float:
    return datetime.fromisoformat(local).replace(tzinfo=VIENNA).timestamp()


@dataclass
class Story:
    """A batch that is over."""

    batch: KilledBatch
    rows: list[EventRow]

    @classmethod
    def of(cls, batch: KilledBatch) -> Story:
        batch.stop()
        return cls(batch, JournalReader(batch.path).last_events(1_000_000))

    @property
    def steps(self) -> list[tuple[EventRow, StepChanged]]:
        return [(row, row.happening) for row in self.rows if isinstance(row.happening, StepChanged)]

    @property
    def sequence(self) -> list[tuple[int, str, StepChange]]:
        """What happened to the steps; that one was late is no change of it."""
        return [
            (step.index, step.kind, step.change)
            for _, step in self.steps
            if step.change is not StepChange.OVERDUE
        ]

    def at_s(self, index: int, change: StepChange) -> float:
        """When it happened to this step, in truth."""
        (row,) = [row for row, step in self.steps if (step.index, step.change) == (index, change)]
        return self.batch.true_s(row)

    def ran_s(self, index: int) -> float:
        """How long the step was under control by the ticks (a soak: at its temperature)."""
        step = EVERY_KIND.steps[index]
        return sum(
            after.at_s - before.at_s
            for before, after in pairwise(self.batch.ticks)
            if before.process == after.process
            and after.index == index
            and (not isinstance(step, Soak) or _within(after, step))
        )

    def counted_s(self, index: int) -> float:
        """What was counted of outages for the step."""
        present, counted_s = -1, 0.0
        for row in self.rows:
            match row.happening:
                case StepChanged(index=now, change=StepChange.ENTERED):
                    present = now
                case OutageSeen(counted_s=more_s) if present == index:
                    counted_s += more_s
        return counted_s

    def forgotten_s(self, index: int) -> list[float]:
        """For each kill in the step, how much of its clock the next process did not know of."""
        last = {tick.process: tick for tick in self.batch.ticks}
        return [
            last[number].elapsed_s - after.recalled_s
            for number, after in enumerate(self.batch.processes[1:])
            if last[number].index == index
        ]

    def outages(self) -> list[list[OutageSeen]]:
        """What each process told of the time before it."""
        told: list[list[OutageSeen]] = []
        for row in self.rows:
            if isinstance(row.happening, DaemonRun) and row.happening.change == "started":
                told.append([])
            if isinstance(row.happening, OutageSeen):
                told[-1].append(row.happening)
        return told


def _within(tick: Tick, soak: Soak) -> bool:
    return tick.beer_c is not None and abs(tick.beer_c - soak.target_c) <= soak.within_c


def done(batch: KilledBatch) -> bool:
    return batch.ticks[-1].index == LAST


def log_uniform(random: Random, low: float, high: float) -> float:
    return float(low * (high / low) ** random.random())


def kill_and_start_again(batch: KilledBatch, random: Random) -> None:
    batch.kill(in_tick=random.random() < 0.3)
    outage_s = log_uniform(random, 3.0, 12 * HOUR_S)
    draw = random.random()
    if draw < 0.5:
        batch.restart(outage_s)
    elif draw < 0.65:
        batch.power_returns(outage_s)
    else:
        # From an answer of the network at once to one that takes longer than anybody waits for it.
        batch.power_returns(outage_s, clock_set_after_s=log_uniform(random, 5.0, 2 * PATIENCE_S))


@pytest.fixture(scope="module")
def unbroken(tmp_path_factory: pytest.TempPathFactory) -> Story:
    batch = KilledBatch(tmp_path_factory.mktemp("unbroken"), utc_s(STARTS["in summer"]))
    batch.ask(StartProfile(EVERY_KIND, "brewer"))
    while not done(batch):
        batch.tick()
    return Story.of(batch)


@pytest.fixture(scope="module")
def stories(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Story]:
    found = {}
    for seed, (name, start) in enumerate(STARTS.items()):
        random = Random(seed)
        batch = KilledBatch(tmp_path_factory.mktemp("killed"), utc_s(start), seed=seed)
        batch.ask(StartProfile(EVERY_KIND, "brewer"))
        kills = 0
        while kills < KILLS_EACH or not done(batch):
            if kills < KILLS_EACH and random.random() < PERIOD_S / (3 * HOUR_S):
                kill_and_start_again(batch, random)
                kills += 1
            batch.tick()
        # The last outage is told, too.
        batch.run_for(3 * PATIENCE_S)
        found[name] = Story.of(batch)
    return found


@pytest.fixture(params=STARTS)
def story(request: pytest.FixtureRequest, stories: dict[str, Story]) -> Story:
    return stories[request.param]


def test_two_hundred_kills_of_every_kind_fell_into_every_kind_of_step(
    stories: dict[str, Story],
) -> None:
    kills = [process for told in stories.values() for process in told.batch.processes[1:]]
    assert len(kills) == 200
    assert {process.recalled_index for process in kills} == set(range(len(EVERY_KIND.steps)))


def test_the_steps_come_as_in_the_unbroken_run_none_again_and_none_left_out(
    story: Story, unbroken: Story
) -> None:
    assert [change for _, _, change in unbroken.sequence].count(StepChange.ENTERED) == 10
    assert story.sequence == unbroken.sequence


def test_every_process_goes_on_in_the_step_that_the_one_before_had_come_to(story: Story) -> None:
    last = {tick.process: tick for tick in story.batch.ticks}
    for number, after in enumerate(story.batch.processes[1:]):
        assert after.recalled_index == last[number].index


def test_no_more_of_a_step_is_forgotten_than_has_run_since_it_was_last_remembered(
    story: Story,
) -> None:
    for index in range(len(EVERY_KIND.steps)):
        for forgotten_s in story.forgotten_s(index):
            assert -0.001 <= forgotten_s <= LONGEST_UNREMEMBERED_S


@pytest.mark.parametrize("index", range(len(EVERY_KIND.steps)))
def test_a_step_lasts_as_long_as_it_should_within_one_period_and_the_rule_of_outages(
    story: Story, unbroken: Story, index: int
) -> None:
    step = EVERY_KIND.steps[index]
    ran_s, counted_s = story.ran_s(index), story.counted_s(index)
    again_s = sum(story.forgotten_s(index))
    match step:
        case Hold(for_s=planned_s) | Soak(for_s=planned_s):
            pass
        case Ramp():
            planned_s = unbroken.ran_s(index)
            assert counted_s == 0.0
        case FreeRise(for_s=longest_s):
            # It ends as soon as the beer is at the ceiling, in an outage too.
            assert ran_s + counted_s - again_s <= longest_s + PERIOD_S
            return
        case _:
            assert counted_s == 0.0
            return
    assert ran_s + counted_s - again_s == pytest.approx(planned_s, abs=PERIOD_S)
    # Said once more without the count of what was forgotten: never shorter, and how much longer.
    kills = len(story.forgotten_s(index))
    assert ran_s + counted_s >= planned_s - PERIOD_S
    assert ran_s + counted_s <= planned_s + PERIOD_S + kills * LONGEST_UNREMEMBERED_S


def test_a_step_of_the_calendar_keeps_its_date_or_is_over_as_soon_as_somebody_is_there(
    story: Story,
) -> None:
    calendar = ZoneCalendar(VIENNA)
    entered_s = story.at_s(SUNDAY_STEP, StepChange.ENTERED)
    with_clock = [tick.at_s for tick in story.batch.ticks if tick.clock_set]
    from_s = min(at_s for at_s in with_clock if at_s >= entered_s)
    for index, rule in ((SUNDAY_STEP, SUNDAY), (MORNING_STEP, MORNING)):
        due_s = calendar.next_utc_s(rule, from_s)
        assert due_s is not None
        local = datetime.fromtimestamp(due_s, VIENNA)
        assert (local.hour, local.minute) == (rule.hour, rule.minute)
        entered_s = story.at_s(index, StepChange.ENTERED)
        ended_s = story.at_s(index, StepChange.ENDED)
        assert ended_s == min(at_s for at_s in with_clock if at_s >= max(due_s, entered_s))
        late_s = ended_s - due_s
        overdue = [
            step.elapsed_s
            for _, step in story.steps
            if (step.index, step.change) == (index, StepChange.OVERDUE)
        ]
        assert overdue == ([pytest.approx(late_s, abs=1.0)] if late_s > 600.0 else [])
        from_s = due_s


def test_the_brewer_is_told_of_every_outage_once(story: Story) -> None:
    """One message from each process that lives to give it; what it could not say the next one does.

    How long nobody was in charge is told to within what the disk does not have of the process
    before.
    """
    untold_s, links = 0.0, 0
    processes, outages = story.batch.processes, story.outages()
    assert outages[0] == []
    for (before, process), told in zip(pairwise(processes), outages[1:], strict=True):
        untold_s += process.started_s - before.ended_s
        links += 1
        if not told:
            assert process.ended_s - process.started_s <= PATIENCE_S + 3 * PERIOD_S
            continue
        (outage,) = told
        assert not outage.cleanly
        if outage.lasted_s is not None:
            assert untold_s - 0.1 <= outage.lasted_s <= untold_s + links * UNWRITTEN_S
        untold_s, links = 0.0, 0


def test_some_were_killed_before_they_could_tell_and_some_never_knew_how_long_it_was(
    stories: dict[str, Story],
) -> None:
    told = [each for story in stories.values() for each in story.outages()[1:]]
    assert sum(not each for each in told) >= 3
    assert sum(each.lasted_s is None for one in told for each in one) >= 3
    counted = [each.counted_s for one in told for each in one]
    assert sum(counted_s > HOUR_S for counted_s in counted) >= 5


def test_how_far_the_beer_drifted_is_told_as_it_was(story: Story) -> None:
    told = story.outages()
    for number, process in enumerate(story.batch.processes[1:], 1):
        if not told[number] or (number > 1 and not told[number - 1]):
            # Not told yet, or told of two at once: before is before the first of them.
            continue
        (outage,) = told[number]
        if outage.beer_before_c is None or outage.beer_after_c is None:
            continue
        # A probe is off by half a degree at the most (DS18B20 data sheet), and what is remembered
        # is as old as the state.
        assert outage.beer_before_c == pytest.approx(process.true_beer_before_c, abs=0.75)
        known = [t for t in story.batch.ticks if t.process == number and t.beer_c is not None]
        assert outage.beer_after_c == known[0].beer_c


def test_what_counts_of_an_outage_is_its_share_with_the_beer_at_its_temperature(
    story: Story,
) -> None:
    ticks = story.batch.ticks
    for number, told in enumerate(story.outages()):
        for outage in told:
            if outage.counted_s == 0.0:
                continue
            after = next(t for t in ticks if t.process == number and t.beer_c is not None)
            assert after.index is not None
            step = EVERY_KIND.steps[after.index]
            low_c, high_c = _range_c(step)
            before_c, after_c = outage.beer_before_c, outage.beer_after_c
            assert before_c is not None
            assert after_c is not None
            assert outage.lasted_s is not None
            points = [before_c + (after_c - before_c) * n / 1000 for n in range(1001)]
            share = sum(low_c <= point_c <= high_c for point_c in points) / 1001
            at_most_s = outage.lasted_s * share
            assert outage.counted_s <= at_most_s + 0.002 * outage.lasted_s
            if outage.counted_s < at_most_s - 0.002 * outage.lasted_s:
                # No more than the step still needed: it is over at the next tick.
                later = [t for t in ticks if t.process == number and t.at_s > after.at_s]
                assert any(t.elapsed_s == pytest.approx(step.for_s) for t in (after, *later))  # type: ignore[union-attr]


def _range_c(step: object) -> tuple[float, float]:
    match step:
        case Hold(target_c=target_c):
            return target_c - HOLD_WITHIN_C, target_c + HOLD_WITHIN_C
        case Soak(target_c=target_c, within_c=within_c):
            return target_c - within_c, target_c + within_c
        case FreeRise(floor_c=floor_c, ceiling_c=ceiling_c):
            return floor_c - HOLD_WITHIN_C, ceiling_c + HOLD_WITHIN_C
    raise AssertionError(f"{step} counts nothing of an outage")


def test_an_outage_worth_a_word_raises_an_alarm_that_waits_for_a_person(story: Story) -> None:
    raised = [
        row.happening
        for row in story.rows
        if isinstance(row.happening, AlarmChanged) and row.happening.alarm == "outage"
    ]
    # Nobody has acknowledged it, so that it stands and is not raised again.
    assert [one.phase.value for one in raised] == ["raised"]
    longest_s = max(o.lasted_s or 0.0 for told in story.outages() for o in told)
    assert longest_s > WORTH_AN_ALARM_S


def test_the_record_of_all_of_it_has_no_broken_promise(story: Story) -> None:
    assert broken_promises(story.batch.path, story.batch.site) == []
