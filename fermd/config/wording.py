"""What pydantic finds wrong with a file, in the house's words."""

from __future__ import annotations

import difflib
import re
import types
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final, Literal, Union, get_args, get_origin

from pydantic import ValidationError
from pydantic.fields import FieldInfo

from fermd.config.allowed import allowed, bare, choices
from fermd.config.errors import ABSENT, Fault, any_of, key_text
from fermd.config.tables import Table

Key = tuple[str | int, ...]

OUT_OF_RANGE: Final = ("greater_than", "greater_than_equal", "less_than", "less_than_equal")
"""What pydantic calls a number that is one, but too large or too small."""


@dataclass(frozen=True, slots=True)
class Misfit:
    """A fault with its place as a path, before it becomes text."""

    path: Key
    value: object
    why: str
    kind: Literal["unknown", "missing", "bad"]

    def fault(self) -> Fault:
        """The same for people."""
        return Fault(key_text(self.path), self.value, self.why)


def misfits(error: ValidationError, table: type[Table], data: Mapping[str, Any]) -> list[Misfit]:
    """Everything that a file's table holds wrongly, in the order of the table."""
    found: dict[Key, Misfit] = {}
    for detail in error.errors(include_url=False, include_context=False, include_input=False):
        misfit = _misfit(detail["type"], without_tags(detail["loc"], data), table, data)
        found.setdefault(misfit.path, misfit)
    return list(found.values())


def without_tags(loc: Sequence[str | int], data: object) -> Key:
    """A path of pydantic's as it is in the file: the kind of a step is a part of the former."""
    path: list[str | int] = []
    here = data
    for depth, part in enumerate(loc):
        last = depth == len(loc) - 1
        is_tag = (
            isinstance(part, str)
            and isinstance(here, dict)
            and path[-1:] != []
            and isinstance(path[-1], int)
            and here.get("kind") == part
            and not (last and part in here)
        )
        if is_tag:
            continue
        path.append(part)
        here = step_into(here, part)
    return tuple(path)


def step_into(here: object, part: str | int) -> object:
    """The value under a key or an index; ABSENT if there is none."""
    if isinstance(here, dict):
        return here.get(part, ABSENT)
    if isinstance(here, list) and isinstance(part, int) and 0 <= part < len(here):
        return here[part]
    return ABSENT


def value_at(data: object, path: Key) -> object:
    """The value at a path in the file; ABSENT if there is none."""
    for part in path:
        data = step_into(data, part)
    return data


def nearest(word: str, known: Sequence[str]) -> str | None:
    """The known word that `word` was most likely meant to be, if any is like it."""
    folded = {name.casefold(): name for name in reversed(known)}
    close = difflib.get_close_matches(word[:100].casefold(), folded, n=1, cutoff=0.55)
    return folded[close[0]] if close else None


def unknown_key_words(key: str, known: Mapping[str, Sequence[str]]) -> str:
    """`known` are the keys that could stand there, with the paths that each is written with."""
    if key in known and key not in known[key]:
        return f"unknown key here; it belongs to {' or '.join(known[key])}"
    if (meant := nearest(key, list(known))) is not None:
        return f"unknown key; did you mean {' or '.join(known[meant])}?"
    return "unknown key; known here: " + ", ".join(sorted(k for k in known if k in known[k]))


def _misfit(kind: str, path: Key, table: type[Table], data: Mapping[str, Any]) -> Misfit:
    value, key = value_at(data, path), str(path[-1]) if path else ""
    owner = _table_at(table, path[:-1], data) if path else None
    if kind == "extra_forbidden":
        return Misfit(path, value, unknown_key_words(key, _known(owner)), "unknown")
    field = _field_at(table, path, data)
    if kind in ("union_tag_invalid", "union_tag_not_found"):
        return _wrong_step_kind(path, value, field)
    if field is None:  # An entry of an array.
        why = "must be text in quotes" if kind == "string_type" else "must be a table"
        return Misfit(path, value, why, "bad")
    why = allowed(field, key)
    if kind in OUT_OF_RANGE:
        why = re.sub(r"^must be a (whole )?number ", "must be ", why)
    if why == "must be a table":
        in_array = isinstance(path[-1], int)
        why += f", with the header [{'[step]' if in_array else key_text(path)}]"
    if owner is not None and (meaning := first_sentence(owner.meaning(key))):
        why += f". {meaning}"
    if kind == "missing":
        return Misfit(path, ABSENT, f"is missing; {why}", "missing")
    return Misfit(path, value, _slip(kind, value, field) + why, "bad")


def _wrong_step_kind(path: Key, value: object, field: FieldInfo | None) -> Misfit:
    kinds = [str(kind) for kind in _tags(field)] if field is not None else []
    why = f"must be {any_of(kinds)}"
    if not isinstance(value, dict) or "kind" not in value:
        return Misfit((*path, "kind"), ABSENT, f"is missing; {why}", "missing")
    given = value["kind"]
    if isinstance(given, str) and (meant := nearest(given, kinds)) is not None:
        why += f"; did you mean {any_of([meant])}?"
    return Misfit((*path, "kind"), given, why, "bad")


def _slip(kind: str, value: object, field: FieldInfo) -> str:
    """What the writer may have had in mind; comes before what is allowed."""
    if kind in ("float_type", "int_type") and isinstance(value, str):
        return "is text; write the number without quotes, with a point and without a unit; "
    if kind == "greater_than" and isinstance(value, str) and value.lstrip().startswith("-"):
        return "is negative; "
    if kind in ("enum", "literal_error") and isinstance(value, str):
        meant = nearest(value, choices(field.annotation))
        return f"did you mean {any_of([meant])}? " if meant else ""
    return ""


def first_sentence(text: str) -> str:
    """The first sentence of a meaning, without the unit at its end (the value's range has it)."""
    sentence = re.split(r"(?<=[.])\s|[:;] ", text, maxsplit=1)[0].rstrip(".")
    return re.sub(r",? ?\.\.\.|, (°C|s|A|W|l|°P)$", "", sentence)


def _known(table: type[Table] | None) -> dict[str, list[str]]:
    """The keys of a table, and those of the tables in it, with the paths they are written with."""
    known: dict[str, list[str]] = {}
    if table is None:
        return known
    for key, field in table.model_fields.items():
        inner, _ = bare(field.annotation)
        if isinstance(inner, type) and issubclass(inner, Table):
            for below in inner.model_fields:
                known.setdefault(below, []).append(f"{key}.{below}")
    return known | {key: [key] for key in table.model_fields}


def _table_at(table: type[Table], path: Key, data: object) -> type[Table] | None:
    """The table that stands at a path."""
    here: Any = table
    for part in path:
        inner, _ = bare(here)
        if isinstance(inner, type) and issubclass(inner, Table):
            here = inner.model_fields[str(part)].annotation if part in inner.model_fields else None
        elif get_origin(inner) is dict:
            here = get_args(inner)[1]
        elif get_origin(inner) is list:
            here = get_args(inner)[0]
        else:
            return None
        data = step_into(data, part)
        here = _of_kind(here, data)
    inner, _ = bare(here)
    return inner if isinstance(inner, type) and issubclass(inner, Table) else None


def _of_kind(kind: Any, data: object) -> Any:
    """Of several kinds of table the one that the data says it is."""
    inner, _ = bare(kind)
    if get_origin(inner) not in (Union, types.UnionType):
        return kind
    given = step_into(data, "kind")
    for table in get_args(inner):
        if given in get_args(table.model_fields["kind"].annotation):
            return table
    return None


def _tags(field: FieldInfo) -> list[str]:
    inner, _ = bare(field.annotation)
    return [get_args(table.model_fields["kind"].annotation)[0] for table in get_args(inner)]


def _field_at(table: type[Table], path: Key, data: object) -> FieldInfo | None:
    """The field at a path; for an entry among tables one that stands for a table."""
    owner = _table_at(table, path[:-1], data) if path else None
    if owner is not None:
        return owner.model_fields.get(str(path[-1]))
    holder = _annotation_at(table, path[:-1], data)
    inner, _ = bare(holder)
    if get_origin(inner) in (dict, list):
        entry = get_args(inner)[-1]
        one, _ = bare(entry)
        return FieldInfo(annotation=one) if one is not str else None
    return None


def _annotation_at(table: type[Table], path: Key, data: object) -> Any:
    if not path:
        return table
    owner = _table_at(table, path[:-1], data)
    if owner is None or path[-1] not in owner.model_fields:
        return None
    return owner.model_fields[str(path[-1])].annotation
