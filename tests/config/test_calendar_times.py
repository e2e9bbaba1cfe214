"""Times of the calendar in a file: what is taken, what an editor takes, and what is said."""

from __future__ import annotations

import re
from datetime import datetime, time

import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from pydantic import TypeAdapter, ValidationError

from fermd.config.calendar_times import CALENDAR_PATTERN, CALENDAR_TIME
from fermd.control.calendar import MONTHS, WEEKDAYS, CalendarTime, parse_calendar_time

FIELD: TypeAdapter[CalendarTime] = TypeAdapter(CALENDAR_TIME)

clock_hours, clock_minutes = st.integers(0, 23), st.integers(0, 59)
months = st.tuples(st.integers(0, 11), st.integers(1, 11)).map(
    lambda span: tuple((span[0] + n) % 12 + 1 for n in range(span[1]))
)
rules = st.one_of(
    st.builds(CalendarTime, clock_hours, clock_minutes),
    st.builds(CalendarTime, clock_hours, clock_minutes, weekday=st.integers(0, 6)),
    st.builds(CalendarTime, clock_hours, clock_minutes, months=months),
    st.builds(
        CalendarTime,
        clock_hours,
        clock_minutes,
        date=st.dates(datetime(2000, 1, 1).date(), datetime(2999, 12, 31).date()).map(  # noqa: DTZ001
            lambda day: (day.year, day.month, day.day)
        ),
    ),
)

words = st.sampled_from(
    [*WEEKDAYS, *MONTHS, "apr-sep", "fri-sat", "2026-12-24", "2026-02-29", "day", "FRI", "-", "."]
)
numbers = st.integers(-1, 99).map(str) | st.integers(0, 99).map("{:02d}".format)
like_a_time = st.tuples(
    st.sampled_from(["", " "]),
    words | st.just(""),
    st.sampled_from(["", " ", "  "]),
    numbers,
    st.sampled_from([":", "", ".", "h"]),
    numbers,
    st.sampled_from(["", " ", ":00", " Uhr"]),
).map("".join)


def taken(text: str) -> bool:
    try:
        parse_calendar_time(text)
    except ValueError:
        return False
    return True


@given(rules)
def test_every_rule_is_written_as_it_is_read(rule: CalendarTime) -> None:
    assert FIELD.validate_python(str(rule)) == rule
    assert FIELD.validate_python(rule) is rule
    assert re.search(CALENDAR_PATTERN, str(rule))


@given(like_a_time | st.text(max_size=20))
@example("fri18:00")
@example("2026-12-2418:00")
@example("fri ١٨:٠٠")
def test_an_editor_that_knows_the_pattern_never_warns_of_what_is_taken(text: str) -> None:
    # ECMA 262, which JSON Schema's patterns are written in, has no digits but 0 to 9.
    if taken(text):
        assert re.search(CALENDAR_PATTERN, text, re.ASCII)


@pytest.mark.parametrize("text", ["fri18:00", "2026-12-2418:00", "apr-sep07:00", "fri ١٨:٠٠"])
def test_what_could_be_misread_is_not_guessed_at(text: str) -> None:
    with pytest.raises(ValueError, match="must be a local time"):
        parse_calendar_time(text)


@pytest.mark.parametrize(
    "value", ["", "soon", "fri 25:00", 18, 18.5, None, True, time(18), ["fri 18:00"], {}]
)
def test_what_is_no_time_of_the_calendar_is_one_error_and_no_traceback(value: object) -> None:
    with pytest.raises(ValidationError) as refused:
        FIELD.validate_python(value)
    (error,) = refused.value.errors()
    assert error["type"] == "calendar_time"


def test_the_schema_for_editors_has_an_example_of_every_form() -> None:
    schema = FIELD.json_schema()
    assert schema["type"] == "string"
    read = [parse_calendar_time(text) for text in schema["examples"]]
    assert [bool(r.weekday is not None) for r in read].count(True) == 1
    assert [bool(r.months) for r in read].count(True) == 1
    assert [r.date is not None for r in read].count(True) == 1
    assert all(re.search(schema["pattern"], text) for text in schema["examples"])
