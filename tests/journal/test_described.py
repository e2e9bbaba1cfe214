"""The document of the schema says of the real database all that there is, and nothing else."""

from __future__ import annotations

from pathlib import Path

import pytest
from journal_bench import rows

from fermd.journal import described
from fermd.journal.described import RELATIONS, schema_page
from fermd.journal.described_columns import COMMON, OF_RELATION

PAGE = Path(described.__file__).with_name("schema.md")


def test_every_table_view_and_column_is_described_and_no_other(record):
    found = {
        name: kind
        for name, kind in rows(
            record, "SELECT name, type FROM sqlite_schema WHERE type IN ('table', 'view')"
        )
        if "sqlite_" not in name
    }
    assert {name: one.kind for name, one in RELATIONS.items()} == found
    for name, relation in RELATIONS.items():
        real = rows(record, "SELECT name FROM pragma_table_info(?)", name)
        assert [column for (column,) in real] == list(relation.names), name


def test_every_column_holds_the_kind_of_value_that_the_document_says(record):
    for name, relation in RELATIONS.items():
        for column in relation.columns:
            kinds = rows(record, f"SELECT DISTINCT typeof({column.name}) FROM {name}")  # noqa: S608
            held = {kind for (kind,) in kinds} - {"null"}
            assert held <= {column.value_kind}, f"{name}.{column.name}"


@pytest.mark.parametrize("relation", RELATIONS.values(), ids=RELATIONS)
def test_a_unit_stands_where_the_name_says_one(relation):
    units = {"_c": "°C", "_s": "s", "_h": "h", "_min": "min"}
    for column in relation.columns:
        wanted = next((unit for ending, unit in units.items() if column.name.endswith(ending)), "")
        assert column.unit == wanted, column.name
        assert column.meaning.endswith((".", ")"))


def test_no_words_are_left_over():
    used = {column.name for one in RELATIONS.values() for column in one.columns}
    assert set(COMMON) <= used
    assert {(name, column) for name, column in OF_RELATION} <= {
        (one.name, column.name) for one in RELATIONS.values() for column in one.columns
    }


def test_the_page_is_made_from_the_words():
    remedy = "write it anew: python -m fermd.journal.described"
    assert PAGE.read_text(encoding="utf-8") == schema_page(), remedy
