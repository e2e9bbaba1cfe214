"""A review as plain values, for JSON. The shape is described in README.md of this folder.

Moments are ISO 8601 in UTC under keys that end with `_utc`; all other numbers have their unit in
the key: `_s`, `_h`, `_c` (°C), `_ch` (°C h), `_w`, `_kwh`. What is not known is null.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import fields, is_dataclass
from datetime import UTC, datetime
from enum import Enum
from typing import Any

from fermd.review.batches import Batch
from fermd.review.reviewing import Review

MOMENTS = frozenset(
    {
        "start_s",
        "end_s",
        "at_s",
        "worst_at_s",
        "coldest_at_s",
        "warmest_at_s",
        "begun_s",
        "peak_s",
        "over_s",
        "quiet_from_s",
    }
)
"""Fields that are moments; what else ends with `_s` is a span of time."""

VERSION = 1
"""Of the shape: counted up when a key changes its meaning or goes."""


def plain(review: Review) -> dict[str, Any]:
    """Return a review as JSON can have it."""
    course = review.course
    return {
        "version": VERSION,
        "journal": str(review.journal),
        "chamber": course.chamber,
        "batch": None if review.batch is None else review.batch.number,
        "profile": None if review.batch is None else review.batch.profile,
        "ended": None if review.batch is None else review.batch.ended.value,
        "start_utc": _moment(course.start_s),
        "end_utc": _moment(course.end_s),
        "lasted_h": _number(course.lasted_s / 3600.0),
        "vessel_probe": course.roles.vessel,
        "air_probe": course.roles.air,
        **{
            name: _plain(getattr(review, name))
            for name in (
                "holding",
                "steps",
                "excursions",
                "disturbances",
                "outputs",
                "probes",
                "absences",
                "notes",
                "heat",
            )
        },
    }


def batch_plain(batch: Batch) -> dict[str, Any]:
    """Return a batch as JSON can have it."""
    return {
        "batch": batch.number,
        "chamber": batch.chamber,
        "profile": batch.profile,
        "start_utc": _moment(batch.start_s),
        "end_utc": _moment(batch.end_s),
        "ended": batch.ended.value,
    }


def plain_of_all(reviews: Sequence[Review]) -> dict[str, Any]:
    """Return several reviews as one value."""
    return {"version": VERSION, "reviews": [plain(one) for one in reviews]}


def _plain(value: Any) -> Any:
    if is_dataclass(value):
        found = {}
        for field in fields(value):
            inner = getattr(value, field.name)
            if field.name in MOMENTS:
                found[field.name.removesuffix("_s") + "_utc"] = _moment(inner)
            else:
                found[field.name] = _plain(inner)
        return found
    if isinstance(value, Enum):
        return value.value
    if isinstance(value, tuple | list):
        return [_plain(one) for one in value]
    return _number(value) if isinstance(value, float) else value


def _number(value: float) -> float | None:
    return round(value, 4) if math.isfinite(value) else None


def _moment(at_s: float | None) -> str | None:
    if at_s is None:
        return None
    try:
        return datetime.fromtimestamp(round(at_s), UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
    except (OverflowError, ValueError, OSError):
        return None
