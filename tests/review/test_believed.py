"""What the vessel's probe read of something else has no place among the beer's figures."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from fermd.control.wording import Unit
from fermd.review import saying
from fermd.review.as_page import page
from fermd.review.causes.disturbances import disturbances
from fermd.review.course import Course
from fermd.review.picture_of_review import record_of
from fermd.review.reviewing import review_of
from fermd.review.roles import Roles
from fermd.review.saying import compared
from fermd.review.series import Series
from fermd.review.target_track import Corner, cut, inside
from fermd.review.temperature_chart import AIR_BEYOND_C

HOUR_S = 3600.0
START_S = 1_790_000_000.0
LASTED_S = 72 * HOUR_S
OUT_S = (40 * HOUR_S, 43 * HOUR_S)
"""The probe lies in a jug of hot water."""


def course() -> Course:
    vessel, air = Series(60), Series(60)
    for number in range(int(LASTED_S / 60)):
        at_s = 60.0 * (number + 0.5)
        beer_c = 85.0 if OUT_S[0] <= at_s < OUT_S[1] else 10.0 + 0.1 * (number % 2)
        for series, temp_c in (
            (vessel, beer_c),
            (air, 500.0 if number == 2000 else 9.0 + 0.0625 * (number % 3)),
        ):
            series.at_s.append(START_S + at_s)
            for column in (series.low_c, series.mean_c, series.high_c):
                column.append(temp_c)
            series.good.append(6.0)
    track = (Corner(START_S, 10.0, 10.0), Corner(START_S + LASTED_S, 20.0, 20.0))
    standing = (track[0], Corner(START_S + LASTED_S, 10.0, 10.0), track[1])
    probes = {"beer": vessel, "air": air}
    return Course(
        "lager", START_S, START_S + LASTED_S, Roles("beer", "air"), probes, (), standing, ()
    )


def test_beer_is_not_as_warm_as_what_its_probe_was_put_into() -> None:
    seen = course()
    assert any("which no beer can" in one.words for one in disturbances(seen))
    review = review_of(seen, Path("journal.db"))
    assert review.holding.warmest_c == pytest.approx(10.1)
    assert review.beer is not None
    assert len(review.beer) < len(seen.probes["beer"])
    # What it read is still in the record, and the span counts as one in which nothing is known.
    assert max(review.course.probes["beer"].high_c) == 85.0
    assert review.holding.unknown_h == pytest.approx(3.0, abs=0.5)
    assert max(one.maximum_c for one in record_of(review).probes["beer"]) == pytest.approx(10.1)


def test_an_excursion_of_the_probe_alone_is_told_as_what_it_read_and_not_as_the_beer_s() -> None:
    review = review_of(course(), Path("journal.db"))
    (one,) = review.excursions
    assert one.of_the_probe
    assert one.degree_hours == 0.0
    assert saying.excursion(one, Unit.CELSIUS).startswith(
        "the probe read up to 75.0 °C above the target for 2 h 59 min,"
    )
    assert dict(compared([review], Unit.CELSIUS)[1])["worst"] == saying.UNKNOWN


def test_one_reading_of_a_broken_probe_does_not_press_the_picture_into_a_line() -> None:
    drawn = page(review_of(course(), Path("journal.db")))
    (picture,) = re.findall(r'<svg class="wide".*?temperatures.*?</svg>', drawn)[:1]
    labels = [float(one) for one in re.findall(r'text-anchor="end">([0-9.]+)</text>', picture)]
    assert 10.0 <= max(labels) <= 10.1 + AIR_BEYOND_C + 1.0


def test_a_target_that_comes_with_the_next_batch_is_not_drawn_in_this_one() -> None:
    target = course().target
    assert all(corner.cool_c == 10.0 for corner in inside(target, START_S, START_S + LASTED_S))
    edges = cut(target, START_S + HOUR_S, START_S + LASTED_S)
    assert (edges[0].at_s, edges[-1].at_s) == (START_S + HOUR_S, START_S + LASTED_S)
    assert {corner.cool_c for corner in edges} == {10.0}
