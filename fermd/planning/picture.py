"""Pictures of a plan and of its rehearsal, by matplotlib (the `pictures` extra).

As SVG, PNG or PDF by the file's ending. Colours as in the pictures of a batch
(`fermd.review.picture`), told apart by colour-blind people.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta, tzinfo
from pathlib import Path
from typing import Any, Final

from fermd.control.settings import Duty
from fermd.control.wording import Unit
from fermd.planning.outcome import Rehearsal
from fermd.planning.timeline import Corner, Segment, Timeline
from fermd.review.picture import COLOURS, ENDINGS, PictureError

_ROOM: Final = "#E69F00"
_YEAST: Final = "#CC79A7"

MOST_STEP_NAMES: Final = 14

AIR_PIECES: Final = 150
"""The air swings with every run of the compressor; finer than this only its hairs would be seen."""
_LATE: Final = 0.88
"""A step that begins later than this in the picture has its name to the left of its line."""
_LEAST_WIDTH: Final = 0.012
"""A step that takes less of the picture's width than this has no room for its name."""


def draw_plan(line: Timeline, path: Path, zone: tzinfo, unit: Unit = Unit.CELSIUS) -> None:
    """Draw target against time, with dates and steps.

    Raises:
        PictureError: matplotlib is missing, or the file cannot be written.

    """
    figure = _figure(path, 5.0)
    axes = figure.subplots()
    _target(axes, line.corners, zone, unit)
    _steps(axes, line, zone)
    span_s = (line.start_utc_s, line.corners[-1].utc_s)
    _finish(axes, span_s, zone, unit, f"{line.profile.name}: {line.lasts_s / 86400:.1f} days")
    _save(figure, path)


def draw_rehearsal(
    line: Timeline, seen: Rehearsal, path: Path, zone: tzinfo, unit: Unit = Unit.CELSIUS
) -> None:
    """Draw what a rehearsal came to: beer, air and room against the target, runs, the yeast's heat.

    Raises:
        PictureError: matplotlib is missing, or the file cannot be written.

    """
    figure = _figure(path, 7.0)
    axes, strips, yeast = figure.subplots(3, 1, sharex=True, height_ratios=(6, 1, 1.3))
    times = [_time(one.utc_s, zone) for one in seen.trace]
    _air(axes, seen, zone, unit)
    axes.plot(
        times,
        [_shown(one.room_c, unit) for one in seen.trace],
        color=_ROOM,
        linewidth=0.8,
        label="room",
    )
    corners = [Corner(one.utc_s, one.heat_c, one.cool_c) for one in seen.trace]
    _target(axes, corners, zone, unit)
    axes.plot(
        times,
        [_shown(one.beer_c, unit) for one in seen.trace],
        color=COLOURS["vessel"],
        linewidth=1.6,
        label="beer",
    )
    _steps_seen(axes, seen, zone)
    _strips(strips, seen, zone)
    yeast.fill_between(times, [one.yeast_w for one in seen.trace], color=_YEAST, linewidth=0)
    yeast.set_ylabel("yeast, W")
    yeast.set_ylim(bottom=0)
    yeast.grid(visible=True, alpha=0.3)
    title = f"Rehearsal: {line.profile.name}, {seen.lasted_s / 86400:.1f} days"
    _finish(axes, (line.start_utc_s, seen.end_utc_s), zone, unit, title)
    _dates(yeast, zone)
    axes.tick_params(labelbottom=False)
    strips.tick_params(labelbottom=False)
    _save(figure, path)


def _air(axes: Any, seen: Rehearsal, zone: tzinfo, unit: Unit) -> None:
    """The span of the air, from its coldest to its warmest in each of `AIR_PIECES`."""
    size = max(1, len(seen.trace) // AIR_PIECES)
    pieces = [seen.trace[n : n + size] for n in range(0, len(seen.trace), size)]
    axes.fill_between(
        [_time(piece[0].utc_s, zone) for piece in pieces],
        [_shown(min(one.air_lowest_c for one in piece), unit) for piece in pieces],
        [_shown(max(one.air_highest_c for one in piece), unit) for piece in pieces],
        color=COLOURS["air"],
        alpha=0.35,
        linewidth=0,
        label="air, coldest to warmest",
    )


def _figure(path: Path, height_in: float) -> Any:
    if path.suffix.lower() not in ENDINGS:
        raise PictureError(f"{path}: must end in one of {', '.join(ENDINGS)}")
    try:
        from matplotlib.figure import Figure
    except ImportError as error:
        raise PictureError(
            "pictures need matplotlib: pip install '.[pictures]' where fermd came from, or the "
            "board's package python3-matplotlib"
        ) from error
    return Figure(figsize=(11, height_in), layout="constrained")


def _save(figure: Any, path: Path) -> None:
    import warnings

    from matplotlib import rc_context

    try:
        # A brewer's own words may have what looks like mathematics, or no glyph in the font.
        with rc_context({"text.parse_math": False}), warnings.catch_warnings():
            warnings.filterwarnings("ignore", message="Glyph .* missing from")
            figure.savefig(path, dpi=120)
    except OSError as error:
        raise PictureError(f"{path}: cannot be written ({error.strerror or error})") from error


def _target(axes: Any, corners: Sequence[Corner], zone: tzinfo, unit: Unit) -> None:
    times = [_time(corner.utc_s, zone) for corner in corners]
    heat = [_shown(corner.heat_c, unit) for corner in corners]
    cool = [_shown(corner.cool_c, unit) for corner in corners]
    style = {"color": COLOURS["target"], "linewidth": 1.2, "dashes": (5, 2)}
    axes.plot(times, cool, label="target", **style)
    if any(corner.heat_c != corner.cool_c for corner in corners):
        axes.plot(times, heat, **style)
        apart = [corner.heat_c != corner.cool_c for corner in corners]
        axes.fill_between(
            times, heat, cool, where=apart, color=COLOURS["target"], alpha=0.06, linewidth=0
        )


def _steps(axes: Any, line: Timeline, zone: tzinfo) -> None:
    span_s = line.corners[-1].utc_s - line.start_utc_s
    for segment in line.segments:
        axes.axvline(_time(segment.begins_utc_s, zone), color="black", alpha=0.15, linewidth=0.8)
    named = [one for one in line.segments if _shown_s(one) >= _LEAST_WIDTH * span_s]
    if len(named) <= MOST_STEP_NAMES:
        for number, segment in enumerate(named):
            words = segment.step.name or segment.step.kind
            mark = "" if segment.begin_is_sure else "≈ "
            late = segment.begins_utc_s > line.start_utc_s + _LATE * span_s
            _name(axes, segment.begins_utc_s, mark + words, number, zone, late=late)


def _shown_s(segment: Segment) -> float:
    return segment.corners[-1].utc_s - segment.begins_utc_s


def _steps_seen(axes: Any, seen: Rehearsal, zone: tzinfo) -> None:
    for step in seen.steps:
        axes.axvline(_time(step.entered_utc_s, zone), color="black", alpha=0.15, linewidth=0.8)
    if len(seen.steps) <= MOST_STEP_NAMES:
        for number, step in enumerate(seen.steps):
            late = step.entered_utc_s > seen.start_utc_s + _LATE * seen.lasted_s
            _name(axes, step.entered_utc_s, step.name or step.kind, number, zone, late=late)
    for short in seen.shortfalls:
        if not short.on_the_way:
            axes.axvspan(
                _time(short.begins_utc_s, zone),
                _time(short.ends_utc_s, zone),
                color=COLOURS["heat"],
                alpha=0.12,
                linewidth=0,
            )


def _name(axes: Any, at_s: float, words: str, number: int, zone: tzinfo, *, late: bool) -> None:
    axes.annotate(
        words,
        (_time(at_s, zone), 1.0),
        xycoords=("data", "axes fraction"),
        xytext=(-3 if late else 3, -12 - 12 * (number % 3)),
        textcoords="offset points",
        ha="right" if late else "left",
        fontsize=8,
        alpha=0.75,
    )


def _strips(axes: Any, seen: Rehearsal, zone: tzinfo) -> None:
    words = {Duty.COOL: "cooling", Duty.HEAT: "heating", Duty.FAN: "fan"}
    rows = [use.duty for use in seen.outputs]
    for row, duty in enumerate(rows):
        spans = [
            (
                _time(run.begins_utc_s, zone),
                timedelta(seconds=run.ends_utc_s - run.begins_utc_s),
            )
            for run in seen.on_times
            if run.duty is duty
        ]
        # The edge keeps a run in the picture that is narrower than a dot of it.
        axes.broken_barh(spans, (row - 0.35, 0.7), color=COLOURS[duty.value], linewidth=0.6)
    axes.set_yticks(range(len(rows)), [words[duty] for duty in rows])
    axes.set_ylim(-0.6, max(0.6, len(rows) - 0.4))
    axes.grid(visible=True, axis="x", alpha=0.3)


def _finish(axes: Any, span_s: tuple[float, float], zone: tzinfo, unit: Unit, title: str) -> None:
    axes.set_ylabel(unit.value)
    axes.grid(visible=True, alpha=0.3)
    low, high = axes.get_ylim()
    explained = len(axes.get_legend_handles_labels()[1]) > 1
    # Room for the names of the steps, which stand at the top, and for the legend at the bottom.
    below = 0.1 * (high - low) if explained else 0.0
    axes.set_ylim(low - below, high + 0.22 * (high - low))
    if explained:
        axes.legend(loc="lower left", frameon=False, ncols=4)
    axes.set_title(title, loc="left")
    axes.set_xlim(_time(span_s[0], zone), _time(span_s[1], zone))
    _dates(axes, zone)


def _dates(axes: Any, zone: tzinfo) -> None:
    import matplotlib.dates

    dates: Any = matplotlib.dates
    # Marks at even distances: multiples of days begin anew, and crowd, with every month.
    locator = dates.AutoDateLocator(minticks=4, maxticks=10, tz=zone, interval_multiples=False)
    axes.xaxis.set_major_locator(locator)
    formatter = dates.AutoDateFormatter(locator, tz=zone)
    # By the distance of two marks in days: years, months, days, hours.
    formatter.scaled = {365.0: "%Y", 28.0: "%b %Y", 1.0: "%d %b", 1 / 24: "%d %b %H:%M"}
    axes.xaxis.set_major_formatter(formatter)


def _time(at_s: float, zone: tzinfo) -> datetime:
    return datetime.fromtimestamp(at_s, zone)


def _shown(temp_c: float, unit: Unit) -> float:
    return temp_c if unit is Unit.CELSIUS else temp_c * 9 / 5 + 32
