"""The lines and the lone picture of a review, on a course made by hand."""

from __future__ import annotations

from pathlib import Path
from xml.etree import ElementTree as ET

import pytest

from fermd.control.events import StepChange, StepChanged
from fermd.journal.rows import BrewerNote
from fermd.review.as_text import MOST_DAYS, text
from fermd.review.course import Course, Happened
from fermd.review.overlay_chart import together
from fermd.review.record import Run
from fermd.review.reviewing import Review, review_of
from fermd.review.roles import Roles
from fermd.review.series import Series
from fermd.review.target_track import Corner
from fermd.review.temperature_chart import temperatures

START_S = 1_790_000_000.0 // 86400 * 86400
STEPS = ("pitch", "the long main fermentation of a strong lager, held back", "keep cold")
SVG = "{http://www.w3.org/2000/svg}"


def reviewed(days: int) -> Review:
    """Beer at 10 °C, cooled a quarter of every hour, with a step at each third of the time."""
    beer = Series(900)
    for number in range(days * 96):
        beer.at_s.append(START_S + 900.0 * (number + 0.5))
        for column in (beer.low_c, beer.mean_c, beer.high_c):
            column.append(10.0)
        beer.good.append(6.0)
    end_s = START_S + 86400.0 * days
    runs = [
        Run("fridge", "cool", START_S + 3600.0 * hour, START_S + 3600.0 * hour + 900.0, "")
        for hour in range(24 * days)
    ]
    happened = [
        Happened(
            START_S + third * (end_s - START_S) / 3.05,
            1,
            0.0,
            third,
            "lager",
            StepChanged("p", third, "final-hold", name, StepChange.ENTERED, 0.0),
        )
        for third, name in enumerate(STEPS)
    ]
    note = BrewerNote("Ann", "smells of sulphur, and is 4.5 °C warmer than the cellar")
    happened.append(Happened(START_S + 4000.0, 1, 0.0, 9, "lager", note))
    return review_of(
        Course(
            "lager",
            START_S,
            end_s,
            Roles("beer", None),
            {"beer": beer},
            tuple(runs),
            (Corner(START_S, 10.0, 10.0),),
            tuple(happened),
        ),
        Path("journal.db"),
    )


@pytest.mark.parametrize("width", [80, 100])
def test_no_line_is_longer_than_the_terminal_and_no_number_loses_its_unit(width: int) -> None:
    lines = text(reviewed(24), width=width).splitlines()
    assert max(map(len, lines)) <= width
    assert [line for line in lines if line.strip().startswith(("°C", "%", "h ", "min"))] == []
    # A name that is too long goes on below itself, and loses no word.
    told = " ".join(line[:40] for line in lines)
    assert all(word in told for word in ("strong", "lager,", "held", "(final-hold)"))


@pytest.mark.parametrize(
    ("days", "period", "rows"), [(MOST_DAYS, "day", MOST_DAYS), (MOST_DAYS + 1, "week", 6)]
)
def test_a_long_span_is_told_by_weeks(days: int, period: str, rows: int) -> None:
    lines = text(reviewed(days)).splitlines()
    first = lines.index(f"Duty cycle by {period}") + 2
    table = lines[first : lines.index("", first)]
    assert len(table) == rows
    # 15 minutes of every hour, and 24 starts a day.
    first_words, *_, last_words = (line.split()[1:] for line in table)
    assert first_words == ["25", "%", "24" if period == "day" else "168"]
    assert last_words == ["25", "%", "24"]


def test_a_lone_picture_says_what_it_is_of_and_what_its_lines_mean() -> None:
    review = reviewed(24)
    root = ET.fromstring(temperatures(review).svg(alone=True))  # noqa: S314 - our own
    words = [one.text for one in root.iter(f"{SVG}text")]
    assert {"beer", "target", "cooling", "note"} <= set(words)
    assert any(one is not None and one.startswith("chamber lager") for one in words)
    # The last step begins near the edge: its name ends there.
    [last] = [one for one in root.iter(f"{SVG}text") if one.text == "keep cold"]
    assert float(last.attrib["x"]) + 6.4 * len("keep cold") <= 960.0
    beside = {one.text for one in ET.fromstring(temperatures(review).svg()).iter(f"{SVG}text")}  # noqa: S314 - our own
    assert "cooling" not in beside, "a page says it itself"


def test_a_lone_picture_of_two_batches_names_both() -> None:
    root = ET.fromstring(together([reviewed(3), reviewed(4)]).svg(alone=True))  # noqa: S314 - our own
    words = [one.text or "" for one in root.iter(f"{SVG}text")]
    assert sum(one.startswith("lager from") for one in words) == 2
