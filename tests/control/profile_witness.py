"""A witness to a profile: its steps come in order, none twice, and each lasts as long as it should.

The clock of a step is kept here between two bounds, because the time that is left over when a step
ends in the middle of a tick belongs to the next one.
"""

from __future__ import annotations

from dataclasses import replace

from chamber_witness import ViolatedError

from fermd.control.commands import (
    CancelPlan,
    ChangeRest,
    ChangeStepTarget,
    Command,
    ConfirmStep,
    ExtendStep,
    GoToStep,
    PlanStart,
    SkipStep,
    StartProfile,
)
from fermd.control.decision import Decision
from fermd.control.events import (
    CommandAnswered,
    ProfileChange,
    ProfileChanged,
    StepChange,
    StepChanged,
)
from fermd.control.reading import Trusted
from fermd.control.steps import FreeRise, Hold, Jump, Profile, Ramp, Soak

SLACK_S = 0.01


class ProfileWitness:
    """Follows a chamber's profile through ticks, gaps, clock steps and restarts."""

    def __init__(self) -> None:
        self.profile: Profile | None = None
        self.plan: Profile | None = None
        """The profile as it was started."""
        self.to_come: Profile | None = None
        """What was planned to be started."""
        self.index = -1
        self.running = False
        self.between = False
        """A step has ended and the next has not been entered yet."""
        self.low_s = 0.0
        self.high_s = 0.0
        self.extra_s = 0.0
        self.shortened = False
        self.entry_c: float | None = None
        self.restarts = 0

    def sees(
        self, passed_s: float, command: Command | None, decision: Decision, before_c: float | None
    ) -> None:
        """Take in a tick.

        `passed_s` is the time under control since the last one, `before_c` the target before it.
        """
        taken = any(isinstance(e, CommandAnswered) and e.taken for e in decision.events)
        asked = command if taken else None
        self.passed_s = passed_s
        beer_c = decision.vessel.temp_c if isinstance(decision.vessel, Trusted) else before_c
        self.advanced = False
        if isinstance(asked, PlanStart):
            self.to_come = asked.profile
        if isinstance(asked, CancelPlan):
            self.to_come = None
        self.asked_start = asked.profile if isinstance(asked, StartProfile) else None
        if isinstance(asked, ExtendStep):
            self.extra_s += asked.by_s
            self.shortened = self.shortened or asked.by_s < 0
        for event in decision.events:
            if isinstance(event, ProfileChanged):
                self._profile(event, beer_c)
            elif isinstance(event, StepChanged):
                self._step(event, asked)
        if self.running and not self.advanced:
            self._let_pass()
        self._held_against(decision)

    def restarted(self) -> None:
        """A new process: its record is rounded to a millisecond."""
        self.restarts += 1

    def _profile(self, event: ProfileChanged, beer_c: float | None) -> None:
        if event.change is ProfileChange.STARTED:
            started, self.asked_start = self.asked_start, None
            if started is None:
                started, self.to_come = self.to_come, None
            if started is None:
                raise ViolatedError("profile", "started by nobody")
            self.profile = self.plan = started
            self.index, self.between, self.entry_c = -1, True, beer_c
        if event.change is ProfileChange.FINISHED and not (
            self.profile is not None and self.index == len(self.profile.steps) - 1 and self.between
        ):
            raise ViolatedError("profile", f"finished after step {self.index}")
        self.running = event.change in (ProfileChange.STARTED, ProfileChange.RESUMED)

    def _step(self, event: StepChanged, asked: Command | None) -> None:
        if event.change is StepChange.ENTERED:
            if not self.between or event.index != self.index + 1:
                raise ViolatedError("profile", f"step {event.index} entered after {self.index}")
            self.index, self.between = event.index, False
            self.low_s = 0.0
            self.high_s = self.passed_s if self.advanced else 0.0
            self.extra_s, self.shortened = 0.0, False
            return
        if event.change is StepChange.CHANGED:
            self._changed(asked)
        if event.index != self.index:
            raise ViolatedError("profile", f"step {event.index} {event.change}, not {self.index}")
        if event.change is StepChange.SKIPPED:
            if isinstance(asked, GoToStep):
                self.index, self.between, self.entry_c = asked.step - 2, True, None
                return
            self._leaves(asked, SkipStep, event, None)
        elif event.change is StepChange.CONFIRMED:
            self._leaves(asked, ConfirmStep, event, self._leaving_c())
        elif event.change is StepChange.ENDED:
            # Its clock ran in this tick, unless this is the next of several that ended in it.
            if not self.advanced:
                self._let_pass()
            self._ended()
            self.entry_c, self.between = self._leaving_c(), True

    def _changed(self, asked: Command | None) -> None:
        """Change the profile as it was asked; what is past stays as it was."""
        if self.profile is None or self.plan is None:
            raise ViolatedError("profile", "changed, and there is none")
        # A step may have become shorter than what it has run.
        self.shortened = True
        past = self.profile.steps[: self.index]
        present = self.profile.steps[self.index]
        if isinstance(asked, ChangeStepTarget):
            where = "to_c" if isinstance(present, Ramp | Jump) else "target_c"
            changed = replace(present, **{where: asked.target_c})
            later = self.profile.steps[self.index + 1 :]
            self.profile = replace(self.profile, steps=(*past, changed, *later))
        elif isinstance(asked, ChangeRest):
            self.profile = replace(self.profile, steps=(*past, present, *asked.profile.steps))
        else:
            self.profile, self.extra_s = self.plan, 0.0
            if self.index > len(self.plan.steps) - 1:
                self.index, self.low_s, self.high_s = len(self.plan.steps) - 1, 0.0, 0.0

    def _leaves(
        self, asked: Command | None, by: type[Command], event: StepChanged, leaving_c: float | None
    ) -> None:
        if not isinstance(asked, by):
            raise ViolatedError("profile", f"step {event.index} {event.change} by nobody")
        step = self._step_now()
        # A skipped ramp leaves the target in the middle: the witness does not follow that far.
        self.entry_c = (
            leaving_c if leaving_c is not None or isinstance(step, Ramp) else (self._leaving_c())
        )
        self.between = True

    def _let_pass(self) -> None:
        self.advanced = True
        self.high_s += self.passed_s
        if not isinstance(self._step_now(), Soak):
            self.low_s += self.passed_s

    def _ended(self) -> None:
        planned_s = self._planned_s()
        if planned_s is None:
            return
        slack_s = SLACK_S * (1 + self.restarts)
        if self.high_s < planned_s - slack_s:
            raise ViolatedError("step clock", f"ended after {self.high_s} s, planned {planned_s} s")
        late_s = self.low_s - self.passed_s - planned_s
        if late_s > slack_s and not self.shortened:
            raise ViolatedError("step clock", f"ended {late_s} s late")

    def _held_against(self, decision: Decision) -> None:
        shown = decision.outlook
        if shown is None:
            return
        if shown.index != self.index:
            raise ViolatedError("profile", f"at step {shown.index}, it was {self.index}")
        slack_s = SLACK_S * (1 + self.restarts)
        if not self.low_s - slack_s <= shown.elapsed_s <= self.high_s + slack_s:
            raise ViolatedError(
                "step clock", f"at {shown.elapsed_s} s, true {self.low_s} to {self.high_s} s"
            )

    def _step_now(self) -> object:
        return None if self.profile is None else self.profile.steps[self.index]

    def _planned_s(self) -> float | None:
        match self._step_now():
            case Hold(for_s=for_s) | Soak(for_s=for_s):
                return max(0.0, for_s + self.extra_s)
            case Ramp(to_c=to_c, rate_c_per_day=rate) if self.entry_c is not None:
                return abs(to_c - self.entry_c) / rate * 86400.0
            case _:
                return None

    def _leaving_c(self) -> float | None:
        match self._step_now():
            case Ramp(to_c=to_c) | Jump(to_c=to_c):
                return to_c
            case FreeRise() | None:
                return None
            case step:
                return step.target_c  # type: ignore[attr-defined]
