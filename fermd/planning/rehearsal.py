"""A whole batch in seconds: the real core on the simulated chamber, without journal and sockets.

`control.site.step` decides, the thermal model answers, a witness watches the relays. Nothing is
left out of control: probes have their noise and steps and must earn their trust, compressors have
their protections and an unknown past. What is left out is what cannot go wrong here: the daemon's
loop, leases, the journal.

A tick is 60 s here and 10 s in the daemon, and 120 s while nothing is on and nothing is called
for. Beer moves by a step of its probe in minutes, and a compressor cannot switch within three: what
matters happens over many minutes, and many times as many ticks show the same (the difference is
measured in the tests). Protection's times are kept, to the tick above. The room and the yeast's
heat change over hours: both are taken anew every ten minutes.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from random import Random
from typing import Final

from fermd.control import site
from fermd.control.bands import Call
from fermd.control.chamber import Inputs
from fermd.control.commands import Command, ConfirmStep, StartProfile
from fermd.control.decision import Decision
from fermd.control.events import CommandAnswered
from fermd.control.moment import Moment
from fermd.control.reading import Sample, Trusted
from fermd.control.settings import DAY_S, HOUR_S, CircuitSettings, Duty, SiteSettings
from fermd.control.site import SiteState
from fermd.control.state import first_state
from fermd.control.steps import FinalHold, Profile, Schedule, WaitForPerson
from fermd.physics.ambient import AmbientTrace
from fermd.physics.probe import ProbeModel
from fermd.physics.thermal import Drive, ThermalModel
from fermd.planning.batch import PlannedBatch
from fermd.planning.chamber import PlannedChamber
from fermd.planning.errors import PlanError
from fermd.planning.observer import Observer, Seen
from fermd.planning.outcome import Rehearsal
from fermd.planning.witness import Witness

PERIOD_S: Final = 60.0
"""The time between two ticks, s; see above ..."""
IDLE_TICKS: Final = 2
"""... and so many times that while the chamber idles, though never above `QUICK_PERIOD_S`."""

QUICK_PERIOD_S: Final = 300.0
"""For an estimate of dates, s: the longest that the core takes for control without a gap."""

SLOW_S: Final = 600.0
"""Room and fermentation are taken anew after this, s."""

FIRST_TICKS: Final = 4
"""So many ticks pass before the profile is started: the probes must have earned their trust ..."""
FIRST_TICK_S: Final = 1.0
"""... a second apart, since a profile's clock runs from the tick before its start."""

LAST_HOLD_S: Final = 12 * HOUR_S
"""How long the final hold is watched, s, once the beer is there ..."""
LONGEST_LAST_HOLD_S: Final = 10 * DAY_S
"""... and at most, if it never gets there."""

SCHEDULE_S: Final = 14 * DAY_S
"""How long a schedule is watched, s: each weekday twice."""

LATEST_S: Final = 30 * DAY_S
"""A profile that has not come to its end so long after the time it was planned to take is given up:
the chamber cannot do what a step waits for."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """What is rehearsed."""

    profile: Profile
    chamber: PlannedChamber
    """Its settings have the calendar, if the profile needs one."""
    batch: PlannedBatch
    room: AmbientTrace
    start_utc_s: float
    start_c: float
    """The beer's temperature at the start, °C."""
    planned_s: float
    """How long the profile takes by plan, s, as far as that is known."""
    circuits: tuple[CircuitSettings, ...] = ()
    confirm_after_s: float = 12 * HOUR_S
    """How long a step that waits for a person waits, s: somebody looks twice a day (common
    practice, no source)."""


def rehearse(
    plan: Plan, *, period_s: float = PERIOD_S, idle_ticks: int = IDLE_TICKS, seed: int = 1
) -> Rehearsal:
    """Run a plan from the start of the board to the end of the final hold.

    `period_s` divides `SLOW_S`; `seed` is of the probes' noise.

    Raises:
        PlanError: the core refuses the profile; the text says why.

    """
    return _Run(plan, period_s, idle_ticks, seed).to_the_end()


class _Run:
    """One rehearsal under way."""

    def __init__(self, plan: Plan, period_s: float, idle_ticks: int, seed: int) -> None:
        settings = plan.chamber.settings
        self._plan = plan
        self._settings = settings
        self._period_s = period_s
        self._idle_s = max(period_s, min(idle_ticks * period_s, QUICK_PERIOD_S))
        self._boot_utc_s = plan.start_utc_s - FIRST_TICKS * FIRST_TICK_S
        self._site = SiteSettings((settings,), plan.circuits)
        self._core = SiteState({settings.name: first_state(settings, 0.0)})
        self._model = ThermalModel(plan.chamber.parts)
        self._room_c = plan.room.temp_c(self._boot_utc_s)
        self._state = self._model.settled(self._room_c, plan.start_c)
        self._fermentation = plan.batch.fermentation()
        self._ferments = None if self._fermentation is None else self._fermentation.pitched()
        self._yeast_w = 0.0
        self._probe = ProbeModel()
        self._random = Random(seed)  # noqa: S311 - noise of a probe, no secret
        self._drive = Drive(self._room_c)
        self._idles = False
        self._observer = Observer(plan.profile, settings, plan.start_utc_s)
        self._witness = Witness(settings, 0.0, period_s)
        self._goes_on = True
        self._finished = False
        self._confirm = False
        self._ended_since_s: float | None = None

    def to_the_end(self) -> Rehearsal:
        """Tick until it is over."""
        mono_s = 0.0
        next_look_s = start_s = FIRST_TICKS * FIRST_TICK_S
        latest_s = self._plan.planned_s + LATEST_S
        while self._goes_on and mono_s <= latest_s:
            commands: tuple[Command, ...] = ()
            if mono_s == start_s:
                commands = (StartProfile(self._plan.profile, "rehearsal"),)
            elif self._confirm:
                commands = (ConfirmStep("rehearsal"),)
            if mono_s == next_look_s:
                self._look_at_room_and_yeast(mono_s)
                next_look_s += SLOW_S
            decision = self._decide(mono_s, commands)
            if commands:
                _refuse_if_refused(decision)
            next_s = FIRST_TICK_S
            if mono_s >= start_s:
                next_s = self._idle_s if self._idles else self._period_s
                next_s = min(next_s, next_look_s - mono_s)
                self._follow(mono_s, decision, next_s)
            self._state, _ = self._model.advance(self._state, self._drive, next_s)
            mono_s += next_s
        return self._observer.outcome(
            finished=self._finished,
            electric_w=self._electric_w(),
            broken=tuple(self._witness.broken),
        )

    def _look_at_room_and_yeast(self, mono_s: float) -> None:
        self._room_c = self._plan.room.temp_c(self._boot_utc_s + mono_s)
        if self._fermentation is not None and self._ferments is not None:
            self._ferments, self._yeast_w = self._fermentation.advance(
                self._ferments, self._state.beer_c, SLOW_S
            )

    def _decide(self, mono_s: float, commands: tuple[Command, ...]) -> Decision:
        name = self._settings.name
        now = Moment(mono_s, self._boot_utc_s + mono_s, True)
        inputs = {name: Inputs(self._samples(mono_s), commands)}
        self._core, decisions = site.step(self._core, self._site, inputs, now)
        decision = decisions[name]
        on = {decided.duty: decided.on for decided in decision.outputs}
        self._drive = Drive(
            self._room_c,
            self._yeast_w,
            on.get(Duty.COOL, False),
            on.get(Duty.HEAT, False),
            on.get(Duty.FAN, False),
        )
        self._idles = decision.call is Call.IDLE and True not in on.values()
        vessel, air = decision.vessel, decision.air
        beer_c = vessel.temp_c if isinstance(vessel, Trusted) else None
        air_c = air.temp_c if isinstance(air, Trusted) else None
        self._witness.sees(mono_s, on, beer_c, air_c)
        return decision

    def _samples(self, mono_s: float) -> Mapping[str, tuple[Sample, ...]]:
        settings, state, read = self._settings, self._state, self._probe.read_c
        samples = {
            settings.vessel_probe.name: (Sample(mono_s, read(state.vessel_probe_c, self._random)),)
        }
        if settings.air_probe is not None:
            air_c = read(state.air_probe_c, self._random)
            samples[settings.air_probe.name] = (Sample(mono_s, air_c),)
        for probe in settings.watching_probes:
            samples[probe.name] = (Sample(mono_s, read(state.vessel_probe_c, self._random)),)
        return samples

    def _follow(self, mono_s: float, decision: Decision, lasts_s: float) -> None:
        true = Seen(self._state, self._room_c, self._yeast_w)
        self._observer.sees(self._boot_utc_s + mono_s, decision, true, lasts_s)
        shown = decision.outlook
        self._confirm = (
            shown is not None
            and shown.kind == WaitForPerson.kind
            and shown.elapsed_s >= self._plan.confirm_after_s
        )
        if shown is not None and shown.kind not in (FinalHold.kind, Schedule.kind):
            return
        self._finished = True
        if self._ended_since_s is None:
            self._ended_since_s = mono_s
        watched_s = mono_s - self._ended_since_s
        if shown is not None and shown.kind == Schedule.kind:
            self._goes_on = watched_s < SCHEDULE_S
            return
        there = self._observer.is_there
        self._goes_on = watched_s < (LAST_HOLD_S if there else LONGEST_LAST_HOLD_S)

    def _electric_w(self) -> Mapping[Duty, float]:
        network = self._model.network
        return {
            Duty.COOL: network.compressor_w,
            Duty.HEAT: network.heater_w,
            Duty.FAN: network.fan_w,
        }


def _refuse_if_refused(decision: Decision) -> None:
    for event in decision.events:
        if isinstance(event, CommandAnswered) and not event.taken:
            raise PlanError(event.why)
