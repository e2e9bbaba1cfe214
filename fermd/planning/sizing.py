"""Whether the chamber is big enough: the power that a batch asks for against what it has.

A balance in watts for each situation that asks the most of cooling or heating, every line with its
numbers and its formula, so that it can be done again by hand:

    cooling   leak in the warmest room + yeast at the time + pull-down along a ramp
    heating   leak in the coldest room + warm-up along a ramp (yeast is not counted on)

What the chamber has is the cooler's power at the evaporator's temperature in that situation (it
falls as the evaporator gets colder) or the heater's; less what the cabinet leaks more for being
colder (warmer) than its beer while the output runs, and a fan's heat; less the share of the time
that it rests after its longest run. Needed over available is then the share of its possible
running time that the output runs. Above `TIGHT` there is no room for a door or a hot day.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from fermd.control.settings import DAY_S, Duty
from fermd.control.steps import Ramp
from fermd.physics.ambient import AmbientTrace
from fermd.planning.ability import Ability
from fermd.planning.cautions import room_span_c
from fermd.planning.chamber import PlannedChamber
from fermd.planning.heat import HeatTrack
from fermd.planning.timeline import Timeline

TIGHT: Final = 0.8
"""Needed over available: above this it is tight (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Term:
    """One line of the balance."""

    name: str
    watts: float
    working: str
    """How it comes about, with the numbers in it."""


@dataclass(frozen=True, slots=True)
class Case:
    """One situation."""

    duty: Duty
    what: str
    """Which, for people."""
    step: int
    """From 0."""
    utc_s: float
    beer_c: float
    room_c: float
    rate_c_per_day: float
    terms: tuple[Term, ...]
    has: Term
    """What the chamber has for it; 0 W without such an output."""

    @property
    def needed_w(self) -> float:
        """The sum of the terms."""
        return sum(term.watts for term in self.terms)

    @property
    def load(self) -> float:
        """Needed over available; above 1 it cannot be done, 0 if nothing is needed."""
        if self.needed_w <= 0.0:
            return 0.0
        return self.needed_w / self.has.watts if self.has.watts > 0.0 else float("inf")

    @property
    def is_tight(self) -> bool:
        """Whether there is too little to spare."""
        return self.load > TIGHT


def size(
    line: Timeline, heat: HeatTrack, chamber: PlannedChamber, room: AmbientTrace
) -> tuple[Case, ...]:
    """The situations that ask the most: of cooling first, then of heating."""
    ability = Ability.of(chamber)
    coldest_c, warmest_c = room_span_c(room, line.start_utc_s, line.corners[-1].utc_s)
    cases = [
        *_cooling(line, heat, ability, warmest_c),
        *_heating(line, ability, coldest_c),
    ]
    return tuple(cases)


def _cooling(line: Timeline, heat: HeatTrack, ability: Ability, room_c: float) -> Iterator[Case]:
    peak = heat.peak
    if heat.heat_w[peak] > 0.0:
        at_s = heat.times_s[peak]
        yield _cool(
            ability,
            f"at the peak of fermentation, {_days(line, at_s)}",
            _step_at(line, at_s),
            at_s,
            heat.beer_c[peak],
            room_c,
            heat.heat_w[peak],
            0.0,
        )
    falls = []
    for segment in line.segments:
        step = segment.step
        if isinstance(step, Ramp) and step.to_c < segment.entry_c:
            for beer_c, at_s in (
                (segment.entry_c, segment.begins_utc_s),
                (step.to_c, segment.ends_utc_s),
            ):
                what = f"in the ramp of step {segment.index + 1}, {_days(line, at_s)}"
                yeast_w = heat.heat_at_w(at_s)
                rate = step.rate_c_per_day
                falls.append(
                    _cool(ability, what, segment.index, at_s, beer_c, room_c, yeast_w, rate)
                )
    if falls:
        yield max(falls, key=lambda case: case.load)
    coldest = min(line.corners, key=lambda corner: corner.cool_c)
    what = f"holding the coldest target, {_days(line, coldest.utc_s)}"
    yield _cool(
        ability,
        what,
        _step_at(line, coldest.utc_s),
        coldest.utc_s,
        coldest.cool_c,
        room_c,
        heat.heat_at_w(coldest.utc_s),
        0.0,
    )


def _heating(line: Timeline, ability: Ability, room_c: float) -> Iterator[Case]:
    warmest = max(line.corners, key=lambda corner: corner.heat_c)
    what = f"holding the warmest target, {_days(line, warmest.utc_s)}"
    index = _step_at(line, warmest.utc_s)
    yield _heat(ability, what, index, warmest.utc_s, warmest.heat_c, room_c, 0.0)
    rises = []
    for segment in line.segments:
        step = segment.step
        if isinstance(step, Ramp) and step.to_c > segment.entry_c:
            at_s = segment.ends_utc_s
            what = f"in the ramp of step {segment.index + 1}, {_days(line, at_s)}"
            rate = step.rate_c_per_day
            rises.append(_heat(ability, what, segment.index, at_s, step.to_c, room_c, rate))
    if rises:
        yield max(rises, key=lambda case: case.load)


def _cool(
    ability: Ability,
    what: str,
    step: int,
    at_s: float,
    beer_c: float,
    room_c: float,
    yeast_w: float,
    rate_c_per_day: float,
) -> Case:
    terms = [_leak(ability, beer_c, room_c, into=True)]
    if yeast_w > 0.0:
        terms.append(Term("yeast", yeast_w, "heat of fermentation then, by its kinetics"))
    if rate_c_per_day > 0.0:
        terms.append(_move("pull-down", ability, Duty.COOL, rate_c_per_day))
    return Case(
        Duty.COOL,
        what,
        step,
        at_s,
        beer_c,
        room_c,
        -rate_c_per_day,
        tuple(terms),
        _has(ability, Duty.COOL, beer_c, room_c, yeast_w),
    )


def _heat(
    ability: Ability,
    what: str,
    step: int,
    at_s: float,
    beer_c: float,
    room_c: float,
    rate_c_per_day: float,
) -> Case:
    terms = [_leak(ability, beer_c, room_c, into=False)]
    if rate_c_per_day > 0.0:
        terms.append(_move("warm-up", ability, Duty.HEAT, rate_c_per_day))
    return Case(
        Duty.HEAT,
        what,
        step,
        at_s,
        beer_c,
        room_c,
        rate_c_per_day,
        tuple(terms),
        _has(ability, Duty.HEAT, beer_c, room_c, 0.0),
    )


def _leak(ability: Ability, beer_c: float, room_c: float, *, into: bool) -> Term:
    """What passes the walls with all off; `into` the chamber, or out of it."""
    network = ability.model.network
    w_per_k = network.leak_w_per_k + network.gasket_w_per_k
    resting = ability.model.held(ability.drive(None, room_c, 0.0), beer_c)
    watts = ability.model.leak_w(resting, room_c) * (1.0 if into else -1.0)
    working = (
        f"(foam {network.leak_w_per_k:.2f} + gasket {network.gasket_w_per_k:.2f} W/K) × "
        f"{watts / w_per_k:.1f} K (room {room_c:.1f} °C, around beer of {beer_c:.1f} °C)"
    )
    return Term("leak", watts, working)


def _has(ability: Ability, duty: Duty, beer_c: float, room_c: float, yeast_w: float) -> Term:
    name = "cooling has" if duty is Duty.COOL else "heating has"
    if duty not in ability.settings.by_duty:
        return Term(name, 0.0, "the chamber has none")
    model, network = ability.model, ability.model.network
    drive = ability.drive(duty, room_c, yeast_w)
    running = model.held(drive, beer_c)
    resting = model.held(ability.drive(None, room_c, yeast_w), beer_c)
    more_leak_w = model.leak_w(running, room_c) - model.leak_w(resting, room_c)
    fan_w = network.fan_w if drive.fan else 0.0
    if duty is Duty.COOL:
        power_w, lost_w = model.cooling_w(running), more_leak_w + fan_w
        given = (
            f"{network.cooling_at_0c_w:.0f} W + {network.cooling_w_per_k:.2f} W/K × "
            f"({running.evaporator_c:.1f} °C evaporator) = {power_w:.0f} W"
        )
    else:
        power_w, lost_w = network.heater_w, -more_leak_w - fan_w
        given = f"{power_w:.0f} W"
    share = ability.working_share(duty)
    colder = "colder" if duty is Duty.COOL else "warmer"
    working = f"({given}, less {lost_w:.0f} W that the {colder} cabinet leaks more"
    if fan_w:
        working += " and the fan gives"
    working += f") × {share:.2f} for its rests"
    return Term(name, (power_w - lost_w) * share, working)


def _move(name: str, ability: Ability, duty: Duty, rate_c_per_day: float) -> Term:
    j_per_k = ability.model.moved_j_per_k(ability.drive(duty, 20.0, 0.0))
    beer_j_per_k = ability.model.network.capacities_j_per_k[-1]
    working = (
        f"(beer {beer_j_per_k / 1e3:.1f} + vessel and cabinet "
        f"{(j_per_k - beer_j_per_k) / 1e3:.1f} kJ/K) × {rate_c_per_day:g} °C / 86400 s"
    )
    return Term(name, j_per_k * rate_c_per_day / DAY_S, working)


def _step_at(line: Timeline, utc_s: float) -> int:
    found = 0
    for segment in line.segments:
        if segment.begins_utc_s <= utc_s:
            found = segment.index
    return found


def _days(line: Timeline, utc_s: float) -> str:
    return f"day {(utc_s - line.start_utc_s) / DAY_S:.1f}"
