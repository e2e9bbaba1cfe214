"""Rows as CSV by RFC 4180: a header line, CRLF at the end of each line, quotes doubled.

One thing more than the standard's: a text that is empty is written as `""`, and what is not there
(NULL) as nothing at all, so that the two can be told apart by whoever cares to.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any, Protocol

_NEEDS_QUOTES = frozenset(',"\r\n')


class Sink(Protocol):
    """What text can be written to."""

    def write(self, text: str, /) -> object:
        """Take the text."""
        ...


def write_csv(header: Sequence[str], rows: Iterable[Sequence[Any]], sink: Sink) -> int:
    """Write a header and the rows; how many rows there were.

    The sink must not change the ends of lines (open it with `newline=""`).
    """
    sink.write(_line(header))
    count = 0
    for count, row in enumerate(rows, start=1):  # noqa: B007 - counted
        sink.write(_line(row))
    return count


def _line(values: Sequence[Any]) -> str:
    return ",".join(map(_field, values)) + "\r\n"


def _field(value: Any) -> str:
    if value is None:
        return ""
    if not isinstance(value, str):
        # A float's shortest form that reads back as the same number.
        return repr(value)
    if not value or not _NEEDS_QUOTES.isdisjoint(value) or value != value.strip():
        return '"' + value.replace('"', '""') + '"'
    return value
