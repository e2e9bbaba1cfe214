"""The figures of a batch are those of its runs and readings."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from journal_tale import Tale

from fermd.control.events import StepChange, StepChanged, TargetChanged
from fermd.review.figures import IN_BAND_C, Figures, figures
from fermd.review.record import Bucket, Record, Run, read_record
from fermd.review.summary import summary
from fermd.review.target_track import Corner

HOUR_S = 3600.0


def record_of(
    *runs: Run,
    end_s: float = 10 * HOUR_S,
    beer_c: tuple[float, ...] = (10.0,),
    target: tuple[Corner, ...] = (),
) -> Record:
    """An hour to each temperature of the beer."""
    series = tuple(Bucket(HOUR_S * at, c, c, c) for at, c in enumerate(beer_c))
    return Record("lager", 0.0, end_s, {"vessel": series}, runs, target, ())


def cooling(start_s: float, end_s: float | None, *, is_over: bool = True) -> Run:
    return Run("fridge", "cool", start_s, end_s, "above-band", is_over)


def test_a_hand_made_journal_gives_the_figures_that_it_was_made_with(tmp_path: Path) -> None:
    tale = Tale(tmp_path / "journal.db")
    tale.tell(StepChanged("lager", 0, "hold", "pitch", StepChange.ENTERED, 0.0))
    tale.tell(TargetChanged(10.0, 10.0, "profile"))
    tale.passes(1000.0)
    tale.runs("fridge", 200.0)
    tale.passes(400.0)
    tale.runs("fridge", 600.0)
    tale.passes(800.0)
    tale.runs("belt", 100.0)
    tale.journal.note(tale.now, "lager", "Ann", "a note")
    tale.alarm("no-effect", "belt")
    tale.beer_c = 10.0 + IN_BAND_C + 0.2
    tale.passes(900.0)
    told = figures(read_record(tale.ends(), "lager", buckets=100_000), "vessel")
    assert (told.chamber, told.steps, told.alarms, told.notes) == ("lager", 1, 1, 1)
    assert told.lasted_s == pytest.approx(4000.0 - 10.0)
    assert (told.coldest_c, told.warmest_c) == (10.0, 10.7)
    # The last 90 readings of 400 are out of the band.
    assert told.held_share == pytest.approx(310 / 400)
    cool, heat = told.outputs
    assert (cool.output, cool.duty, cool.starts) == ("fridge", "cool", 2)
    assert cool.on_h == pytest.approx(800.0 / 3600.0)
    assert cool.duty_cycle == pytest.approx(800.0 / 3990.0)
    assert cool.shortest_off_s == pytest.approx(400.0)
    assert cool.shortest_run_s == pytest.approx(200.0)
    assert cool.most_starts_in_an_hour == 2
    assert (heat.output, heat.duty, heat.starts) == ("belt", "heat", 1)
    assert heat.shortest_off_s is None
    assert heat.shortest_run_s == pytest.approx(100.0)


def test_a_run_that_goes_on_counts_as_time_but_not_as_the_shortest_run() -> None:
    (cool,) = figures(
        record_of(cooling(0.0, 1000.0), cooling(9.9 * HOUR_S, 10 * HOUR_S, is_over=False)), "vessel"
    ).outputs
    assert cool.starts == 2
    assert cool.on_h == pytest.approx(1000.0 / 3600.0 + 0.1)
    assert cool.shortest_run_s == 1000.0


def test_a_run_whose_end_was_lost_counts_as_a_start_and_nothing_else() -> None:
    (cool,) = figures(
        record_of(cooling(0.0, None), cooling(5000.0, 6000.0), cooling(6500.0, 7000.0)), "vessel"
    ).outputs
    assert cool.starts == 3
    assert cool.on_h == pytest.approx(1500.0 / 3600.0)
    assert cool.shortest_off_s == 500.0


@given(st.lists(st.integers(1, 4000), min_size=1, max_size=40))
def test_most_starts_in_an_hour_is_the_fullest_hour_there_is(gaps_s: list[int]) -> None:
    """Against brute force: every hour that begins at a start, with its end left out."""
    starts_s = [float(sum(gaps_s[: count + 1])) for count in range(len(gaps_s))]
    runs = [cooling(start, start + 0.5) for start in starts_s]
    (cool,) = figures(record_of(*runs), "vessel").outputs
    fullest = max(
        sum(1 for other in starts_s if start <= other < start + HOUR_S) for start in starts_s
    )
    assert cool.most_starts_in_an_hour == fullest


@given(st.lists(st.tuples(st.floats(1.0, 5000.0), st.floats(1.0, 5000.0)), min_size=1, max_size=30))
def test_shortest_pause_and_shortest_run_are_what_they_say(
    spans: list[tuple[float, float]],
) -> None:
    runs, at_s = [], 0.0
    for off_s, on_s in spans:
        runs.append(cooling(at_s + off_s, at_s + off_s + on_s))
        at_s += off_s + on_s
    (cool,) = figures(record_of(*runs, end_s=at_s), "vessel").outputs
    assert cool.starts == len(spans)
    assert cool.shortest_run_s == pytest.approx(min(on_s for _, on_s in spans), abs=1e-6)
    if len(spans) == 1:
        assert cool.shortest_off_s is None
    else:
        pauses = [b.start_s - a.end_s for a, b in pairwise(runs) if a.end_s is not None]
        assert cool.shortest_off_s == pytest.approx(min(pauses), abs=1e-6)
    assert cool.duty_cycle == pytest.approx(sum(on for _, on in spans) / max(1.0, at_s))


@pytest.mark.parametrize(
    ("target", "beer_c", "share"),
    [
        ((), (10.0, 10.0), None),
        ((Corner(0.0, 10.0, 10.0),), (10.0, 10.5, 9.5, 10.6), 3 / 4),
        ((Corner(0.0, 18.0, 21.0),), (17.5, 19.0, 21.5, 22.0), 3 / 4),
        ((Corner(0.0, 10.0, 10.0), Corner(2 * HOUR_S, None, None)), (10.0, 12.0, 3.0), 1 / 2),
        ((Corner(0.0, 10.0, 10.0), Corner(2 * HOUR_S, 14.0, 14.0)), (10.0, 12.0, 14.0), 1.0),
    ],
    ids=["no target", "one number", "free rise", "switched off later", "along a ramp"],
)
def test_held_is_the_share_of_the_time_with_a_target_near_it(
    target: tuple[Corner, ...], beer_c: tuple[float, ...], share: float | None
) -> None:
    assert figures(record_of(target=target, beer_c=beer_c), "vessel").held_share == share


def test_a_record_that_knows_nothing_of_the_beer_is_summed_up_all_the_same() -> None:
    told = figures(record_of(cooling(0.0, 600.0), beer_c=()), "vessel")
    assert (told.coldest_c, told.warmest_c, told.held_share) == (None, None, None)
    assert "nothing is known of it" in summary(told)


def test_the_summary_has_every_figure_and_fits_a_terminal() -> None:
    told = figures(
        record_of(
            *(cooling(at * 1000.0, at * 1000.0 + 300.0) for at in range(30)),
            beer_c=(-1.1, 24.9),
            target=(Corner(0.0, 10.0, 10.0),),
        ),
        "vessel",
    )
    lines = summary(told).splitlines()
    assert lines == [
        "chamber lager: 10 h, 0 steps, 0 alarms, 0 notes",
        "beer:     -1.1 °C to 24.9 °C, within 0.5 °C of its target 0.0% of the time",
        "cooling:  30 starts, 4 in an hour at the most, 2.5 h on (25.0%)",
        "          shortest off 11 min 40 s, shortest run 5 min",
    ]
    assert max(map(len, lines)) <= 80


def test_one_of_a_kind_is_not_a_plural() -> None:
    told = figures(record_of(cooling(0.0, 600.0)), "vessel")
    one = Figures(**{**{f: getattr(told, f) for f in told.__slots__}, "steps": 1, "alarms": 1})
    assert summary(one).startswith("chamber lager: 10 h, 1 step, 1 alarm, 0 notes\n")
    assert "cooling:  1 start, 1 in an hour at the most" in summary(one)
