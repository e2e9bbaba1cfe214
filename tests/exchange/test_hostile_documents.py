"""Whatever a document holds, it is read or refused with a `ConfigError`, and soon."""

from __future__ import annotations

import json
import time
import tracemalloc
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from recipes import beerxml, celsius, document, fermentation, held, recipe_xml, steps, tags
from recipes import time as step_time

from fermd.config.errors import ConfigError
from fermd.config.profile_file import parse_profile
from fermd.exchange.beerjson_in import from_beerjson
from fermd.exchange.beerxml_in import from_beerxml
from fermd.exchange.documents import read_document
from fermd.exchange.profile_text import profile_text

SOON_S = 5.0
"""Processor time that no document may take; the worst takes about a fifth of it."""


def refused(data: bytes) -> str | None:
    """What is said of a document, if it is refused; a profile made of it is a good one."""
    try:
        carried = read_document(data, "hostile")
    except ConfigError as error:
        found = error
    else:
        remarks = [str(one) for one in carried.left_out]
        assert parse_profile(profile_text(carried.profile, remarks), "imported").name
        return None
    assert found.faults
    assert len(str(found).splitlines()) == len(found.faults)
    assert all(len(line) < 1000 for line in str(found).splitlines())
    return str(found)


def refused_soon(data: bytes) -> str:
    began_s = time.process_time()
    words = refused(data)
    assert time.process_time() - began_s < SOON_S
    assert words is not None
    return words


def entities(*declared: str) -> bytes:
    body = recipe_xml("<PRIMARY_TEMP>&a9;</PRIMARY_TEMP>")
    return f"<!DOCTYPE R [{''.join(declared)}]><RECIPES>{body}</RECIPES>".encode()


LAUGHS = entities(
    '<!ENTITY a0 "18">', *(f'<!ENTITY a{n} "{f"&a{n - 1};" * 10}">' for n in range(1, 10))
)
QUADRATIC = entities(f'<!ENTITY a9 "{"1" * 1_000_000}">') + b"&a9;" * 100_000


@pytest.mark.parametrize(
    "data",
    [
        LAUGHS,
        QUADRATIC,
        entities('<!ENTITY a9 SYSTEM "file:///etc/passwd">'),
        entities('<!ENTITY a9 PUBLIC "x" "http://127.0.0.1:1/x">'),
        entities('<!ENTITY % p SYSTEM "file:///etc/passwd"> %p;'),
        b'<!DOCTYPE RECIPES SYSTEM "http://127.0.0.1:1/beer.dtd"><RECIPES></RECIPES>',
        b"<!DOCTYPE RECIPES><RECIPES></RECIPES>",
    ],
)
def test_a_document_that_declares_entities_or_points_elsewhere_is_refused(data: bytes) -> None:
    assert "declares a document type or entities" in refused_soon(data)


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"<a>" * 300_000, "nested too deeply"),
        (b"<RECIPES><RECIPE>" + b"<a>" * 300_000, "nested too deeply"),
        (b"<RECIPES><RECIPE>" + b"<a/>" * 900_000, "too many tags"),
        (b"<RECIPES>" + b"<RECIPE/>" * 300_000, "too many recipes"),
        (beerxml(recipe_xml(tags(PRIMARY_AGE="9" * 3_900_000))), "must be a number"),
        (b"<" + b"a" * 4_000_001, "at most 4000000 are read"),
        (b"<RECIPES><!--" + b"x" * 3_900_000, "is not XML"),
        (b"<RECIPES>&deg;</RECIPES>", "XML itself knows only"),
        (b"<RECIPES><RECIPE><NAME>\xf6</NAME>", "must name the encoding"),
        (b"<HOPS><HOP/></HOPS>", "outermost tag is HOPS"),
        (b'<?xml version="1.0" encoding="nope"?><RECIPES/>', "encoding that is not known"),
        (b'<?xml version="1.0" encoding="rot13"?><RECIPES/>', "encoding that is not known"),
        (b'<?xml version="1.0" encoding="shift_jis"?><RECIPES/>', "encoding that is not known"),
        (b"[" * 3_900_000, "nested too deeply"),
        (b'{"a":' * 700_000, "nested too deeply"),
        (b'{"a":' + b"[" * 60 + b"]" * 60 + b"}", "nested too deeply"),
        (b'{"a":' + b"9" * 3_900_000 + b"}", "thousands of digits"),
        (b'{"a":' + b" " * 4_000_000 + b"1}", "at most 4000000 are read"),
        (b"[" + b"{}," * 1_000_000 + b"1]", "must be an object"),
        (b'{"beerjson": {"version": NaN}}', "NaN"),
        (b'{"beerjson": {"version": -Infinity}}', "Infinity"),
        (b'{"beerjson": {"version": 1e999}}', "must be a number"),
        (b'{"beerjson": {"version": 1}, "beerjson": {}}', 'the key "beerjson" twice'),
        (b'{"beerjson": {"version": 1}', "line 1, column 28: is not JSON"),
        (b'{"a": "\xff"}', "is not UTF-8"),
        ('{"a": 1}'.encode("utf-16"), "UTF-16"),
        (b"", "is empty"),
        (b" \n", "is empty"),
        (b"name = 'x'", "neither BeerJSON"),
        (b"\x00" * 10, "neither BeerJSON"),
        (b"\x1f\x8b\x08", "neither BeerJSON"),
    ],
)
def test_what_is_too_much_or_no_such_document_is_refused_soon(data: bytes, words: str) -> None:
    assert words in refused_soon(data)


def test_memory_does_not_grow_with_the_tags_of_a_file() -> None:
    def most_bytes(body: str) -> int:
        data = beerxml(recipe_xml(tags(PRIMARY_TEMP=18) + body))
        tracemalloc.start()
        assert from_beerxml(data).profile.name == "Ale"
        _, most = tracemalloc.get_traced_memory()
        tracemalloc.stop()
        return most

    # As large a file of one tag sets off what the parser takes for the bytes themselves.
    one_tag, tag = f"<X>{'w' * 450_000}</X>", "<X>ww</X>"
    assert most_bytes(tag * 50_000) - most_bytes(one_tag) < 100_000


@given(st.binary())
def test_any_bytes(data: bytes) -> None:
    refused(data)
    for read in (from_beerjson, from_beerxml):
        with pytest.raises(ConfigError):
            read(data)


words = st.sampled_from(
    [
        "beerjson",
        "version",
        "fermentations",
        "recipes",
        "name",
        "description",
        "notes",
        "fermentation",
        "ingredients",
        "timing",
        "use",
        "fermentation_steps",
        "start_temperature",
        "end_temperature",
        "step_time",
        "free_rise",
        "start_gravity",
        "vessel",
        "unit",
        "value",
        "C",
        "day",
    ]
)
scalars = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(),
    st.integers(10**300, 10**310),
    st.floats(allow_nan=False),
    st.sampled_from(["", "C", "F", "day", "add_to_fermentation", "\ud800", "\x00", "x" * 5000]),
    st.text(max_size=5),
)
anything = st.recursive(
    scalars,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(words | st.text(max_size=3), inner),
    max_leaves=12,
)


@given(anything)
def test_any_json(value: Any) -> None:
    for whole in (
        value,
        {"beerjson": value},
        {"beerjson": {"version": 1, "fermentations": [value]}},
    ):
        refused(json.dumps(whole).encode())


GOOD = [
    fermentation(held(18, 7), {**held(20, 2), "end_temperature": celsius(4)}, held(4, 3)),
    fermentation({"name": "a", "free_rise": True, "step_time": step_time(3)}, held(4, 3)),
    fermentation({"name": "a", "start_temperature": celsius(18)}, {"name": "b"}, name="x"),
]


def places(value: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    inner = (
        value.items()
        if isinstance(value, dict)
        else enumerate(value)
        if isinstance(value, list)
        else ()
    )
    return [path, *(place for key, one in inner for place in places(one, (*path, key)))]


@settings(max_examples=300, deadline=None)
@given(st.data())
def test_a_good_fermentation_with_other_values(data: st.DataObject) -> None:
    changed = json.loads(json.dumps(data.draw(st.sampled_from(GOOD))))
    for _ in range(data.draw(st.integers(1, 3))):
        *path, last = data.draw(st.sampled_from([place for place in places(changed) if place]))
        holder = changed
        for part in path:
            holder = holder[part]
        if data.draw(st.booleans()):
            holder[last] = data.draw(anything)
        else:
            del holder[last]
        if not places(changed)[1:]:
            break
    refused(document(changed))
    refused(document(recipes=[{"name": "r", "fermentation": changed}]))


some_tags = st.sampled_from(
    [
        "RECIPES",
        "RECIPE",
        "NAME",
        "VERSION",
        "FERMENTATION_STAGES",
        "PRIMARY_AGE",
        "PRIMARY_TEMP",
        "SECONDARY_AGE",
        "SECONDARY_TEMP",
        "TERTIARY_AGE",
        "TERTIARY_TEMP",
        "AGE",
        "AGE_TEMP",
        "HOPS",
        "HOP",
        "MISCS",
        "MISC",
        "USE",
        "X",
    ]
)
some_values = st.sampled_from(
    [
        "",
        "18",
        "-1",
        "0",
        "7.5",
        "1e999",
        "nan",
        "18 C",
        "Dry Hop",
        "&#0;",
        "&x;",
        "<![CDATA[3]]>",
        "ö",
    ]
)
bits = st.one_of(
    st.builds(lambda tag, value: f"<{tag}>{value}</{tag}>", some_tags, some_values),
    st.builds(lambda tag: f"<{tag}>", some_tags),
    st.builds(lambda tag: f"</{tag}>", some_tags),
    st.sampled_from(["<!DOCTYPE x>", "<!-- -->", "<?x y?>", "<", "&", "]]>", "\x00", "text"]),
)


@settings(max_examples=300, deadline=None)
@given(st.lists(bits, max_size=15), st.booleans())
def test_any_xml_of_known_tags(parts: list[str], inside: bool) -> None:
    body = "".join(parts)
    refused((f"<RECIPES><RECIPE>{body}</RECIPE></RECIPES>" if inside else f"<{body}").encode())


@settings(max_examples=300, deadline=None)
@given(st.dictionaries(some_tags, some_values, max_size=10))
def test_any_values_in_a_recipe(fields: dict[str, str]) -> None:
    refused(beerxml(recipe_xml(tags(**fields))))


@given(st.data())
def test_a_good_document_with_bytes_changed(data: st.DataObject) -> None:
    good = [steps(*GOOD[0]["fermentation_steps"]), beerxml(recipe_xml(tags(PRIMARY_TEMP=18)))]
    changed = bytearray(data.draw(st.sampled_from(good)))
    for _ in range(data.draw(st.integers(1, 4))):
        at = data.draw(st.integers(0, len(changed) - 1))
        changed[at : at + data.draw(st.integers(0, 3))] = data.draw(st.binary(max_size=3))
        if not changed:
            break
    refused(bytes(changed))
