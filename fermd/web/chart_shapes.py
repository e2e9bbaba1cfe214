"""The shapes of answers for the chart: a span of the record, and where things are heading."""

from __future__ import annotations

from typing import Literal

from fermd.web.shapes import Answer


class Buckets(Answer):
    """A probe's readings, one entry a bucket; null is a gap."""

    mean_c: list[float | None]
    min_c: list[float | None]
    max_c: list[float | None]


class TargetCurve(Answer):
    """The target in the middle of each bucket; null where the chamber was off, or yet to come."""

    heat_c: list[float | None]
    cool_c: list[float | None]


class Band(Answer):
    """The edges that calls began at, in the middle of each bucket, °C.

    They lie as far from the target as at the last start of each side; null where no start of the
    day before tells it.
    """

    heat_c: list[float | None]
    cool_c: list[float | None]


class Runs(Answer):
    """The runs of one output."""

    duty: str
    spans: list[tuple[float, float | None]]
    """From and to (POSIX, s), cut to the span; no end: it runs on."""


class Mark(Answer):
    """Something that happened, for a mark in the chart."""

    utc_s: float
    kind: Literal[
        "step", "step-change", "profile", "alarm-raised", "alarm-cleared", "note", "outage",
        "clock-step",
    ]  # fmt: skip
    seq: int
    words: str


class Curves(Answer):
    """A span of a chamber's record."""

    chamber: str
    from_utc_s: float
    """Where the first bucket begins."""
    bucket_s: float
    count: int
    probes: dict[str, Buckets]
    vessel: str
    """The name of the probe that is the vessel's ..."""
    air: str | None
    watching: list[str]
    target: TargetCurve
    band: Band
    target_changes: list[tuple[float, float | None, float | None]]
    """When it was set (POSIX, s), to what heat_c and cool_c."""
    runs: dict[str, Runs]
    marks: list[Mark]


class Next(Answer):
    """What comes next and when."""

    words: str
    kind: Literal["step", "planned-start", "nothing"]
    at_utc_s: float | None
    at_is_sure: bool
    """Whether the time follows from the plan alone; else it is an estimate."""


class StepAhead(Answer):
    """A step that runs or is still to come."""

    step: int
    """From 1."""
    kind: str
    name: str
    begins_utc_s: float
    begins_is_sure: bool
    ends_utc_s: float | None
    ends_is_sure: bool
    to_c: float
    """The target that it leaves behind, °C."""


class Forecast(Answer):
    """Where a chamber is heading."""

    made_utc_s: float
    target: list[tuple[float, float, float]]
    """Corners of the target's line: when (POSIX, s), heat_c, cool_c; straight in between."""
    beer: list[tuple[float, float]]
    """The beer's way by the thermal model: when, °C."""
    steps: list[StepAhead]
    is_sure: bool
    assumed: list[str]
    """What was taken for want of better, each as a sentence."""
    next: Next
