"""Stages, as a recipe has them, made into steps of a profile.

A stage has a start and an end temperature, a time, and perhaps a free rise. One temperature is
held for the time; two are a ramp in a straight line over the time (the standards do not say that
it is straight; nothing else would need no further numbers). Where something is missing, what is
put in its place is the least that the stage can have meant, and it is listed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any, Final, get_type_hints

from fermd.config.durations import DAY_S
from fermd.config.errors import ABSENT, Fault
from fermd.control.steps import FinalHold, FreeRise, Hold, Jump, Ramp, Step, WaitForPerson
from fermd.control.wording import span
from fermd.exchange.carried import HIGHEST_C, LONGEST_S, LOWEST_C, LeftOut

FREE_RISE_FLOOR_C: Final = 4.0
"""Floor of a free rise that names no start and comes first, °C: kept from freezing and otherwise
not heated. Common practice, no source."""

_rate: Any = get_type_hints(Ramp, include_extras=True)["rate_c_per_day"]

HIGHEST_RATE_C_PER_DAY: Final[float] = _rate.__metadata__[1].le


@dataclass(frozen=True, slots=True)
class Stage:
    """A stage of a recipe; temperatures in °C, within what a profile may ask for."""

    where: str
    """Its place in the document."""
    start_key: str
    """Where its start temperature stands or would stand."""
    end_key: str
    time_key: str
    name: str
    start_c: float | None
    end_c: float | None
    for_s: float | None
    """None if the document does not say; 0 if it says that the stage takes no time."""
    free_rise: bool = False


@dataclass(slots=True)
class _Making:
    """Steps as they are made, and where the target has come to."""

    left_out: list[LeftOut]
    faults: list[Fault]
    steps: list[Step] = field(default_factory=list)
    at_c: float | None = None
    """Where the beer is meant to be when the next step begins; None if nobody can say."""

    def note(self, where: str, what: str, why: str) -> None:
        self.left_out.append(LeftOut(where, what, why))

    def add(self, step: Step, leaves_c: float | None) -> None:
        self.steps.append(step)
        self.at_c = leaves_c


def steps_of(
    stages: Sequence[Stage], left_out: list[LeftOut], faults: list[Fault], *, ends: bool = True
) -> tuple[Step, ...]:
    """The stages as steps.

    What is lost or put in is added to `left_out`, what is wrong to `faults`. `ends` tells that the
    profile ends with them: only then may the last be held without end.
    """
    making = _Making(left_out, faults)
    for number, stage in enumerate(stages, 1):
        if stage.for_s == 0 and (stage.free_rise or not _moves(stage)):
            making.note(stage.time_key, "0", "takes no time, so there is no step for it")
        elif stage.free_rise:
            _free_rise(stage, making)
        elif stage.start_c is not None and stage.end_c is not None and _moves(stage):
            _move(stage, stage.start_c, stage.end_c, making)
        else:
            _hold(stage, making, last=ends and number == len(stages))
    return tuple(making.steps)


def _moves(stage: Stage) -> bool:
    both = stage.start_c is not None and stage.end_c is not None
    return both and stage.start_c != stage.end_c


def _hold(stage: Stage, making: _Making, *, last: bool) -> None:
    target_c = stage.start_c if stage.start_c is not None else stage.end_c
    if target_c is None:
        target_c = making.at_c
        if target_c is None:
            why = (
                "is missing, and nothing before it says where the beer is; write the temperature "
                "to be held"
            )
            making.faults.append(Fault(stage.start_key, ABSENT, why))
            return
        making.note(stage.start_key, "no temperature", f"held at {target_c:g} °C as before")
    if stage.for_s is not None:
        making.add(Hold(target_c, stage.for_s, stage.name), target_c)
    elif stage.start_c is None and stage.end_c is not None:
        why = "only where it ends is said: goes there at once, over when the beer is there"
        making.note(stage.time_key, "no time", why)
        making.add(Jump(target_c, name=stage.name), target_c)
    elif last:
        making.note(stage.time_key, "no time", "held without end, as nothing follows")
        making.add(FinalHold(target_c, stage.name), target_c)
    else:
        making.note(stage.time_key, "no time", "held until a person confirms that it is over")
        prompt = f"{stage.name or 'This step'}: the recipe gives no time; confirm when it is over"
        making.add(WaitForPerson(target_c, prompt, stage.name), target_c)


def _move(stage: Stage, start_c: float, end_c: float, making: _Making) -> None:
    away_c = abs(end_c - start_c)
    rate = away_c * DAY_S / stage.for_s if stage.for_s else None
    if rate is None or rate > HIGHEST_RATE_C_PER_DAY:
        what = "no time" if stage.for_s is None else f"{away_c:g} °C in {span(stage.for_s)}"
        if stage.for_s is not None:
            what += f" (a profile goes at most {HIGHEST_RATE_C_PER_DAY:g} °C a day)"
        why = (
            f"goes from {start_c:g} to {end_c:g} °C at once, as fast as the chamber "
            "can; over when the beer is there"
        )
        making.note(stage.time_key, what, why)
        making.add(Jump(end_c, name=stage.name), end_c)
        return
    if making.at_c != start_c:
        before = "nothing comes before" if not making.steps else "the step before ends elsewhere"
        why = f"{before}: a jump to it is put in, and the time that takes comes on top"
        making.note(stage.start_key, f"{start_c:g} °C", why)
        making.add(Jump(start_c, name=_begin_of(stage.name)), start_c)
    # Beyond twelve digits is the dust of a division, and people read the file.
    making.add(Ramp(end_c, float(f"{rate:.12g}"), stage.name), end_c)


def _free_rise(stage: Stage, making: _Making) -> None:
    given = [temp_c for temp_c in (stage.start_c, stage.end_c) if temp_c is not None]
    if stage.start_c is not None and stage.end_c is not None and stage.end_c < stage.start_c:
        why = f"below the start of a free rise, {stage.start_c:g} °C: taken as its floor"
        making.note(stage.end_key, f"{stage.end_c:g} °C", why)
    top_known = stage.end_c is not None and (stage.start_c is None or len(set(given)) > 1)
    ceiling_c = max(given) if top_known else HIGHEST_C
    if not top_known:
        why = (
            f"the standard sets no limit to a free rise: never cooled below {HIGHEST_C:g} °C, the "
            "highest that a profile can say; write a ceiling_c that the yeast can stand"
        )
        making.note(stage.end_key, "no end above the start", why)
    floor_c = min(given) if stage.start_c is not None else _floor_c(ceiling_c, making.at_c)
    if floor_c >= ceiling_c:
        why = f"must be below {HIGHEST_C:g} °C for a free rise, which needs room to rise"
        making.faults.append(Fault(stage.start_key, floor_c, why))
        return
    if stage.start_c is None:
        why = f"not heated above {floor_c:g} °C (its floor_c)"
        making.note(stage.start_key, "no start of the free rise", why)
    for_s = stage.for_s
    if for_s is None:
        for_s = LONGEST_S
        end = "ends at its ceiling" if top_known else "has no end of its own"
        why = f"{end}, after {span(LONGEST_S)} at the latest; `fermd skip` ends it by hand"
        making.note(stage.time_key, "no time", why)
    elif top_known:
        why = f"over sooner if the beer reaches the ceiling, {ceiling_c:g} °C, before"
        making.note(stage.time_key, span(for_s), why)
    making.add(FreeRise(floor_c, ceiling_c, for_s, stage.name), ceiling_c if top_known else None)


def _floor_c(ceiling_c: float, at_c: float | None) -> float:
    """The highest temperature that there is a reason to keep a free rise above."""
    reasons = (at_c, FREE_RISE_FLOOR_C)
    return next((c for c in reasons if c is not None and c < ceiling_c), LOWEST_C)


def _begin_of(name: str) -> str:
    return f"{name}: to its start" if name else ""
