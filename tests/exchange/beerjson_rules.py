"""What BeerJSON 1.0 allows in a document that holds fermentations, checked without its schema.

Written from the schema files `beer.json`, `fermentation.json`, `fermentation_step.json` and
`measureable_units.json` of the npm package @beerjson/beerjson 1.0.2: names, types, units, what is
required, and that nothing else may be there. `test_published_beerjson.py` holds these rules
against the schema itself where that is at hand.
"""

from collections.abc import Callable, Mapping
from typing import Any

Check = Callable[[Any, str], list[str]]


def text(value: Any, where: str) -> list[str]:
    return [] if isinstance(value, str) else [f"{where}: not text"]


def boolean(value: Any, where: str) -> list[str]:
    return [] if isinstance(value, bool) else [f"{where}: not a boolean"]


def number(value: Any, where: str) -> list[str]:
    good = isinstance(value, int | float) and not isinstance(value, bool)
    return [] if good else [f"{where}: not a number"]


def integer(value: Any, where: str) -> list[str]:
    good = not number(value, where) and value == int(value)
    return [] if good else [f"{where}: not a whole number"]


def one_of(*words: str) -> Check:
    return lambda value, where: [] if value in words else [f"{where}: not one of {words}"]


def table(known: Mapping[str, Check], required: tuple[str, ...]) -> Check:
    def check(value: Any, where: str) -> list[str]:
        if not isinstance(value, dict):
            return [f"{where}: not an object"]
        wrong = [f"{where}.{key}: missing" for key in required if key not in value]
        for key, inner in value.items():
            rule = known.get(key)
            wrong += rule(inner, f"{where}.{key}") if rule else [f"{where}.{key}: unknown"]
        return wrong

    return check


def array(entry: Check, at_least: int = 0) -> Check:
    def check(value: Any, where: str) -> list[str]:
        if not isinstance(value, list) or len(value) < at_least:
            return [f"{where}: not a list of at least {at_least}"]
        return [fault for i, one in enumerate(value) for fault in entry(one, f"{where}[{i}]")]

    return check


def measured(value: Check, *units: str) -> Check:
    return table({"unit": one_of(*units), "value": value}, ("unit", "value"))


STEP = table(
    {
        "name": text,
        "description": text,
        "start_temperature": measured(number, "C", "F"),
        "end_temperature": measured(number, "C", "F"),
        "step_time": measured(integer, "sec", "min", "hr", "day", "week"),
        "free_rise": boolean,
        "start_gravity": measured(number, "sg", "plato", "brix"),
        "end_gravity": measured(number, "sg", "plato", "brix"),
        "start_ph": measured(number, "pH"),
        "end_ph": measured(number, "pH"),
        "vessel": text,
    },
    ("name",),
)
PROCEDURE = table(
    {
        "name": text,
        "description": text,
        "notes": text,
        "fermentation_steps": array(STEP, at_least=1),
    },
    ("name", "fermentation_steps"),
)
ROOT = table({"version": number, "fermentations": array(PROCEDURE)}, ("version",))
DOCUMENT = table({"beerjson": ROOT}, ("beerjson",))


def broken_rules(document: Any) -> list[str]:
    """Every rule that a document breaks; other records than fermentations are not known here."""
    return DOCUMENT(document, "")
