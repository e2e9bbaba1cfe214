"""Times of the calendar and durations as people and programs write them."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Any, Final
from zoneinfo import ZoneInfo

from hostile import strange_texts
from hypothesis import strategies as st
from territory import Territory, Verdict

from fermd.config.calendar_times import CALENDAR_PATTERN
from fermd.config.durations import DURATION_PATTERN, duration_text, seconds_of
from fermd.config.zone_calendar import ZoneCalendar
from fermd.control.calendar import MONTHS, WEEKDAYS, parse_calendar_time

ZONES: Final = ("UTC", "Europe/Vienna", "Australia/Lord_Howe", "America/St_Johns", "Pacific/Apia")
CALENDARS: Final = {zone: ZoneCalendar(ZoneInfo(zone)) for zone in ZONES}

spaces = st.sampled_from(["", " "] * 6 + ["  ", "\t", "\n", "\u00a0", "\u3000", "\x00"])
hours = st.one_of(
    st.integers(0, 23).map(str),
    st.integers(0, 23).map("{:02d}".format),
    st.sampled_from(["24", "-1", "١٨", "007", "1e1", "18.5", "", "６"]),
)
minutes = st.one_of(
    st.integers(0, 59).map("{:02d}".format), st.sampled_from(["60", "5", "000", "٠٠", "", "0x"])
)
days = st.one_of(
    st.sampled_from(["", "", *WEEKDAYS, *MONTHS, "Friday", "FRI", "fr", "mo", "heute", "ſep"]),
    st.builds("{}{}{}".format, st.sampled_from(MONTHS), st.sampled_from("-–_ "), st.sampled_from(
        [*MONTHS, "mon", "xxx", ""]
    )),
    st.builds(
        "{}-{}-{}".format,
        st.one_of(st.integers(1998, 2031), st.sampled_from(["0000", "9999", "26", "２０２６"])),
        st.sampled_from(["01", "02", "12", "00", "13", "1", "２"]),
        st.sampled_from(["01", "28", "29", "30", "31", "00", "32", "1", "٣١"]),
    ),
)  # fmt: skip
clock_times = st.builds(
    "{}{}{}{}:{}{}{}".format,
    spaces, days, spaces, hours, minutes, spaces,
    st.sampled_from([""] * 9 + ["h", " UTC", "pm", "+02:00"]),
)  # fmt: skip
amounts = st.one_of(
    st.integers(0, 400).map(str),
    st.decimals(0, 99, places=2, allow_nan=False).map(str),
    st.sampled_from(
        ["-1", "1e3", "9" * 12, "999999999", "0.000000001", ".5", "5.", "½", "١", "1,5"]
    ),
)
units = st.sampled_from(
    [*("d", "h", "min") * 3, "D", "days", "s", "m", "w", "", "°C", "hours", "d.", "ｄ"]
)
durations = st.lists(st.builds("{}{}{}{}".format, amounts, spaces, units, spaces), max_size=4).map(
    "".join
)
instants = st.one_of(
    st.floats(-2e9, 9e9),
    st.sampled_from([0.0, -1.0, 1e12, -1e12, 1e18, 253402300799.0, 32503680000.0]),
)


class Times(Territory):
    """A text that may be a time of the calendar or a duration, a zone, and a moment to ask at."""

    name = "times"
    inputs = st.tuples(
        st.one_of(clock_times, clock_times, durations, durations, strange_texts),
        st.sampled_from(ZONES),
        instants,
    )

    def judge(self, given: Any) -> Sequence[Verdict]:
        text, zone, at_utc_s = given
        return [_calendar(text, zone, at_utc_s) if ":" in text else _duration(text)]


def _calendar(text: str, zone: str, at_utc_s: float) -> Verdict:
    try:
        rule = parse_calendar_time(text)
    except ValueError as error:
        return Verdict(False, str(error))
    assert parse_calendar_time(str(rule)) == rule
    # An editor that goes by the schema must not object to what fermd takes.
    assert re.search(CALENDAR_PATTERN, text), f"the schema refuses {text!r}"
    calendar = CALENDARS[zone]
    following_s = calendar.next_utc_s(rule, at_utc_s)
    before_s = calendar.last_utc_s(rule, at_utc_s)
    assert following_s is None or following_s > at_utc_s
    assert before_s is None or before_s <= at_utc_s
    return Verdict(True)


def _duration(text: str) -> Verdict:
    try:
        lasts_s = seconds_of(text)
    except ValueError as error:
        return Verdict(False, str(error))
    if not text.strip().startswith("-"):
        assert re.search(DURATION_PATTERN, text), f"the schema refuses {text!r}"
        assert abs(seconds_of(duration_text(lasts_s)) - lasts_s) <= 30.0
    return Verdict(True)
