"""A profile from a fermentation in BeerJSON 1.0.

A document has fermentations at its root, in recipes, or both; one of them is taken. Of a recipe
nothing else is: ingredients, mash and boil are no business of a fermentation chamber.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, Final, NamedTuple

from fermd.config.errors import ABSENT, key_text
from fermd.control.steps import Profile
from fermd.exchange.beerjson_fields import Fields, finite
from fermd.exchange.carried import (
    LONGEST_NAME,
    LONGEST_TEXT,
    MOST_STEPS,
    Carried,
    LeftOut,
    refused,
    tidy,
)
from fermd.exchange.choice import chosen
from fermd.exchange.json_text import parse_json
from fermd.exchange.stages import Stage, steps_of

KNOWN_VERSIONS: Final = (1, 1.1, 2.01, 2.06, 3)
"""Numbers that documents of this format declare. The schema of 1.0 takes any number, its own
examples say 2.01 and 2.06; the others are 1.0 itself and what came after it (BeerJSON's record of
decisions 0004, "Format version numbering"). Steps are written alike in all of them."""

_NOT_CONTROLLED: Final[Mapping[str, str]] = {
    "description": "a step of a profile has a name only",
    "start_gravity": "no step waits for a gravity",
    "end_gravity": "no step waits for a gravity",
    "start_ph": "no step waits for an acidity",
    "end_ph": "no step waits for an acidity",
    "vessel": "a profile knows no vessels; moving the beer is a person's work",
    "vessel_pressure": "pressure is not controlled (a field added after BeerJSON 1.0)",
}
"""What a step can say that a thermostat does not do."""

_READ: Final = ("name", "start_temperature", "end_temperature", "step_time", "free_rise")

_NOTHING: Final = (
    "has no fermentation: neither beerjson.fermentations nor a recipe's own fermentation; add one"
)


class _Found(NamedTuple):
    """A fermentation, with the recipe around it if there is one."""

    name: str
    where: str
    procedure: object
    recipe: Mapping[str, Any] | None
    recipe_where: str


def from_beerjson(data: bytes, file: Path | str = "BeerJSON", name: str | None = None) -> Carried:
    """The fermentation called `name` (that of a recipe goes by the recipe's name), as a profile.

    `file` is what messages call the document. Without a name there must be only one fermentation.

    Raises:
        ConfigError: the document cannot be read, breaks the standard, asks for what no profile
            may, or has not exactly one fermentation that fits.

    """
    fields = Fields()
    document = parse_json(data, file)
    root = _root(document, fields)
    found = _fermentations(root, fields)
    if fields.faults:
        raise refused(file, fields.faults)
    one = found[chosen([each.name for each in found], name, file, _NOTHING)]
    profile = _profile(one, fields)
    _leave_keys(document, ("beerjson",), "document", fields)
    _leave_keys(root, ("version", "fermentations", "recipes"), "beerjson", fields)
    if fields.faults or profile is None:
        raise refused(file, fields.faults)
    return Carried(profile, tuple(fields.left_out))


def _root(document: Mapping[str, Any], fields: Fields) -> Mapping[str, Any]:
    root = document.get("beerjson", ABSENT)
    if not isinstance(root, dict):
        why = "must be an object, the root of every BeerJSON document"
        fields.fault("beerjson", root, why if root is not ABSENT else f"is missing; {why}")
        return {}
    version = root.get("version", ABSENT)
    number = finite(version)
    if number is None:
        why = "must be a number, such as 2.06"
        fields.fault(
            "beerjson.version", version, why if version is not ABSENT else f"is missing; {why}"
        )
    elif number not in KNOWN_VERSIONS:
        why = "not a known version of BeerJSON; read as if it were 1.0"
        fields.leave("beerjson.version", version, why)
    return root


def _fermentations(root: Mapping[str, Any], fields: Fields) -> list[_Found]:
    found = []
    for index, procedure in enumerate(_list(root, "fermentations", fields)):
        where = key_text(["beerjson", "fermentations", index])
        found.append(_Found(_name_of(procedure), where, procedure, None, ""))
    for index, recipe in enumerate(_list(root, "recipes", fields)):
        where = key_text(["beerjson", "recipes", index])
        if isinstance(recipe, dict) and "fermentation" in recipe:
            procedure = recipe["fermentation"]
            name = _name_of(recipe) or _name_of(procedure)
            found.append(_Found(name, f"{where}.fermentation", procedure, recipe, where))
    return found


def _list(holder: Mapping[str, Any], key: str, fields: Fields) -> list[Any]:
    value = holder.get(key, [])
    if not isinstance(value, list):
        fields.fault(f"beerjson.{key}", value, "must be a list, [...]")
        return []
    return value


def _name_of(holder: object) -> str:
    name = holder.get("name") if isinstance(holder, dict) else None
    return tidy(name, LONGEST_NAME) if isinstance(name, str) else ""


def _profile(one: _Found, fields: Fields) -> Profile | None:
    procedure, where = one.procedure, one.where
    if not isinstance(procedure, dict):
        fields.fault(where, procedure, "must be an object with name and fermentation_steps")
        return None
    own_name = fields.text(procedure, "name", where, LONGEST_NAME, required=True)
    description = fields.text(procedure, "description", where, LONGEST_TEXT, required=False)
    name = one.name or own_name
    if not name:
        name = "imported"
        fields.leave(f"{where}.name", "", f'is empty; the profile is called "{name}"')
    for key, value in procedure.items():
        if key == "notes":
            fields.leave(f"{where}.notes", value, "a profile has a description only")
        elif key not in ("name", "description", "fermentation_steps"):
            fields.leave(f"{where}.{tidy(key, 40)}", value, "not known to BeerJSON 1.0")
    steps = steps_of(_stages(procedure, where, fields), fields.left_out, fields.faults)
    if one.recipe is not None:
        _leave_recipe(one, own_name, fields)
    if fields.faults:
        return None
    if not steps:
        why = "has no step that takes time; give one a step_time"
        fields.fault(f"{where}.fermentation_steps", ABSENT, why)
        return None
    return Profile(name, steps, description)


def _leave_recipe(one: _Found, own_name: str, fields: Fields) -> None:
    """List what a recipe has besides its fermentation."""
    recipe = one.recipe or {}
    if own_name and own_name != one.name:
        fields.leave(f"{one.where}.name", own_name, "the profile is called after the recipe")
    ingredients = recipe.get("ingredients")
    for key, entries in ingredients.items() if isinstance(ingredients, dict) else ():
        for index, entry in enumerate(entries if isinstance(entries, list) else ()):
            timing = entry.get("timing") if isinstance(entry, dict) else None
            if isinstance(timing, dict) and timing.get("use") == "add_to_fermentation":
                place = f"{one.recipe_where}.ingredients.{tidy(key, 40)}[{index + 1}]"
                why = "added during fermentation, which no step tells of; add a wait step for it"
                fields.leave(place, _name_of(entry), why)
    _leave_keys(recipe, ("name", "fermentation"), one.recipe_where, fields)


def _leave_keys(holder: Mapping[str, Any], read: Sequence[str], where: str, fields: Fields) -> None:
    """List, in one line, everything in an object that has nothing to do with fermentation."""
    others = [tidy(key, 40) for key in holder if key not in read]
    if others:
        shown = ", ".join(others[:30]) + (f" and {len(others) - 30} more" if others[30:] else "")
        fields.left_out.append(LeftOut(where, shown, "only the fermentation is carried over"))


def _stages(procedure: Mapping[str, Any], where: str, fields: Fields) -> list[Stage]:
    place = f"{where}.fermentation_steps"
    steps = procedure.get("fermentation_steps", ABSENT)
    if not isinstance(steps, list) or not steps:
        why = "must be a list of at least one step"
        fields.fault(place, steps, why if steps is not ABSENT else f"is missing; {why}")
        return []
    if len(steps) > MOST_STEPS:
        fields.fault(place, f"{len(steps)} steps", f"must be at most {MOST_STEPS} steps")
        return []
    return [
        stage
        for index, step in enumerate(steps)
        if (stage := _stage(step, f"{place}[{index + 1}]", fields)) is not None
    ]


def _stage(step: object, where: str, fields: Fields) -> Stage | None:
    if not isinstance(step, dict):
        fields.fault(where, step, "must be an object with at least a name")
        return None
    for key, value in step.items():
        if key not in _READ:
            why = _NOT_CONTROLLED.get(key, "not known to BeerJSON 1.0")
            fields.leave(f"{where}.{tidy(key, 40)}", value, why)
    before = len(fields.faults)
    stage = Stage(
        where=where,
        start_key=f"{where}.start_temperature",
        end_key=f"{where}.end_temperature",
        time_key=f"{where}.step_time",
        name=fields.text(step, "name", where, LONGEST_NAME, required=True),
        start_c=fields.temperature_c(step, "start_temperature", where),
        end_c=fields.temperature_c(step, "end_temperature", where),
        for_s=fields.time_s(step, "step_time", where),
        free_rise=fields.yes(step, "free_rise", where),
    )
    # A stage with a bad value would only draw more faults after it.
    return stage if len(fields.faults) == before else None
