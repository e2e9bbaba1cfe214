"""Whether a review names a planted fault rightly, from the journal that is left of its world.

A fault is counted if it left a trace: in truth (not in what any probe read) the beer was 0.3 °C or
the air 2 °C from where it was in the twin without the fault, at some time from the beginning of the
fault to half an hour after its end. A fault without a trace cannot be seen, and harmed nothing; it
is listed, and not counted. Nor is, but listed and counted by itself, one whose only trace is in the
air of a chamber that has no probe there: no journal can show it, whatever its reader does. Nor is
an order that was refused: nothing was done, and the twin differs by when its loop woke.

It is named rightly if the first disturbance that the review of the whole world finds from a quarter
of an hour before the fault to an hour after its end has one of the causes that the fault can truly
be called by (`RIGHT`). A disturbance that the twin's review finds at the same time for the same
cause is not the fault's doing, and is passed over. So a second guess does not count, and a fault
that is told late, or not at all, is a miss.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from causes_worlds import Sample
from script import Entry

from fermd.control.events import CommandAnswered
from fermd.review.batches import read_chambers, read_ends
from fermd.review.causes.cause import Cause, Disturbance
from fermd.review.causes.disturbances import disturbances
from fermd.review.course import opened, read_course
from fermd.review.time_axis import read_time_axis

BEER_TRACE_C, AIR_TRACE_C = 0.3, 2.0
BEFORE_S, TRACE_AFTER_S, NAMED_AFTER_S = 900.0, 1800.0, 3600.0
SAME_S = 900.0

_PROBE = {Cause.PROBE_FAULT}
_MOVED = {Cause.PROBE_MOVED, Cause.PROBES_SWAPPED, Cause.PROBE_FAULT}
_AWAY = {Cause.DAEMON_AWAY}
_POWER = {Cause.POWER_CUT}
_PERSON = {Cause.TARGET_CHANGED, Cause.OVERRIDE, Cause.PAUSED, Cause.SWITCHED_OFF}

RIGHT: Mapping[str, set[Cause]] = {
    "probe: checksum": _PROBE,
    "probe: power-on value": _PROBE,
    "probe: unplugged": _PROBE,
    "probe: no answer": _PROBE,
    "probe: silent": _PROBE,
    # It jumps to where it freezes, or stands still: either is the probe's own trouble.
    "probe: frozen": _PROBE | {Cause.PROBE_MOVED},
    "probe: mixed faults": _PROBE,
    "probe: spikes": _PROBE | {Cause.PROBE_MOVED},
    "probe: drifts": _MOVED,
    "probe: fallen out": _MOVED,
    "probes swapped": {Cause.PROBES_SWAPPED, Cause.PROBE_MOVED, Cause.PROBE_FAULT},
    # A contact that does not close looks in the journal like a dead appliance: see `Cause`.
    "fridge stops cooling": {Cause.COOLING_FAILED},
    "heater fails": {Cause.HEATING_FAILED},
    "line taken away": {Cause.RELAY_FAULT},
    "door left open": {Cause.DOOR_OPEN},
    "power cut": _POWER,
    "power flickers": _POWER,
    "boot in the past": _POWER,
    "kill": _AWAY,
    "kill again and again": _AWAY,
    "exception": _AWAY,
    "orderly restart": _AWAY,
    "loop stalls": _AWAY,
    "clock set forward": {Cause.CLOCK_STEP},
    "clock set back": {Cause.CLOCK_STEP},
    "contradictory commands": _PERSON,
    "target turned round": _PERSON,
    "cooling forced on a freezing beer": {*_PERSON, Cause.PROBE_FAULT, Cause.PROBE_MOVED},
}


def right_causes(fault: Entry) -> set[Cause]:
    """The causes that a fault can truly be called by; empty for what never touches a chamber."""
    cools = str(fault.args.get("output", "")).startswith("cool")
    if fault.kind == "relay stuck on":
        return {Cause.COOLING_STUCK_ON if cools else Cause.HEATING_STUCK_ON}
    if fault.kind == "relay stuck off":
        return {Cause.COOLING_FAILED if cools else Cause.HEATING_FAILED}
    return RIGHT.get(fault.kind, set())


def lasts_s(fault: Entry) -> float:
    """How long a fault lasts, s."""
    args = fault.args
    if "every_s" in args:
        return float(args["times"]) * float(args["every_s"]) + float(args.get("lasts_s", 0.0))
    if fault.kind == "target turned round":
        # It comes with the next start (or stop), whenever that is.
        return 6 * 3600.0
    return float(args.get("lasts_s", args.get("restart_s", 0.0)))


@dataclass(frozen=True, slots=True)
class Verdict:
    """What became of one planted fault."""

    fault: Entry
    beer_off_c: float
    """The furthest that it took the beer from its twin, °C; so for the air."""
    air_off_c: float
    named: Disturbance | None
    """What the review named first."""
    has_air_probe: bool = True
    """Whether the chamber has a probe that could have seen what its air did."""
    was_refused: bool = False
    """Whether it is an order, and the daemon took none of its kind at that time."""

    @property
    def left_a_trace(self) -> bool:
        """Whether the fault shows in the true temperatures."""
        return self.beer_off_c >= BEER_TRACE_C or self.air_off_c >= AIR_TRACE_C

    @property
    def could_be_seen(self) -> bool:
        """Whether it was done, and a probe that exists was where it left its trace."""
        return not self.was_refused and self.could_be_read

    @property
    def could_be_read(self) -> bool:
        """Whether a probe that exists was where it left its trace."""
        return self.beer_off_c >= BEER_TRACE_C or (self.has_air_probe and self.left_a_trace)

    @property
    def is_right(self) -> bool:
        """Whether it was named rightly."""
        return self.named is not None and self.named.cause in right_causes(self.fault)

    def told(self) -> str:
        """One line about it."""
        named = "nothing" if self.named is None else f"{self.named.cause}: {self.named.words}"
        return (
            f"{self.fault}; beer {self.beer_off_c:.1f} °C, air {self.air_off_c:.1f} °C off; "
            f"named: {named[:110]}"
        )


def took_an_order(journal: Path, from_s: float, to_s: float) -> bool:
    """Whether the daemon took any order in a span."""
    with opened(journal) as db:
        axis = read_time_axis(db)
        (chamber,) = read_chambers(db)
        course = read_course(db, axis, chamber, *read_ends(db, axis))
    return any(
        from_s <= one.at_s <= to_s and isinstance(one.what, CommandAnswered) and one.what.taken
        for one in course.happened
    )


def found_in(journal: Path) -> tuple[Disturbance, ...]:
    """What a review of a whole journal of one chamber finds."""
    with opened(journal) as db:
        axis = read_time_axis(db)
        start_s, end_s = read_ends(db, axis)
        (chamber,) = read_chambers(db)
        return disturbances(read_course(db, axis, chamber, start_s, end_s))


def verdict(
    fault: Entry,
    start_s: float,
    samples: Sequence[Sample],
    twin: Sequence[Sample],
    found: Sequence[Disturbance],
    found_in_twin: Sequence[Disturbance],
    has_air_probe: bool = True,
    was_refused: bool = False,
) -> Verdict:
    """Judge what the review of a world says of its fault."""
    from_s = start_s + fault.at_s
    to_s = from_s + lasts_s(fault)
    calm = {round(one.at_s): one for one in twin}
    beer_off_c = air_off_c = 0.0
    for one in samples:
        other = calm.get(round(one.at_s))
        if other is not None and from_s <= one.at_s <= to_s + TRACE_AFTER_S:
            beer_off_c = max(beer_off_c, abs(one.beer_c - other.beer_c))
            air_off_c = max(air_off_c, abs(one.air_c - other.air_c))
    named = next(
        (
            one
            for one in found
            if from_s - BEFORE_S <= one.start_s <= to_s + NAMED_AFTER_S
            and not _is_in(one, found_in_twin)
        ),
        None,
    )
    return Verdict(fault, beer_off_c, air_off_c, named, has_air_probe, was_refused)


def _is_in(one: Disturbance, others: Sequence[Disturbance]) -> bool:
    return any(
        one.cause is other.cause and abs(one.start_s - other.start_s) <= SAME_S for other in others
    )
