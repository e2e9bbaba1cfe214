"""A profile from a recipe in BeerXML 1.0.

A RECIPE has up to three stages, each with days and °C, and then days of ageing in the bottle.
There are no ramps and no conditions. Field names and units: BeerXML 1.0,
beerxml.com/beerxml.htm, record RECIPE. (Times elsewhere in BeerXML are minutes; these are days.)
"""

from __future__ import annotations

import re
from pathlib import Path
from typing import Final

from fermd.config.durations import DAY_S, KEPT_DIGITS_OF_S
from fermd.config.errors import ABSENT, Fault
from fermd.control.steps import Hold, Profile, Step, WaitForPerson
from fermd.control.wording import span
from fermd.exchange.carried import (
    LONGEST_NAME,
    LONGEST_S,
    Carried,
    LeftOut,
    refused,
    temperature_fault,
    tidy,
)
from fermd.exchange.choice import chosen
from fermd.exchange.stages import Stage, steps_of
from fermd.exchange.xml_text import Recipe, parse_recipes

STAGES: Final = ("PRIMARY", "SECONDARY", "TERTIARY")

_STAGE_FIELDS: Final = tuple(f"{stage}_{what}" for stage in STAGES for what in ("AGE", "TEMP"))
_AGEING: Final = ("AGE", "AGE_TEMP")
_WANTED: Final = frozenset(("NAME", "VERSION", "FERMENTATION_STAGES", *_STAGE_FIELDS, *_AGEING))

_NUMBER: Final = re.compile(
    r"[+-]?(?:[0-9]{1,30}(?:\.[0-9]{0,30})?|\.[0-9]{1,30})(?:[eE][+-]?[0-9]{1,3})?"
)

_ADDED_WHILE_FERMENTING: Final = frozenset(("dry hop", "primary", "secondary"))
"""Values of USE in HOP and MISC, in small letters."""

_NOTHING: Final = (
    "has no fermentation: no recipe has PRIMARY_AGE or PRIMARY_TEMP (or those of SECONDARY or "
    "TERTIARY); add the days and the °C of each stage"
)


class _Reading:
    """One recipe as it is read: what is wrong, and what is left out."""

    def __init__(self, recipe: Recipe) -> None:
        self.recipe = recipe
        self.faults: list[Fault] = list(recipe.faults)
        self.left_out: list[LeftOut] = []

    def place(self, tag: str) -> str:
        return f"{self.recipe.where}.{tag}"

    def given(self, tag: str) -> str:
        return self.recipe.fields.get(tag, "")

    def leave(self, tag: str, why: str) -> None:
        self.left_out.append(LeftOut(self.place(tag), tidy(self.given(tag), 60) or '""', why))

    def number(self, tag: str, allowed: str) -> float | None:
        """A field's number; None if the field is not there, empty, or no number (a fault)."""
        text = self.given(tag)
        if not text:
            return None
        if not _NUMBER.fullmatch(text):
            point = "with a point, not a comma, and " if "," in text else ""
            why = f"must be a number {allowed}, {point}without a unit"
            self.faults.append(Fault(self.place(tag), tidy(text, 60), why))
            return None
        return float(text)

    def temperature_c(self, tag: str) -> float | None:
        temp_c = self.number(tag, "of °C")
        if temp_c is not None and (why := temperature_fault(temp_c)):
            self.faults.append(Fault(self.place(tag), tidy(self.given(tag), 60), why))
            return None
        return temp_c

    def age_s(self, tag: str) -> float | None:
        days = self.number(tag, "of days")
        if days is not None and not 0 <= days <= LONGEST_S / DAY_S:
            why = f"must be from 0 to {LONGEST_S / DAY_S:g} days, a step's greatest length"
            self.faults.append(Fault(self.place(tag), tidy(self.given(tag), 60), why))
            return None
        return None if days is None else round(days * DAY_S, KEPT_DIGITS_OF_S)


def from_beerxml(data: bytes, file: Path | str = "BeerXML", name: str | None = None) -> Carried:
    """The fermentation of the recipe called `name`, as a profile.

    `file` is what messages call the document. Without a name there must be only one recipe that
    has a fermentation.

    Raises:
        ConfigError: the document cannot be read, is hostile, asks for what no profile may, or has
            not exactly one recipe that fits.

    """
    recipes = [each for each in parse_recipes(data, file, _WANTED) if _has_stage(each)]
    names = [tidy(each.fields.get("NAME", ""), LONGEST_NAME) for each in recipes]
    index = chosen(names, name, file, _NOTHING)
    reading = _Reading(recipes[index])
    stages = _stages(reading)
    aged = _ageing(reading)
    steps = steps_of(stages, reading.left_out, reading.faults, ends=aged is None)
    if not steps and not reading.faults:
        why = "no stage takes any time; write the days of at least one"
        reading.faults.append(Fault(reading.place("PRIMARY_AGE"), ABSENT, why))
    _leave_rest(reading)
    if reading.faults:
        raise refused(file, reading.faults)
    title = names[index] or "imported"
    if not names[index]:
        reading.leave("NAME", f'is empty; the profile is called "{title}"')
    if aged is not None:
        steps = (*steps, _packaging(steps[-1], aged), aged)
    return Carried(Profile(title, steps), tuple(reading.left_out))


def _has_stage(recipe: Recipe) -> bool:
    return any(recipe.fields.get(tag) for tag in _STAGE_FIELDS)


def _stages(reading: _Reading) -> list[Stage]:
    used = _stages_used(reading)
    stages = []
    for index, stage in enumerate(STAGES):
        age, temp = f"{stage}_AGE", f"{stage}_TEMP"
        given = [tag for tag in (age, temp) if reading.given(tag)]
        if index >= used:
            for tag in given:
                reading.leave(tag, f"is of a later stage than FERMENTATION_STAGES counts, {used}")
            continue
        if not given:
            continue
        before = len(reading.faults)
        temp_c, for_s = reading.temperature_c(temp), reading.age_s(age)
        if len(reading.faults) == before:
            place_temp, place_age = reading.place(temp), reading.place(age)
            name = stage.lower()
            stages.append(
                Stage(place_temp, place_temp, place_temp, place_age, name, temp_c, temp_c, for_s)
            )
    return stages


def _stages_used(reading: _Reading) -> int:
    """How many of the three stages count."""
    tag = "FERMENTATION_STAGES"
    before = len(reading.faults)
    count = reading.number(tag, "of stages")
    if count is None or count < 1:
        if len(reading.faults) == before and count is not None:
            reading.leave(tag, "every stage that has days or °C is taken")
        return len(STAGES)
    if count > len(STAGES):
        reading.leave(tag, "BeerXML has fields for three stages only")
        return len(STAGES)
    used = int(count)
    if used != count:
        reading.faults.append(
            Fault(reading.place(tag), reading.given(tag), "must be a whole number, usually 1 to 3")
        )
    for stage in STAGES[:used]:
        if not reading.given(f"{stage}_AGE") and not reading.given(f"{stage}_TEMP"):
            why = f"nothing is said of stage {stage}"
            reading.leave(tag, why)
    return used


def _ageing(reading: _Reading) -> Hold | None:
    """Ageing in the bottle, if the recipe has it."""
    for_s = reading.age_s("AGE")
    if not for_s:
        if reading.given("AGE_TEMP"):
            reading.leave("AGE_TEMP", "AGE gives no days of ageing in the bottle for it")
        return None
    temp_c = reading.temperature_c("AGE_TEMP")
    if temp_c is None:
        reading.leave("AGE", "AGE_TEMP gives no temperature to age the bottles at")
        return None
    why = "a wait is put in before it, in which you package the beer and confirm"
    reading.left_out.append(LeftOut(reading.place("AGE"), span(for_s), why))
    return Hold(temp_c, for_s, "ageing")


def _packaging(last: Step, aged: Hold) -> WaitForPerson:
    """Between fermentation and ageing: the beer is kept as it was until it is packaged."""
    before_c = last.target_c if isinstance(last, Hold | WaitForPerson) else aged.target_c
    prompt = "Package the beer, put it back and confirm: it is then aged"
    return WaitForPerson(before_c, prompt, "package")


def _leave_rest(reading: _Reading) -> None:
    """List what a recipe has besides its fermentation."""
    version = reading.given("VERSION")
    if version not in ("", "1", "1.0"):
        reading.leave("VERSION", "not BeerXML 1; read as if it were")
    for tag, name, use in reading.recipe.additions:
        if use.casefold() in _ADDED_WHILE_FERMENTING:
            why = "added during fermentation, which no step tells of; add a wait step for it"
            what = f"{tidy(name, 60)} ({tidy(use, 20)})"
            reading.left_out.append(LeftOut(reading.place(tag), what, why))
    others = list(reading.recipe.others)
    if others:
        shown = ", ".join(others[:60]) + (f" and {len(others) - 60} more" if others[60:] else "")
        why = "only the fermentation is carried over"
        reading.left_out.append(LeftOut(reading.recipe.where, shown, why))
