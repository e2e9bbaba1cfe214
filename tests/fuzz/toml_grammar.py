"""TOML as people write it, and as it comes out when they do not: tokens, tables, documents."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping, Sequence
from typing import Any, Final

from hostile import STRANGE_TEXTS, misspelt, spoilt_bytes, strange_numbers, strange_texts
from hypothesis import strategies as st

TOKENS: Final = re.compile(
    r'"""(?:.|\n)*?"""|"(?:[^"\\\n]|\\.)*"|\'[^\'\n]*\'|#[^\n]*|\n|[ \t]+|[A-Za-z0-9_.+-]+|.'
)
WORD: Final = re.compile(r"[A-Za-z_][A-Za-z0-9_.-]*")
NUMBER: Final = re.compile(r"[+-]?[0-9][0-9_.eE+-]*")

STRANGE_VALUES: Final = (
    *("2026-01-01", "07:30:00", "1979-05-27T07:32:00Z", "2026-02-30", "24:00:00", "true", "false"),
    *("[]", "[[]]", "{}", "{a = 1}", "[1, 'a']", "''", '""', "nan", "inf", '"""\n"""', "'''x'''"),
    *('"\\u0000"', '"\\ud800"', '"\\U0010FFFF"', '"\\x41"', "{a.b.c = [{}]}", "[{kind = 'hold'}]"),
    *(
        "0x10",
        "1_000",
        "10 °C",
        "50 F",
        '"10"',
        '"10 °C"',
        '"68F"',
        "10,5",
        "ten",
        "None",
        "=",
        "]",
    ),
)
strange_values = st.one_of(
    st.sampled_from(STRANGE_VALUES),
    strange_numbers,
    strange_texts.map(lambda text: json.dumps(text, ensure_ascii=False)),
)


@st.composite
def changed_tokens(draw: st.DrawFn, goods: Sequence[Sequence[str]]) -> str:
    """A good document with some of its tokens dropped, doubled, misspelt, exchanged."""
    tokens = list(draw(st.sampled_from(goods)))
    for _ in range(draw(st.integers(1, 5))):
        at = draw(st.integers(0, max(0, len(tokens) - 1)))
        if not tokens:
            break
        token = tokens[at]
        match draw(st.sampled_from(["drop", "twice", "swap", "other", "value", "spell", "spell"])):
            case "drop":
                del tokens[at]
            case "twice":
                tokens.insert(at, token)
            case "swap":
                other = draw(st.integers(0, len(tokens) - 1))
                tokens[at], tokens[other] = tokens[other], token
            case "other":
                tokens[at] = draw(st.sampled_from(draw(st.sampled_from(goods))))
            case "spell" if WORD.fullmatch(token):
                tokens[at] = misspelt(token, draw)
            case "spell" if token.startswith('"'):
                tokens[at] = json.dumps(misspelt(token[1:-1], draw), ensure_ascii=False)
            case _ if NUMBER.fullmatch(token):
                tokens[at] = draw(strange_numbers)
            case _:
                tokens[at] = draw(strange_values)
    return "".join(tokens)


def tokens_of(text: str) -> list[str]:
    """What a document is put together from; joined, it is the document."""
    return TOKENS.findall(text)


def from_schema(schema: Mapping[str, Any], names: st.SearchStrategy[str]) -> st.SearchStrategy[Any]:
    """Values that a JSON Schema allows, more or less; `names` are names of tables."""
    return _Derived(schema, names).of(schema)


class _Derived:
    def __init__(self, root: Mapping[str, Any], names: st.SearchStrategy[str]) -> None:
        self._root, self._names = root, names
        self._known: dict[str, st.SearchStrategy[Any]] = {}

    def of(self, schema: Mapping[str, Any]) -> st.SearchStrategy[Any]:
        if "$ref" in schema:
            name = schema["$ref"].rpartition("/")[2]
            if name not in self._known:
                self._known[name] = self.of(self._root["$defs"][name])
            return self._known[name]
        for several in ("anyOf", "oneOf"):
            if several in schema:
                return st.one_of([self.of(one) for one in schema[several]])
        if "const" in schema:
            return st.just(schema["const"])
        if "enum" in schema:
            return st.sampled_from(schema["enum"])
        match schema.get("type"):
            case "object":
                return self._table(schema)
            case "array":
                return st.lists(self.of(schema["items"]), max_size=3)
            case "number" | "integer" as kind:
                return self._number(schema, kind)
            case "boolean":
                return st.booleans()
        usual = schema.get("examples", [])
        return st.one_of(st.sampled_from(usual), self._names) if usual else self._names

    def _table(self, schema: Mapping[str, Any]) -> st.SearchStrategy[Any]:
        if "properties" in schema:
            needed = schema.get("required", [])
            keys = {key: self.of(one) for key, one in schema["properties"].items()}
            return st.fixed_dictionaries(
                {key: keys[key] for key in needed},
                optional={key: one for key, one in keys.items() if key not in needed},
            )
        inner = schema.get("additionalProperties")
        values = self.of(inner) if isinstance(inner, dict) else st.integers()
        return st.dictionaries(self._names, values, max_size=3)

    def _number(self, schema: Mapping[str, Any], kind: str) -> st.SearchStrategy[Any]:
        low = schema.get("minimum", schema.get("exclusiveMinimum", -1000))
        high = schema.get("maximum", schema.get("exclusiveMaximum", 1e6))
        edges = st.sampled_from([low, high])
        if kind == "integer":
            return st.one_of(st.integers(int(low), int(high)), edges)
        return st.one_of(
            st.floats(low, high), st.floats(low, high).map(lambda n: round(n, 1)), edges
        )


@st.composite
def written(draw: st.DrawFn, tables: Any, spoil: bool = True) -> str:
    """A nest of tables as TOML, now and then with a value or a key that does not belong."""
    lines: list[str] = []
    _write(draw, tables, (), lines, spoil)
    return draw(st.sampled_from(["\n", "\n", "\n", "\r\n"])).join(lines) + "\n"


def _write(
    draw: st.DrawFn, table: Mapping[str, Any], path: tuple[str, ...], lines: list[str], spoil: bool
) -> None:
    inner: list[tuple[str, Any]] = []
    for key, value in table.items():
        if isinstance(value, dict) or (
            isinstance(value, list) and value and all(isinstance(one, dict) for one in value)
        ):
            inner.append((key, value))
            continue
        name, text = _key(key), _value(value)
        if spoil and draw(st.integers(0, 59)) == 0:
            name = misspelt(key, draw) if draw(st.booleans()) else _key(draw(strange_texts))
        if spoil and draw(st.integers(0, 59)) == 0:
            text = draw(strange_values)
        lines.append(f"{name} = {text}")
    for key, value in inner:
        for one in value if isinstance(value, list) else [value]:
            here = (*path, _key(key))
            lines.append(
                f"[[{'.'.join(here)}]]" if isinstance(value, list) else f"[{'.'.join(here)}]"
            )
            _write(draw, one, here, lines, spoil)


def _key(key: str) -> str:
    return key if re.fullmatch(r"[A-Za-z0-9_-]+", key) else json.dumps(key)


def _value(value: Any) -> str:
    if isinstance(value, list):
        return "[" + ", ".join(_value(one) for one in value) + "]"
    if isinstance(value, str):
        return json.dumps(value).replace("\\ud", "\\\\ud")
    return str(value).lower() if isinstance(value, bool) else str(value)


def documents(goods: Sequence[str], derived: st.SearchStrategy[str]) -> st.SearchStrategy[bytes]:
    """Files: good ones with other tokens, ones made from the schema, and accidents of both."""
    tokens = [tokens_of(good) for good in goods]
    changed = changed_tokens(tokens).map(_bytes)
    made = derived.map(_bytes)
    spoilt = st.one_of(
        st.sampled_from([_bytes(good) for good in goods]).flatmap(spoilt_bytes),
        changed.flatmap(spoilt_bytes),
    )
    lines = st.lists(
        st.builds(
            "{} = {}".format, st.sampled_from([*_words(goods), *STRANGE_TEXTS]), strange_values
        ),
        max_size=8,
    ).map(lambda some: _bytes("\n".join(some)))
    return st.one_of(changed, changed, made, made, spoilt, lines)


def _words(goods: Sequence[str]) -> list[str]:
    return sorted({token for good in goods for token in tokens_of(good) if WORD.fullmatch(token)})


def _bytes(text: str) -> bytes:
    return text.encode("utf-8", "surrogatepass")
