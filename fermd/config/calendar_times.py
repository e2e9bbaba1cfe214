"""Times of the calendar as a brewer writes them: "fri 18:00", "18:00", "apr-sep 07:00"."""

from __future__ import annotations

from typing import Annotated, Final

from pydantic import BeforeValidator, WithJsonSchema
from pydantic_core import PydanticCustomError

from fermd.control.calendar import CalendarTime, parse_calendar_time

CALENDAR_WORDS: Final = (
    'a local time: "18:00" for every day, "fri 18:00" for one weekday, "apr-sep 07:00" for the '
    'days of some months, or "2026-12-24 08:00" for one date'
)

CALENDAR_PATTERN: Final = (
    r"^\s*([A-Za-z]{3}(-[A-Za-z]{3})?\s+|\d{4}-\d{2}-\d{2}\s+)?\d{1,2}:\d{2}\s*$"
)
"""The same for a JSON Schema."""


def _checked(text: object) -> CalendarTime:
    if isinstance(text, CalendarTime):
        return text
    try:
        return parse_calendar_time(str(text))
    except ValueError:
        raise PydanticCustomError("calendar_time", "not a time of the calendar") from None


CALENDAR_TIME: Final = Annotated[
    CalendarTime,
    BeforeValidator(_checked),
    WithJsonSchema(
        {
            "type": "string",
            "examples": ["18:00", "fri 18:00", "apr-sep 07:00", "2026-12-24 08:00"],
            "pattern": CALENDAR_PATTERN,
        }
    ),
]
"""What a table of a file may hold where a settings type has a `CalendarTime`."""
