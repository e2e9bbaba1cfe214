"""Rows as Apache Parquet, by pyarrow: types, units and meanings in the file itself.

pyarrow is the format's own library, and large (a wheel of 55 MB, for 64-bit systems only), so it is
in the extra `parquet`: a board can do without it, since any computer can make the file from a
backup.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime, tzinfo
from itertools import islice
from pathlib import Path
from typing import Any

from fermd.journal.described import Column
from fermd.journal.extract import LOCAL_TIME

ROWS_IN_GROUP = 50_000
"""Rows that are written, and held in memory, at once."""


class NoParquetLibrary(Exception):  # noqa: N818 - reads as what it says
    """pyarrow is not installed; the text says how to get it."""


def write_parquet(
    columns: Sequence[Column], rows: Iterable[Sequence[Any]], path: Path, zone: tzinfo
) -> int:
    """Write the rows to a file; how many there were.

    `local_time` becomes a timestamp of this zone. Raises NoParquetLibrary, OSError.
    """
    try:
        import pyarrow as pa
        import pyarrow.parquet as pq
    except ImportError as error:
        raise NoParquetLibrary(
            "Parquet needs pyarrow: pip install 'fermd[parquet]' (64-bit systems only), or write "
            "CSV; from a copy that `fermd backup` made this works on any computer"
        ) from error
    kinds = {"integer": pa.int64(), "real": pa.float64(), "text": pa.string()}
    schema = pa.schema(
        [
            pa.field(
                one.name,
                pa.timestamp("ms", tz=str(zone)) if one is LOCAL_TIME else kinds[one.value_kind],
                metadata={"unit": one.unit, "meaning": one.meaning},
            )
            for one in columns
        ]
    )
    count, left = 0, iter(rows)
    with pq.ParquetWriter(path, schema) as writer:
        while group := list(islice(left, ROWS_IN_GROUP)):
            turned = list(zip(*group, strict=True))
            if columns[0] is LOCAL_TIME:
                turned[0] = tuple(
                    None if text is None else datetime.fromisoformat(text) for text in turned[0]
                )
            arrays = [pa.array(turned[at], schema.field(at).type) for at in range(len(columns))]
            writer.write_table(pa.table(arrays, schema=schema))
            count += len(group)
    return count
