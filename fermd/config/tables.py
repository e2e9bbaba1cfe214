"""What a table of a file may hold, made from the settings type that it fills.

A settings type (a dataclass with `annotated_types` ranges) stays the one home of names, ranges,
defaults and meanings; `table_of` makes the pydantic model that checks a file against it, and
`settings_from` makes the settings from a table that was found good.
"""

from __future__ import annotations

import types
from collections.abc import Mapping
from dataclasses import MISSING, Field, fields, is_dataclass
from enum import Enum
from pathlib import Path
from types import GenericAlias
from typing import (
    Annotated,
    Any,
    ClassVar,
    TypeVar,
    Union,
    cast,
    get_args,
    get_origin,
    get_type_hints,
)

from pydantic import BaseModel, ConfigDict, Strict, create_model
from pydantic import Field as FileKey
from pydantic.fields import FieldInfo

from fermd.config.attribute_docs import attribute_docs
from fermd.config.calendar_times import CALENDAR_TIME
from fermd.control.calendar import CalendarTime

S = TypeVar("S")


def _described(schema: dict[str, Any], table: type[Table]) -> None:
    for key, shape in schema.get("properties", {}).items():
        if text := table.meaning(key):
            shape["description"] = text
        if shape.get("default", ...) is None:
            del shape["default"]
        shape.pop("title", None)


class Table(BaseModel):
    """A table of a file: no unknown key, no text for a number, no number without end."""

    model_config = ConfigDict(
        extra="forbid",
        strict=True,
        allow_inf_nan=False,
        frozen=True,
        json_schema_extra=cast("Any", _described),
    )

    settings_type: ClassVar[type | None] = None
    renamed: ClassVar[Mapping[str, str]] = {}
    """Key in the file by attribute of the settings, where the two differ."""

    @classmethod
    def meaning(cls, key: str) -> str:
        """What a key means, in one paragraph; empty if nothing is known."""
        described = cls.model_fields[key].description
        if described or cls.settings_type is None:
            return described or ""
        attribute = next((name for name, in_file in cls.renamed.items() if in_file == key), key)
        text = attribute_docs(cls.settings_type).get(attribute, "")
        return text.replace("None:", "Left out:")  # TOML knows no None.


def table_of(
    settings_type: type,
    *,
    without: tuple[str, ...] = (),
    renamed: Mapping[str, str] | None = None,
    defaults: bool = True,
    more: Mapping[str, tuple[Any, Any]] | None = None,
) -> type[Table]:
    """The table that fills a settings type.

    `without` names attributes that do not stand in the file, `more` adds keys or replaces some,
    and without `defaults` every key may be left out, to be filled from elsewhere.
    """
    hints = get_type_hints(settings_type, include_extras=True)
    more = more or {}
    keys: dict[str, Any] = dict(more)
    for attribute in fields(settings_type):
        if attribute.init and attribute.name not in without:
            key = (renamed or {}).get(attribute.name, attribute.name)
            kind = _in_file(hints[attribute.name])
            default = _default(attribute, kind) if defaults else FileKey(default=None)
            keys.setdefault(key, (kind, default))
    table: type[Table] = create_model(
        settings_type.__name__, __base__=Table, __doc__=doc_of(settings_type, renamed or {}), **keys
    )
    table.settings_type = settings_type
    table.renamed = renamed or {}
    return table


def settings_from(table: Table, settings_type: type[S], **given: Any) -> S:
    """The settings that a table holds; `given` are those that stand elsewhere."""
    values = dict(given)
    for attribute in fields(cast("Any", settings_type)):
        if attribute.init and attribute.name not in given:
            key = table.renamed.get(attribute.name, attribute.name)
            values[attribute.name] = _plain(getattr(table, key))
    return settings_type(**values)


def _plain(value: object) -> object:
    if isinstance(value, Table) and value.settings_type is not None:
        return settings_from(value, value.settings_type)
    return tuple(_plain(one) for one in value) if isinstance(value, list) else value


def _in_file(kind: Any) -> Any:
    """A settings type as a file has it: enumerations and paths are text, nothing is null."""
    if get_origin(kind) is Annotated:
        inner, *extras = get_args(kind)
        return Annotated[(_in_file(inner), *extras)]
    if get_origin(kind) in (Union, types.UnionType):
        (inner,) = (part for part in get_args(kind) if part is not types.NoneType)
        return _in_file(inner)
    if get_origin(kind) is tuple:
        one, *_ = get_args(kind)
        return GenericAlias(list, (_in_file(one),))
    if kind is CalendarTime:
        return CALENDAR_TIME
    if isinstance(kind, type) and issubclass(kind, Enum | Path):
        return Annotated[kind, Strict(False)]
    return table_of(cast("type", kind)) if is_dataclass(kind) else kind


def doc_of(settings_type: type, renamed: Mapping[str, str]) -> str:
    """What a table is for, with its keys called as they are in the file."""
    doc = " ".join((settings_type.__doc__ or "").split())
    for attribute, key in renamed.items():
        doc = doc.replace(f"`{attribute}`", f"`{key}`")
    return doc.replace("`", "")


def _default(attribute: Field[Any], kind: Any) -> FieldInfo:
    if isinstance(kind, type) and issubclass(kind, Table):
        return cast("FieldInfo", FileKey(default_factory=kind))
    if attribute.default is not MISSING:
        return cast("FieldInfo", FileKey(default=attribute.default))
    return cast("FieldInfo", FileKey())
