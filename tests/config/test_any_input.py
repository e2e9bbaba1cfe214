"""Whatever stands in a file, it is read or refused with a `ConfigError`; nothing else comes out."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from fermd.config.errors import ConfigError, value_text
from fermd.config.example import SHORT_SITE, example_site
from fermd.config.profile_file import load_profile, parse_profile, shipped_profiles
from fermd.config.profile_tables import PLACEHOLDERS, profile_table
from fermd.config.site_file import load_site, parse_site
from fermd.control.settings import crossed

CHAMBER = parse_site(SHORT_SITE, Path("fermd.toml")).settings.chambers[0]
LONG_SITE = re.sub(r"(?m)^#(?=[a-z_]+ = |\[)", "", example_site())
GOOD = [SHORT_SITE, LONG_SITE, *(file.read_text() for file in shipped_profiles().values())]

VALUES = """
true|nan|-inf|0|-1|300|0.1|1e308|99999999999999999999|2026-01-01|07:30:00|{}|{a = 1}|[]|[[[]]]
""|"x"|'28-'|"\\u0000"|"Ü \\u202e"|"heat"|["vessel", "vessel"]|[1, 'a']
[{kind = "hold"}]|[{kind = []}]
"""
scalars = st.sampled_from(VALUES.strip().replace("\n", "|").split("|"))
words = [*re.findall(r"[\w.-]+", LONG_SITE), "step", "kind", "for", "to_c", "x"]
keys = st.sampled_from(words).filter(lambda word: re.fullmatch(r"[\w-]+(\.[\w-]+)*", word))
lines = st.one_of(
    st.builds(lambda key, value: f"{key} = {value}", keys, scalars),
    st.builds(lambda key: f"[{key}]", keys),
    st.builds(lambda key: f"[[{key}]]", keys),
)


def refused(read: Callable[..., object], *given: object) -> ConfigError | None:
    """The error of a reading, with a text on one line for each fault; None if it was read."""
    try:
        read(*given)
    except ConfigError as error:
        found = error
    else:
        return None
    assert found.faults
    assert len(str(found).splitlines()) == len(found.faults)
    assert all(fault.why for fault in found.faults)
    return found


def survives_both(text: str) -> None:
    refused(parse_site, text, Path("fermd.toml"))
    refused(parse_profile, text, "beer.toml", CHAMBER)


@given(st.text())
def test_any_text(text: str) -> None:
    survives_both(text)


@given(st.lists(lines, max_size=12))
def test_any_document_of_known_words(document: list[str]) -> None:
    survives_both("\n".join(document))


@settings(max_examples=300, deadline=None)
@given(st.data())
def test_a_good_document_with_other_values(data: st.DataObject) -> None:
    document = data.draw(st.sampled_from(GOOD)).splitlines()
    for _ in range(data.draw(st.integers(1, 4))):
        at = data.draw(st.integers(0, len(document) - 1))
        key = document[at].split(" = ")[0]
        change = data.draw(st.sampled_from(["value", "drop", "key", "twice", "insert"]))
        match change:
            case "value" if " = " in document[at]:
                document[at] = f"{key} = {data.draw(scalars)}"
            case "drop":
                document[at] = ""
            case "key":
                document[at] = document[at].replace(key, data.draw(keys), 1)
            case "twice":
                document.insert(at, document[at])
            case _:
                document.insert(at, data.draw(lines))
    survives_both("\n".join(document))


@settings(max_examples=300, deadline=None)
@given(st.data())
def test_a_good_document_with_other_bytes(data: st.DataObject) -> None:
    content = bytearray(data.draw(st.sampled_from(GOOD)).encode())
    for _ in range(data.draw(st.integers(1, 5))):
        content[data.draw(st.integers(0, len(content) - 1))] = data.draw(st.integers(0, 255))
    text = content.decode("utf-8", errors="surrogateescape")
    survives_both(text)


@given(content=st.binary(max_size=200))
def test_any_file(tmp_path_factory: Any, content: bytes) -> None:
    file = tmp_path_factory.mktemp("any") / "x.toml"
    file.write_bytes(content)
    refused(load_site, file)
    refused(load_profile, file)


@settings(max_examples=300, deadline=None)
@given(
    table=st.sampled_from(
        [
            "chamber.lager.heat",
            "chamber.lager.cool",
            "chamber.lager.limits",
            "chamber.lager.fail_safe",
            "chamber.lager.attention",
            "output.fridge.effect",
            "output.fridge.protection",
        ]
    ),
    value=st.floats(allow_nan=True) | st.integers(),
    data=st.data(),
)
def test_a_site_with_any_number_is_refused_or_free_of_contradictions(
    table: str, value: float, data: st.DataObject
) -> None:
    part = LONG_SITE.split(f"[{table}]\n")[1].split("\n[")[0]
    key = data.draw(st.sampled_from(re.findall(r"(?m)^(\w+) = ", part)))
    text = f"{SHORT_SITE}[{table}]\n{key} = {value}\n"
    error = refused(parse_site, text, Path("fermd.toml"))
    if error is None:
        site = parse_site(text, Path("fermd.toml"))
        assert crossed(site.settings.chambers[0]) == []
    else:
        assert any(fault.key.startswith(table.split(".")[0]) for fault in error.faults)


@given(st.recursive(st.none() | st.integers() | st.floats() | st.text(), st.lists))
def test_any_value_has_a_text_on_one_line(value: object) -> None:
    assert len(value_text(value).splitlines()) <= 1


def test_placeholders_are_themselves_good() -> None:
    steps = tomllib.loads('name = "x"\n[[step]]\nkind = "hold"\ntarget_c = 20\nfor = "1 d"\n')
    assert steps["step"][0] == PLACEHOLDERS["[]"]
    profile_table().model_validate(steps)
