"""The shape of a review's JSON in words, made from the types: `json.md` is its text.

python -m fermd.review.shape > fermd/review/json.md
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from dataclasses import fields

from fermd.config.attribute_docs import attribute_docs
from fermd.review.absences import Absence, Note
from fermd.review.causes.cause import WORDS, Disturbance
from fermd.review.causes.excursions import Excursion
from fermd.review.fermentation_heat import FermentationHeat, HeatPoint
from fermd.review.holding import Holding
from fermd.review.output_figures import DayFigures, OutputFigures
from fermd.review.plain import MOMENTS, VERSION
from fermd.review.probe_figures import ProbeFault, ProbeFigures
from fermd.review.step_figures import StepFigures

PARTS: dict[str, tuple[type, str]] = {
    "holding": (Holding, "an object"),
    "steps": (StepFigures, "a list, in order"),
    "excursions": (Excursion, "a list, in order"),
    "disturbances": (Disturbance, "a list, in order"),
    "outputs": (OutputFigures, "a list"),
    "outputs[].days": (DayFigures, "a list, a day each"),
    "probes": (ProbeFigures, "a list"),
    "probes[].faults": (ProbeFault, "a list, in order"),
    "absences": (Absence, "a list, in order"),
    "notes": (Note, "a list, in order"),
    "heat": (FermentationHeat, "an object"),
    "heat.points": (HeatPoint, "a list, every three hours"),
}

PLAIN = {
    "above_limit_h": "time above the limit",
    "at_utc": "when",
    "bad_readings": "readings that failed",
    "beer_after_c": "the beer when somebody was in charge again",
    "beer_before_c": "the beer when nobody was any more",
    "begun_utc": "when the fermentation began: a fifth of its peak",
    "cause": "see Causes below",
    "coldest_at_utc": "when the vessel's probe read least",
    "coldest_c": "the least that it read",
    "cost": "energy times price; null without both",
    "duty": "`cool`, `heat` or `fan`",
    "end_utc": "its end",
    "good_readings": "readings that were good",
    "in_band_h": "time within the band",
    "in_band_share": "share of its time within the band",
    "kwh": "energy; null without watts",
    "longest_run_s": "the longest run that is over",
    "most_starts_in_an_hour": "the most starts within any 60 minutes",
    "name": "the step's name, or what was set by hand",
    "on_h": "time on",
    "output": "the output's name",
    "over_utc": "when the fermentation was over: a tenth of its peak",
    "peak_c_per_h": "the most by which the heat would warm the beer in an hour",
    "peak_utc": "when it made most heat",
    "peak_w": "the most heat",
    "probe": "the probe's name",
    "start_utc": "its start",
    "starts": "starts on that day",
    "total_kj_per_l": "all of the heat, by the litre",
    "untrusted_h": "time in which it was not trusted",
    "warmest_at_utc": "when the vessel's probe read most",
    "warmest_c": "the most that it read",
    "who": "who wrote it",
    "words": "in words",
    "worst_at_utc": "when it was furthest off",
}
"""Keys that say what they mean but for a word or two."""

_TOP = f"""\
# The JSON of a review

What `fermd review --json` prints: one review, or `{{"version": {VERSION}, "reviews": [...]}}` of
several batches. Moments are ISO 8601 in UTC under keys that end with `_utc`; every other number
has its unit in its key: `_s`, `_h`, `_c` (°C, or °C between two temperatures), `_ch` (°C h), `_w`,
`_kwh`; shares are 0 to 1. What is not known is null.

| key | meaning |
|---|---|
| `version` | of this shape: {VERSION}; counted up when a key changes its meaning or goes |
| `journal` | the file |
| `chamber` | the chamber's name |
| `batch` | number of the batch; null for another span, as are `profile` and `ended` |
| `profile` | the profile's name |
| `ended` | `finished`, `stopped`, `followed` (by the next profile) or `running` |
| `start_utc`, `end_utc`, `lasted_h` | the span; a batch starts at pitching |
| `vessel_probe`, `air_probe` | which probe is taken to be where |
"""


def shape() -> str:
    """Return the page."""
    return "\n".join(_lines()) + "\n"


def _lines() -> Iterator[str]:
    yield _TOP.rstrip()
    for name, (kind, form) in PARTS.items():
        yield f"\n## `{name}`\n\n{_capital(form)}.\n\n| key | meaning |\n|---|---|"
        docs = attribute_docs(kind)
        for field in fields(kind):
            key = field.name
            if key in MOMENTS:
                key = key.removesuffix("_s") + "_utc"
            inner = next((one for one in PARTS if one.endswith((f".{key}", f"].{key}"))), "")
            meaning = docs.get(field.name) or (f"see `{inner}`" if inner else PLAIN[key])
            yield f"| `{key}` | {meaning} |"
    yield "\n## Causes\n\n| cause | in words |\n|---|---|"
    for cause, words in WORDS.items():
        yield f"| `{cause.value}` | {words} |"


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]


if __name__ == "__main__":
    sys.stdout.write(shape())
