"""The picture of a review as PNG or PDF, by matplotlib (the `pictures` extra)."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from fermd.control.wording import Unit
from fermd.review import saying
from fermd.review.chart_columns import columns, shown
from fermd.review.picture import PictureError, draw
from fermd.review.record import BUCKETS, Bucket, Mark, Record
from fermd.review.reviewing import Review
from fermd.review.target_track import cut


def draw_reviews(reviews: Sequence[Review], path: Path, unit: Unit = Unit.CELSIUS) -> None:
    """Draw one review, or several laid over each other, into a file.

    Raises PictureError if matplotlib is missing or the file cannot be written.
    """
    if len(reviews) > 1:
        _draw_together(reviews, path, unit)
        return
    course = reviews[0].course
    record = record_of(reviews[0])
    draw(record, course.roles.vessel, course.roles.air, path, reviews[0].wishes.zone)


def record_of(review: Review) -> Record:
    """A review as the record that the batch's picture is drawn from."""
    course = review.course
    return Record(
        course.chamber,
        course.start_s,
        course.end_s,
        _buckets(review),
        tuple(run for run in course.runs if course.start_s <= run.start_s <= course.end_s),
        cut(course.target, course.start_s, course.end_s),
        tuple(
            sorted(
                [
                    *(Mark(one.start_s, "step", one.name) for one in review.steps),
                    *(Mark(one.start_s, "alarm", one.words) for one in review.disturbances),
                    *(Mark(one.at_s, "note", one.words) for one in review.notes),
                ],
                key=lambda mark: mark.at_s,
            )
        ),
    )


def _buckets(review: Review) -> dict[str, tuple[Bucket, ...]]:
    course = review.course
    probes = dict(course.probes)
    if review.beer is not None:
        probes[course.roles.vessel] = review.beer
    found = {
        name: columns(series, course.start_s, course.end_s, BUCKETS)
        for name, series in probes.items()
    }
    return {
        name: tuple(Bucket(one.at_s, one.low_c, one.mean_c, one.high_c) for one in each)
        for name, each in found.items()
    }


def _draw_together(reviews: Sequence[Review], path: Path, unit: Unit) -> None:
    try:
        from matplotlib import rc_context
        from matplotlib.figure import Figure
    except ImportError as error:
        raise PictureError(
            "pictures need matplotlib: pip install matplotlib, or the board's own package "
            "python3-matplotlib; .svg needs none"
        ) from error
    figure = Figure(figsize=(11, 5), layout="constrained")
    axes = figure.subplots()
    for one in reviews:
        course = one.course
        if one.beer is None:
            continue
        found = columns(one.beer, course.start_s, course.end_s, BUCKETS)
        axes.plot(
            [(each.at_s - course.start_s) / 86400.0 for each in found],
            [shown(each.mean_c, unit) for each in found],
            label=saying.name_of(one),
        )
    axes.set_xlabel("days since pitching")
    axes.set_ylabel(unit.value)
    axes.grid(visible=True, alpha=0.3)
    axes.legend(frameon=False)
    try:
        with rc_context({"text.parse_math": False}):
            figure.savefig(path, dpi=120)
    except OSError as error:
        raise PictureError(f"{path}: cannot be written ({error.strerror or error})") from error
