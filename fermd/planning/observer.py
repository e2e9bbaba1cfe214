"""Follows a rehearsal tick by tick and keeps the figures, so that nothing has to be kept of it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from math import inf
from typing import Final, NamedTuple

from fermd.control.decision import Decision, OutputDecision
from fermd.control.events import AlarmChanged, AlarmPhase, StepChange, StepChanged
from fermd.control.progress import leaves_c
from fermd.control.reading import Trusted
from fermd.control.reasons import Rule
from fermd.control.settings import ChamberSettings, Duty
from fermd.control.steps import Profile, Ramp, Step, Target, coldest_target_c
from fermd.physics.thermal import ThermalState
from fermd.planning.outcome import (
    AlarmSeen,
    Instant,
    OnTime,
    Reached,
    Rehearsal,
    Shortfall,
    StepSeen,
    output_use,
)
from fermd.planning.witness import Broken
from fermd.review.figures import IN_BAND_C

BEHIND_C: Final = 1.0
"""Further from its target than this, °C, the beer is not held: twice what counts as held."""

LEAST_SHORTFALL_S: Final = 1800.0
"""Shorter ones, s, are the swing of a thermostat."""

TRACE_S: Final = 600.0
"""The time between two instants of the trace, s: a month is some 4000, more than a picture has
columns."""


class Seen(NamedTuple):
    """What is true behind the probes."""

    state: ThermalState
    room_c: float
    yeast_w: float


@dataclass(slots=True)
class _StepBook:
    index: int
    step: Step
    entered_utc_s: float
    left_utc_s: float | None = None
    there_utc_s: float | None = None
    followed: bool = False
    """The beer has been within the band in this step."""
    known_s: float = 0.0
    """How long the beer and its target were known ..."""
    in_band_s: float = 0.0
    """... and of that, how long it was within the band."""
    over_c: float = 0.0
    under_c: float = 0.0


@dataclass(slots=True)
class _Open:
    """A shortfall that goes on."""

    duty: Duty
    begins_utc_s: float
    step: int
    on_the_way: bool
    worst_c: float = 0.0
    lasted_s: float = 0.0
    ran_s: float = 0.0


class Observer:
    """The book of one rehearsal, from the start of its profile on."""

    def __init__(self, profile: Profile, settings: ChamberSettings, start_utc_s: float) -> None:
        self._profile = profile
        self._settings = settings
        self._start_utc_s = start_utc_s
        self._now_utc_s = start_utc_s
        self._coldest_c = min(coldest_target_c(step) for step in profile.steps)
        self._reached: tuple[int, float] | None = None
        self._books = [_StepBook(0, profile.steps[0], start_utc_s)]
        self._open: _Open | None = None
        self._holds: Counter[Rule] = Counter()
        self._shortfalls: list[Shortfall] = []
        self._alarms: list[AlarmSeen] = []
        self._running: dict[Duty, float] = {}
        self._on_times: list[OnTime] = []
        self._trace: list[Instant] = []
        self._next_trace_s = start_utc_s
        self._air_lowest_c, self._air_highest_c = inf, -inf

    @property
    def is_there(self) -> bool:
        """Whether the beer has come to the target of the present step."""
        return self._books[-1].followed

    def sees(self, utc_s: float, decision: Decision, true: Seen, lasts_s: float) -> None:
        """Take in a tick, and how long it stands until the next one."""
        self._now_utc_s = utc_s
        for event in decision.events:
            if isinstance(event, StepChanged):
                self._step(utc_s, event)
            elif isinstance(event, AlarmChanged) and event.phase is AlarmPhase.RAISED:
                self._alarms.append(AlarmSeen(utc_s, event.alarm, event.subject))
        for output in decision.outputs:
            self._output(utc_s, output)
        vessel, target = decision.vessel, decision.target
        if target is None:
            return
        if isinstance(vessel, Trusted):
            self._beer(utc_s, vessel.temp_c, target, decision, lasts_s)
        air_c = true.state.air_c
        if air_c < self._air_lowest_c:
            self._air_lowest_c = air_c
        if air_c > self._air_highest_c:
            self._air_highest_c = air_c
        if utc_s >= self._next_trace_s:
            self._note(utc_s, target, true)

    def outcome(
        self, *, finished: bool, electric_w: Mapping[Duty, float], broken: tuple[Broken, ...]
    ) -> Rehearsal:
        """Close the book."""
        end_s = self._now_utc_s
        self._close(end_s)
        for duty, began_s in self._running.items():
            self._on_times.append(OnTime(duty, began_s, end_s))
        books = self._books
        index, reached_s = self._reached or (self._first_coldest(), None)
        return Rehearsal(
            chamber=self._settings.name,
            start_utc_s=self._start_utc_s,
            end_utc_s=end_s,
            finished=finished,
            in_band_share=sum(book.in_band_s for book in books)
            / max(1.0, sum(book.known_s for book in books)),
            over_c=max(book.over_c for book in books),
            under_c=max(book.under_c for book in books),
            steps=tuple(_step_seen(book) for book in books),
            shortfalls=tuple(self._shortfalls),
            outputs=tuple(
                output_use(
                    output.duty,
                    output.name,
                    [run for run in self._on_times if run.duty is output.duty],
                    electric_w[output.duty],
                    end_s,
                )
                for output in self._settings.outputs
            ),
            alarms=tuple(self._alarms),
            coldest=Reached(self._coldest_c, index, reached_s),
            broken=broken,
            trace=tuple(self._trace),
            on_times=tuple(self._on_times),
        )

    def _step(self, utc_s: float, event: StepChanged) -> None:
        book = self._books[-1]
        if event.change in (StepChange.ENDED, StepChange.CONFIRMED):
            book.left_utc_s = utc_s
        elif event.change is StepChange.ENTERED and event.index > book.index:
            step = self._profile.steps[event.index]
            self._books.append(_StepBook(event.index, step, utc_s))

    def _output(self, utc_s: float, output: OutputDecision) -> None:
        began_s = self._running.get(output.duty)
        if output.on and began_s is None:
            self._running[output.duty] = utc_s
        elif not output.on and began_s is not None:
            del self._running[output.duty]
            self._on_times.append(OnTime(output.duty, began_s, utc_s))

    def _beer(
        self, utc_s: float, beer_c: float, target: Target, decision: Decision, lasts_s: float
    ) -> None:
        book = self._books[-1]
        over_c, under_c = beer_c - target.cool_c, target.heat_c - beer_c
        book.known_s += lasts_s
        if over_c <= IN_BAND_C and under_c <= IN_BAND_C:
            book.in_band_s += lasts_s
            book.followed = True
        if book.there_utc_s is None:
            self._look_whether_there(utc_s, beer_c, book, over_c, under_c)
        if book.followed:
            falls = isinstance(book.step, Ramp) and book.step.to_c < target.cool_c
            rises = isinstance(book.step, Ramp) and book.step.to_c > target.cool_c
            if over_c > book.over_c and not falls:
                book.over_c = over_c
            if under_c > book.under_c and not rises:
                book.under_c = under_c
        if self._open is not None or over_c > BEHIND_C or under_c > BEHIND_C:
            self._behind(utc_s, book, over_c, under_c, decision, lasts_s)

    def _look_whether_there(
        self, utc_s: float, beer_c: float, book: _StepBook, over_c: float, under_c: float
    ) -> None:
        if isinstance(book.step, Ramp):
            there = abs(beer_c - book.step.to_c) <= IN_BAND_C
        else:
            there = over_c <= IN_BAND_C and under_c <= IN_BAND_C
        if there:
            book.there_utc_s = utc_s
            if self._reached is None and coldest_target_c(book.step) == self._coldest_c:
                self._reached = (book.index, utc_s)

    def _behind(
        self,
        utc_s: float,
        book: _StepBook,
        over_c: float,
        under_c: float,
        decision: Decision,
        lasts_s: float,
    ) -> None:
        now = self._open
        if now is not None and (over_c if now.duty is Duty.COOL else under_c) <= IN_BAND_C:
            self._close(utc_s)
            now = None
        if now is None:
            if max(over_c, under_c) <= BEHIND_C:
                return
            duty = Duty.COOL if over_c > under_c else Duty.HEAT
            on_the_way = not isinstance(book.step, Ramp) and not book.followed
            now = self._open = _Open(duty, utc_s, book.index, on_the_way)
        now.worst_c = max(now.worst_c, over_c if now.duty is Duty.COOL else under_c)
        now.lasted_s += lasts_s
        for output in decision.outputs:
            if output.duty is now.duty:
                now.ran_s += lasts_s * output.on
                if not output.on and output.wanted:
                    self._holds[output.reasons[0].rule] += 1

    def _close(self, utc_s: float) -> None:
        now, self._open = self._open, None
        holds, self._holds = self._holds, Counter()
        if now is None or utc_s - now.begins_utc_s < LEAST_SHORTFALL_S:
            return
        self._shortfalls.append(
            Shortfall(
                now.duty,
                now.begins_utc_s,
                utc_s,
                now.worst_c,
                now.step,
                now.on_the_way,
                now.ran_s / now.lasted_s,
                holds.most_common(1)[0][0] if holds else None,
            )
        )

    def _note(self, utc_s: float, target: Target, true: Seen) -> None:
        self._trace.append(
            Instant(
                utc_s,
                true.state.beer_c,
                self._air_lowest_c,
                self._air_highest_c,
                target.heat_c,
                target.cool_c,
                true.room_c,
                true.yeast_w,
            )
        )
        self._next_trace_s += TRACE_S
        self._air_lowest_c, self._air_highest_c = inf, -inf

    def _first_coldest(self) -> int:
        steps = self._profile.steps
        return next(i for i, step in enumerate(steps) if coldest_target_c(step) == self._coldest_c)


def _step_seen(book: _StepBook) -> StepSeen:
    return StepSeen(
        book.index,
        book.step.kind,
        book.step.name,
        leaves_c(book.step),
        book.entered_utc_s,
        book.left_utc_s,
        book.there_utc_s,
        book.in_band_s / max(1.0, book.known_s),
        book.over_c,
        book.under_c,
    )
