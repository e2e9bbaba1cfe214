"""Recipes in BeerJSON and BeerXML: in the grammar, nearly in it, hostile, and spoilt on the way."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any, Final

from hostile import STRANGE_TEXTS, misspelt, spoilt_bytes, strange_numbers, strange_texts
from hypothesis import strategies as st
from recipes import beerxml, celsius, document, fermentation, held, recipe_xml, tags
from recipes import time as step_time
from territory import Territory, Verdict
from territory_files import refused

from fermd.config.profile_file import parse_profile
from fermd.exchange.documents import read_document
from fermd.exchange.profile_text import profile_text

numbers = st.one_of(
    st.integers(-3, 60),
    st.floats(-20, 60),
    st.sampled_from([0, -1, 1e308, 10**30, 1e-320, 45, 400, 86400]),
)
quantities = st.fixed_dictionaries(
    {
        "value": numbers,
        "unit": st.sampled_from(["C", "F", "K", "day", "hr", "min", "sec", "sg", ""]),
    }
)
temperatures = numbers.map(celsius)
times = st.builds(step_time, st.integers(0, 30))
steps = st.fixed_dictionaries(
    {"name": st.one_of(st.just("primary"), strange_texts)},
    optional={
        "start_temperature": st.one_of(temperatures, temperatures, quantities),
        "end_temperature": st.one_of(temperatures, quantities),
        "step_time": st.one_of(times, times, quantities),
        "free_rise": st.booleans(),
        "description": strange_texts,
        "vessel": st.sampled_from(["carboy", "", "x" * 500]),
        "start_gravity": quantities,
    },
)


@st.composite
def beerjson(draw: st.DrawFn) -> bytes:
    """Fermentations and recipes, now and then with a key or a value that does not belong."""
    made = [
        fermentation(*draw(st.lists(st.one_of(steps, st.just(held(18, 7))), max_size=5)), name=name)
        for name in draw(st.lists(st.sampled_from(["Ale", "Lager", "", "ü"]), max_size=3))
    ]
    recipes = [{"name": "r", "fermentation": one} for one in made[:1]]
    whole = json.loads(document(*made, **({"recipes": recipes} if draw(st.booleans()) else {})))
    for _ in range(draw(st.sampled_from([0, 0, 1, 1, 2, 4]))):
        _spoil(draw, whole)
    data = json.dumps(whole, ensure_ascii=draw(st.booleans()), allow_nan=True)
    for _ in range(draw(st.sampled_from([0, 0, 0, 1]))):
        old, new = draw(
            st.sampled_from([("1", "9"), ('"', "'"), (":", "="), ("{", "{{"), (",", "")])
        )
        data = data.replace(old, new if draw(st.booleans()) else draw(strange_numbers), 1)
    return data.encode("utf-8", "surrogatepass")


def _spoil(draw: st.DrawFn, whole: Any) -> None:
    here = whole
    while True:
        keys = list(here) if isinstance(here, dict) else list(range(len(here)))
        if not keys:
            return
        key = draw(st.sampled_from(keys))
        if isinstance(here[key], dict | list) and here[key] and draw(st.integers(0, 4)):
            here = here[key]
            continue
        if isinstance(here, dict) and draw(st.booleans()):
            here[misspelt(key, draw)] = here.pop(key)
        else:
            here[key] = draw(
                st.one_of(numbers, strange_texts, quantities, st.none(), st.just([[]]))
            )
        return


def _text(text: str) -> str:
    return text.replace("&", "&amp;").replace("<", "&lt;")


xml_fields = st.fixed_dictionaries(
    {},
    optional={
        tag: st.one_of(numbers.map(str), strange_numbers, st.sampled_from(STRANGE_TEXTS)).map(_text)
        for tag in (
            *("FERMENTATION_STAGES", "PRIMARY_AGE", "PRIMARY_TEMP", "SECONDARY_AGE", "AGE_TEMP"),
            *("SECONDARY_TEMP", "TERTIARY_AGE", "TERTIARY_TEMP", "AGE", "X", "TYPE", "NOTES"),
        )
    },
)
usual_recipe = st.fixed_dictionaries(
    {
        "PRIMARY_AGE": st.integers(1, 30).map(str),
        "PRIMARY_TEMP": st.floats(2, 30).map(str),
    },
    optional={
        "SECONDARY_AGE": st.integers(0, 30).map(str),
        "SECONDARY_TEMP": st.floats(-5, 30).map(str),
        "FERMENTATION_STAGES": st.sampled_from(["1", "2", "3", "4"]),
    },
)


def laughs(count: int, body: str) -> bytes:
    """Entities in entities: a few hundred bytes that would become thousands of millions."""
    declared = "".join(f'<!ENTITY a{n} "{f"&a{n - 1};" * 10}">' for n in range(1, count))
    return (
        f'<!DOCTYPE R [<!ENTITY a0 "18">{declared}]><RECIPES>{body}&a{count - 1};</RECIPES>'
    ).encode()


HOSTILE: Final = (
    '<!DOCTYPE R SYSTEM "file:///etc/passwd">',
    '<!DOCTYPE R [<!ENTITY x SYSTEM "file:///dev/zero">]>',
    '<!DOCTYPE R [<!ENTITY x PUBLIC "a" "http://127.0.0.1:1/x">]>',
    '<!DOCTYPE R [<!ENTITY % p SYSTEM "file:///etc/passwd"> %p;]>',
    '<?xml version="1.0" encoding="utf-7"?>',
    '<?xml version="1.1" encoding="UTF-8"?>',
    "<?xml-stylesheet href='x'?>",
)


@st.composite
def xml(draw: st.DrawFn) -> bytes:
    """Recipes in BeerXML: in order, with strange values, entities and misplaced tags."""
    made = draw(st.lists(st.one_of(usual_recipe, usual_recipe, xml_fields), min_size=1, max_size=3))
    texts = [recipe_xml(tags(**fields), name=f"r{n}") for n, fields in enumerate(made)]
    match draw(st.integers(0, 7)):
        case 0:
            return laughs(draw(st.integers(2, 12)), texts[0])
        case 1:
            return (draw(st.sampled_from(HOSTILE)) + f"<RECIPES>{texts[0]}</RECIPES>").encode()
        case 2:
            old, new = draw(st.sampled_from(TAG_ACCIDENTS))
            texts[0] = texts[0].replace(old, new, 1)
    encoding = draw(st.sampled_from(["ISO-8859-1", "UTF-8", "UTF-16", "ascii"]))
    try:
        return beerxml(*texts, encoding=encoding)
    except UnicodeEncodeError:
        return beerxml(*texts, encoding="UTF-8")


TAG_ACCIDENTS: Final = (
    ("<RECIPE>", "<RECIPE><RECIPE>"),
    ("</RECIPE>", ""),
    ("<VERSION>", "<version>"),
    ("1", "&x;"),
    ("1", "<![CDATA[1]]>"),
    ("1", "&#0;"),
    ("<PRIMARY_AGE>", "<PRIMARY_AGE a='1' a='2'>"),
    ("<PRIMARY_TEMP>", "<PRIMARY_TEMP><b/>"),
    ("RECIPE", "HOP"),
)


class Documents(Territory):
    """Whole documents."""

    name = "documents"
    inputs = st.one_of(
        beerjson(),
        beerjson(),
        xml(),
        xml(),
        beerjson().flatmap(spoilt_bytes),
        xml().flatmap(spoilt_bytes),
    )

    def judge(self, given: Any) -> Sequence[Verdict]:
        carried, verdict = refused(read_document, given, "recipe")
        if carried is not None:
            remarks = [str(one) for one in carried.left_out]
            text = profile_text(carried.profile, remarks)
            assert parse_profile(text, "imported") == carried.profile
        return [verdict]
