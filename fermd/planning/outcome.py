"""What a rehearsal came to. Temperatures in °C, times as POSIX seconds, shares from 0 to 1."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from fermd.control.reasons import Rule
from fermd.control.settings import HOUR_S, Duty
from fermd.planning.witness import Broken

J_PER_KWH = 3.6e6


@dataclass(frozen=True, slots=True)
class Instant:
    """How everything stood at one moment; of the air, its span since the one before."""

    utc_s: float
    beer_c: float
    air_lowest_c: float
    air_highest_c: float
    heat_c: float
    """The target: heated up to this ..."""
    cool_c: float
    """... and cooled down to this."""
    room_c: float
    yeast_w: float


@dataclass(frozen=True, slots=True)
class OnTime:
    """One run of an output."""

    duty: Duty
    begins_utc_s: float
    ends_utc_s: float


@dataclass(frozen=True, slots=True)
class StepSeen:
    """What became of one step."""

    index: int
    kind: str
    name: str
    goal_c: float
    """The target that it leaves behind."""
    entered_utc_s: float
    left_utc_s: float | None
    """None: it was still running when the rehearsal ended."""
    there_utc_s: float | None
    """When the beer first came to the step's last target; None if it never did."""
    in_band_share: float
    over_c: float
    """How far above its target the beer went once it had been there (not in a ramp down) ..."""
    under_c: float
    """... and how far below (not in a ramp up)."""


@dataclass(frozen=True, slots=True)
class Shortfall:
    """A time in which the beer was far from its target and the chamber did not bring it there."""

    duty: Duty
    """What would have brought it there."""
    begins_utc_s: float
    ends_utc_s: float
    worst_c: float
    step: int
    """The step in which it began, from 0."""
    on_the_way: bool
    """The target was set elsewhere at once, and the beer was still on its way there."""
    ran_share: float
    """Of the time, that the output ran; 0 if the chamber has none."""
    held_by: Rule | None
    """What held the output off most of the time that it did not run; None if nothing did."""

    @property
    def lasted_s(self) -> float:
        """How long, s."""
        return self.ends_utc_s - self.begins_utc_s


@dataclass(frozen=True, slots=True)
class OutputUse:
    """What one output did."""

    duty: Duty
    name: str
    starts: int
    on_s: float
    electric_w: float
    most_starts_in_an_hour: int
    shortest_off_s: float | None
    shortest_run_s: float | None

    @property
    def kwh(self) -> float:
        """The electricity that it took."""
        return self.on_s * self.electric_w / J_PER_KWH


@dataclass(frozen=True, slots=True)
class AlarmSeen:
    """An alarm that was raised."""

    utc_s: float
    kind: str
    subject: str


@dataclass(frozen=True, slots=True)
class Reached:
    """When the beer came to the coldest target of the profile."""

    target_c: float
    step: int
    utc_s: float | None
    """None: it never did."""


@dataclass(frozen=True, slots=True)
class Rehearsal:
    """The whole of it."""

    chamber: str
    start_utc_s: float
    end_utc_s: float
    finished: bool
    """Whether the profile came to its last step; else it was given up in one before."""
    in_band_share: float
    """Of all the time, that the beer was within the band that counts as held."""
    over_c: float
    under_c: float
    steps: tuple[StepSeen, ...]
    shortfalls: tuple[Shortfall, ...]
    outputs: tuple[OutputUse, ...]
    alarms: tuple[AlarmSeen, ...]
    coldest: Reached
    broken: tuple[Broken, ...]
    """Promises that were broken: none, or there is a fault in fermd itself."""
    trace: tuple[Instant, ...]
    on_times: tuple[OnTime, ...]

    @property
    def lasted_s(self) -> float:
        """How long it went on, s."""
        return self.end_utc_s - self.start_utc_s

    @property
    def kwh(self) -> float:
        """The electricity of all outputs."""
        return sum(output.kwh for output in self.outputs)


def most_starts_in_an_hour(starts_s: Sequence[float]) -> int:
    """The most of these (rising) that lie within one hour."""
    return max(
        (bisect_left(starts_s, start + HOUR_S) - first for first, start in enumerate(starts_s)),
        default=0,
    )


def output_use(
    duty: Duty, name: str, runs: Sequence[OnTime], electric_w: float, end_utc_s: float
) -> OutputUse:
    """Sum up the runs of one output; one that goes on at the end has no length to count."""
    whole = [run for run in runs if run.ends_utc_s < end_utc_s]
    return OutputUse(
        duty,
        name,
        len(runs),
        sum(run.ends_utc_s - run.begins_utc_s for run in runs),
        electric_w,
        most_starts_in_an_hour([run.begins_utc_s for run in runs]),
        min((after.begins_utc_s - one.ends_utc_s for one, after in pairwise(runs)), default=None),
        min((run.ends_utc_s - run.begins_utc_s for run in whole), default=None),
    )
