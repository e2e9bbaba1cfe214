"""One simulated chamber: the thermal model, in true time, with what is switched on in it.

The plant is always integrated from where it was to where it is asked for, with the switches as
they stood in between, so that the moment of every switching counts, whoever looks when. Times are
counted in 64ths of a second and cut into a few lengths of step: the model is exact for any length,
and quick for one that it has seen before.

The room and the fermentation change over hours; both are taken anew every minute.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import inf
from typing import Final

from fermd.control.settings import Duty
from fermd.physics.fermentation import FermentationModel
from fermd.physics.thermal import Drive, ThermalModel, ThermalState

_UNITS_PER_S: Final = 64
_MINUTE: Final = 60 * _UNITS_PER_S
_STEPS: Final = (3840, 1920, 640, 320, 64, 32, 16, 8, 4, 2, 1)
"""Lengths of step in units of time: 60, 30, 10, 5 and 1 s, then halves down to a 64th."""

HeatSource = Callable[[float, float], float]
"""Told the beer's temperature (°C) and a length of time (s), gives the mean heat (W) over it."""


class Fermenting:
    """A batch at work, as a `HeatSource`: told of all the time that passes, it ferments."""

    def __init__(self, model: FermentationModel) -> None:
        self.model = model
        self.state = model.pitched()

    def __call__(self, beer_c: float, dt_s: float) -> float:
        """Ferment for so long at this temperature; return the mean heat, W."""
        self.state, heat_w = self.model.advance(self.state, beer_c, dt_s)
        return heat_w


def no_fermentation(beer_c: float, dt_s: float) -> float:  # noqa: ARG001 - a HeatSource
    """Give no heat: water, or beer that is done."""
    return 0.0


@dataclass(slots=True)
class _Switch:
    on: bool = False
    until: float = inf
    """In units of time; it lets go by itself then."""
    stuck: bool | None = None

    @property
    def conducts(self) -> bool:
        return self.on if self.stuck is None else self.stuck


class SimulatedPlant:
    """A chamber at `start_utc_s`, everything off and settled, the beer at `beer_c`."""

    def __init__(
        self,
        model: ThermalModel,
        *,
        beer_c: float,
        ambient_c: Callable[[float], float],
        start_utc_s: float,
        heat_source: HeatSource = no_fermentation,
    ) -> None:
        """`ambient_c` gives the room's temperature at a true time."""
        self._model = model
        self._ambient_of = ambient_c
        self._heat_source = heat_source
        self._start_utc_s = start_utc_s
        self._now = 0
        self._ambient_c = ambient_c(start_utc_s)
        self._heat_w = 0.0
        self._door_open = False
        self._switches = {duty: _Switch() for duty in Duty}
        self._acting: tuple[Drive, tuple[Duty, ...]] | None = None
        """What acts on the chamber and what runs; made anew when one of its parts has changed."""
        self._broken: set[Duty] = set()
        self.state: ThermalState = model.settled(self._ambient_c, beer_c)
        """Where everything stands at the time that it was last advanced to."""
        self.electric_j = 0.0
        """Electricity used so far."""
        self.cooled_j = 0.0
        """Heat that the evaporator has taken away so far."""
        self.leaked_j = 0.0
        """Heat that the room has given so far: more while the cabinet is colder than the beer."""
        self.starts = dict.fromkeys(Duty, 0)
        """How often each thing has started to run."""
        self.running_s = dict.fromkeys(Duty, 0.0)
        """For how long each thing has run."""

    def advance_to(self, utc_s: float) -> ThermalState:
        """Let time pass up to a true time, and return the state; a time gone by changes nothing."""
        target = self._units(utc_s)
        while self._now < target:
            if self._now % _MINUTE == 0:
                self._ambient_c = self._ambient_of(self._start_utc_s + self._now / _UNITS_PER_S)
                self._heat_w = self._heat_source(self.state.beer_c, _MINUTE / _UNITS_PER_S)
                self._acting = None
            ends = [one.until for one in self._switches.values() if one.on]
            next_minute = self._now - self._now % _MINUTE + _MINUTE
            self._integrate(int(min([target, next_minute, *ends])))
            self._let_go()
        return self.state

    def switch(
        self, duty: Duty, on: bool, at_utc_s: float, until_utc_s: float | None = None
    ) -> None:
        """Switch something on or off at a true time; with `until_utc_s` it lets go by itself."""
        self.advance_to(at_utc_s)
        switch = self._switches[duty]
        with_start = _Watch(switch)
        switch.on = on
        switch.until = inf if until_utc_s is None else self._units(until_utc_s)
        self._acting = None
        self._let_go()
        self.starts[duty] += with_start.started()

    def stick(self, duty: Duty, on: bool | None, at_utc_s: float) -> None:
        """Let a switch be stuck on or off whatever it is told; None mends it."""
        self.advance_to(at_utc_s)
        switch = self._switches[duty]
        with_start = _Watch(switch)
        switch.stuck = on
        self._acting = None
        self.starts[duty] += with_start.started()

    def break_load(self, duty: Duty, broken: bool, at_utc_s: float) -> None:
        """Let what hangs on a switch do nothing although it is fed; False mends it.

        A compressor that hums and does not cool, a heater whose wire is burnt through.
        """
        self.advance_to(at_utc_s)
        self._acting = None
        if broken:
            self._broken.add(duty)
        else:
            self._broken.discard(duty)

    def power_cut(self, at_utc_s: float, lasted_s: float) -> None:
        """Let nothing run for so long, not even through a welded contact; all is off afterwards."""
        self.advance_to(at_utc_s)
        stuck = {duty: switch.stuck for duty, switch in self._switches.items()}
        for switch in self._switches.values():
            switch.on, switch.stuck = False, False
        self._acting = None
        self.advance_to(at_utc_s + lasted_s)
        for duty, was_stuck in stuck.items():
            self.stick(duty, was_stuck, at_utc_s + lasted_s)

    def set_door(self, is_open: bool, at_utc_s: float) -> None:
        """Open or shut the door at a true time."""
        self.advance_to(at_utc_s)
        self._door_open = is_open
        self._acting = None

    def runs(self, duty: Duty) -> bool:
        """Tell whether something truly runs, whatever it was told."""
        return self._switches[duty].conducts

    def _integrate(self, end: int) -> None:
        if self._acting is None:
            self._acting = self._what_acts()
        drive, running = self._acting
        for duty in running:
            self.running_s[duty] += (end - self._now) / _UNITS_PER_S
        for step in _STEPS:
            while end - self._now >= step:
                self.state, flows = self._model.advance(self.state, drive, step / _UNITS_PER_S)
                self.electric_j += flows.electric_j
                self.cooled_j += flows.cooling_j
                self.leaked_j += flows.leak_j
                self._now += step

    def _what_acts(self) -> tuple[Drive, tuple[Duty, ...]]:
        running = tuple(duty for duty, switch in self._switches.items() if switch.conducts)
        works = {duty: duty in running and duty not in self._broken for duty in Duty}
        drive = Drive(
            self._ambient_c,
            self._heat_w,
            works[Duty.COOL],
            works[Duty.HEAT],
            works[Duty.FAN],
            self._door_open,
        )
        return drive, running

    def _let_go(self) -> None:
        for switch in self._switches.values():
            if switch.on and switch.until <= self._now:
                switch.on = False
                self._acting = None

    def _units(self, utc_s: float) -> int:
        # A hair more, so that a time that was computed from a sum is not cut to the unit before.
        return int((utc_s - self._start_utc_s) * _UNITS_PER_S + 1e-3)


class _Watch:
    """Tells whether a switch has begun to conduct since."""

    def __init__(self, switch: _Switch) -> None:
        self._switch = switch
        self._conducted = switch.conducts

    def started(self) -> bool:
        return self._switch.conducts and not self._conducted
