"""The picture of a batch: temperatures against target, what was on, and what happened.

Drawn by matplotlib (the `pictures` extra), as SVG, PNG or PDF by the file's ending. Colours are
told apart by colour-blind people (Okabe and Ito's set), and heat and cooling also by their place.
"""

from __future__ import annotations

import warnings
from dataclasses import replace
from datetime import UTC, datetime, timedelta, tzinfo
from pathlib import Path
from typing import Any

from fermd.review.record import Mark, Record

COLOURS = {
    "vessel": "#0072B2",
    "air": "#999999",
    "target": "#000000",
    "heat": "#D55E00",
    "cool": "#56B4E9",
    "fan": "#009E73",
    "alarm": "#CC79A7",
    "note": "#E69F00",
}
"""Okabe and Ito, "Color Universal Design", 2008 (from memory)."""

ENDINGS = (".svg", ".png", ".pdf")

MOST_STEP_NAMES = 14


class PictureError(RuntimeError):
    """The picture cannot be drawn or written; the text says why and what to do."""


def draw(
    record: Record, vessel_probe: str, air_probe: str | None, path: Path, zone: tzinfo = UTC
) -> None:
    """Draw a record into a file.

    Raises PictureError if matplotlib is missing or the file cannot be written.
    """
    if path.suffix.lower() not in ENDINGS:
        raise PictureError(f"{path}: must end in one of {', '.join(ENDINGS)}")
    try:
        from matplotlib import rc_context
        from matplotlib.figure import Figure
    except ImportError as error:
        raise PictureError(
            "pictures need matplotlib: pip install matplotlib, or the board's own package "
            "python3-matplotlib"
        ) from error
    figure = Figure(figsize=(11, 6), layout="constrained")
    temperatures, strips = figure.subplots(2, 1, sharex=True, height_ratios=(6, 1))
    _temperatures(temperatures, record, vessel_probe, air_probe, zone)
    _strips(strips, record, zone)
    _steps(temperatures, record, zone)
    try:
        # The record's own words may have what looks like mathematics, or no glyph in the font.
        with rc_context({"text.parse_math": False}), warnings.catch_warnings():
            warnings.filterwarnings("ignore", message="Glyph .* missing from")
            figure.savefig(path, dpi=120)
    except OSError as error:
        raise PictureError(f"{path}: cannot be written ({error.strerror or error})") from error


def _temperatures(
    axes: Any, record: Record, vessel_probe: str, air_probe: str | None, zone: tzinfo
) -> None:
    if air_probe is not None and air_probe in record.probes:
        series = record.probes[air_probe]
        times = [_time(bucket.at_s, zone) for bucket in series]
        axes.fill_between(
            times,
            [bucket.minimum_c for bucket in series],
            [bucket.maximum_c for bucket in series],
            color=COLOURS["air"],
            alpha=0.45,
            linewidth=0,
            label="air, lowest to highest",
        )
    if record.target:
        last = record.target[-1]
        corners = [*record.target, replace(last, at_s=max(last.at_s, record.end_s))]
        times = [_time(corner.at_s, zone) for corner in corners]
        style: dict[str, Any] = {"color": COLOURS["target"], "linewidth": 1.0, "dashes": (5, 2)}
        # Where there is no target there is no line.
        axes.plot(times, [_or_nan(corner.cool_c) for corner in corners], label="target", **style)
        axes.plot(times, [_or_nan(corner.heat_c) for corner in corners], **style)
    series = record.probes.get(vessel_probe, ())
    times = [_time(bucket.at_s, zone) for bucket in series]
    means = [bucket.mean_c for bucket in series]
    axes.plot(times, means, color=COLOURS["vessel"], linewidth=1.6, label="beer")
    axes.set_ylabel("°C")
    axes.grid(visible=True, alpha=0.3)
    days = (record.end_s - record.start_s) / 86400.0
    axes.set_title(f"{record.chamber}: {days:.1f} days", loc="left")


def _strips(axes: Any, record: Record, zone: tzinfo) -> None:
    rows = [duty for duty in ("cool", "heat", "fan") if any(r.duty == duty for r in record.runs)]
    words = {"cool": "cooling", "heat": "heating", "fan": "fan"}
    for row, duty in enumerate(rows):
        spans = [
            (_time(run.start_s, zone), timedelta(seconds=run.end_s - run.start_s))
            for run in record.runs
            if run.duty == duty and run.end_s is not None
        ]
        # With an edge: a run of minutes in a batch of weeks is narrower than a pixel.
        axes.broken_barh(spans, (row - 0.35, 0.7), color=COLOURS[duty], linewidth=0.6)
    axes.set_yticks(range(len(rows)), [words[duty] for duty in rows])
    axes.set_ylim(-0.6, max(0.6, len(rows) - 0.4))
    axes.xaxis_date(zone)
    axes.grid(visible=True, axis="x", alpha=0.3)


def _steps(axes: Any, record: Record, zone: tzinfo) -> None:
    steps = [mark for mark in record.marks if mark.kind == "step"]
    for number, mark in enumerate(steps):
        axes.axvline(_time(mark.at_s, zone), color="black", alpha=0.15, linewidth=0.8)
        if len(steps) <= MOST_STEP_NAMES:
            _name(axes, mark, number, zone)
    for kind in ("alarm", "note"):
        marks = [mark for mark in record.marks if mark.kind == kind]
        if not marks:
            continue
        axes.scatter(
            [_time(mark.at_s, zone) for mark in marks],
            [0.03 if kind == "alarm" else 0.07] * len(marks),
            marker="^" if kind == "alarm" else "o",
            color=COLOURS[kind],
            transform=axes.get_xaxis_transform(),
            label=f"{kind}s",
            zorder=5,
        )
    # Above the picture: inside it there is no place that never has a line.
    axes.legend(loc="lower right", frameon=False, ncols=5, bbox_to_anchor=(1.0, 1.0), fontsize=9)


def _name(axes: Any, mark: Mark, number: int, zone: tzinfo) -> None:
    axes.annotate(
        mark.text,
        (_time(mark.at_s, zone), 1.0),
        xycoords=("data", "axes fraction"),
        xytext=(3, -12 - 12 * (number % 3)),
        textcoords="offset points",
        fontsize=8,
        alpha=0.75,
    )


def _or_nan(temp_c: float | None) -> float:
    return float("nan") if temp_c is None else temp_c


def _time(at_s: float, zone: tzinfo) -> datetime:
    return datetime.fromtimestamp(at_s, zone)
