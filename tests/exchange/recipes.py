"""Documents of both standards for the tests, put together from what a test is about."""

import json
from typing import Any


def celsius(value: Any) -> dict[str, Any]:
    return {"unit": "C", "value": value}


def fahrenheit(value: Any) -> dict[str, Any]:
    return {"unit": "F", "value": value}


def time(value: Any, unit: str = "day") -> dict[str, Any]:
    return {"unit": unit, "value": value}


def held(temp_c: float, days: int, name: str = "primary") -> dict[str, Any]:
    return {
        "name": name,
        "start_temperature": celsius(temp_c),
        "end_temperature": celsius(temp_c),
        "step_time": time(days),
    }


def fermentation(*steps: dict[str, Any], name: str = "Ale", **more: Any) -> dict[str, Any]:
    return {"name": name, "fermentation_steps": list(steps), **more}


def document(*fermentations: dict[str, Any], **more: Any) -> bytes:
    root: dict[str, Any] = {"version": 2.06, **more}
    if fermentations:
        root["fermentations"] = list(fermentations)
    return json.dumps({"beerjson": root}).encode()


def steps(*written: dict[str, Any]) -> bytes:
    return document(fermentation(*written))


def recipe_xml(body: str, name: str = "Ale") -> str:
    return f"<RECIPE><NAME>{name}</NAME><VERSION>1</VERSION>{body}</RECIPE>"


def beerxml(*recipes: str, encoding: str = "ISO-8859-1") -> bytes:
    head = f'<?xml version="1.0" encoding="{encoding}"?>\n'
    text = f"{head}<RECIPES>\n" + "\n".join(recipes) + "\n</RECIPES>\n"
    return text.encode(encoding)


def tags(**values: object) -> str:
    return "".join(f"<{tag}>{value}</{tag}>\n" for tag, value in values.items())
