"""A review as lines for a terminal."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from itertools import zip_longest
from statistics import fmean
from textwrap import wrap

from fermd.control.wording import Unit, difference, span
from fermd.review import saying
from fermd.review.absences import Absence
from fermd.review.reviewing import Review

WIDTH = 80
INDENT = "  "
MOST_EXCURSIONS, MOST_DISTURBANCES, MOST_NOTES = 8, 25, 40
MOST_DAYS = 35
"""A line a day up to so many, a line a week beyond: five weeks are a long batch."""


def text(review: Review, unit: Unit = Unit.CELSIUS, width: int = WIDTH) -> str:
    """Tell a review in plain lines, none longer than `width`, which is 72 or more."""
    lines = [*_wrapped(review.title, width, ""), *_wrapped(saying.head(review), width, "")]
    for name, rows in _sections(review, unit, width):
        if rows:
            lines += ["", name, *rows]
    return "\n".join(lines)


def _sections(review: Review, unit: Unit, width: int) -> Iterable[tuple[str, list[str]]]:
    yield (
        "Beer",
        _items(
            [
                ("held", saying.held(review, unit)),
                ("range", saying.extremes(review, unit)),
                ("too warm", saying.degree_hours(review, unit)),
            ],
            width,
        ),
    )
    steps = [saying.step_cells(review, step, unit) for step in review.steps]
    yield "Steps", _table(saying.STEP_HEADS, steps, width) if steps else []
    yield (
        "Worst excursions",
        _dated(
            [
                (saying.since(review, one.start_s), saying.excursion(one, unit))
                for one in review.worst[:MOST_EXCURSIONS]
            ],
            width,
        )
        or _wrapped("none: the beer never left its band once it was there", width),
    )
    yield (
        "Disturbances",
        _dated(
            [(saying.since(review, one.start_s), one.words) for one in review.disturbances],
            width,
            MOST_DISTURBANCES,
        ),
    )
    yield (
        "Outputs",
        _items(
            [
                *(
                    (f"{one.output} ({saying.DUTIES.get(one.duty, one.duty)})", saying.output(one))
                    for one in review.outputs
                ),
                ("energy", saying.energy(review)),
            ],
            width,
        ),
    )
    yield _days(review, width)
    yield "Probes", _items(probe_words(review, unit), width)
    yield "Outages", _dated(_outages(review, unit), width)
    yield (
        "Heat of fermentation, by what cooled and warmed the beer",
        [
            line
            for words in saying.heat(review, review.heat, unit)
            for line in _wrapped(words, width)
        ],
    )
    yield (
        "Notes",
        _dated(
            [
                (
                    saying.since(review, one.at_s),
                    f"{one.words} ({one.who})" if one.who else one.words,
                )
                for one in review.notes
            ],
            width,
            MOST_NOTES,
        ),
    )


def _days(review: Review, width: int) -> tuple[str, list[str]]:
    """What each output did by day; of more days than anybody reads, by week."""
    outputs = [one for one in review.outputs if one.duty in ("cool", "heat")]
    if not outputs or not outputs[0].days:
        return "", []
    days = len(outputs[0].days)
    at_once, period = (1, "day") if days <= MOST_DAYS else (7, "week from")
    heads = (period, *(name for one in outputs for name in (one.output, "starts")))
    rows = []
    for first in range(0, days, at_once):
        cells = [outputs[0].days[first].day]
        for one in outputs:
            part = one.days[first : first + at_once]
            cells.append(saying.share(fmean(day.duty_cycle for day in part)))
            cells.append(str(sum(day.starts for day in part)))
        rows.append(tuple(cells))
    return f"Duty cycle by {period.split()[0]}", _table(heads, rows, width)


def probe_words(review: Review, unit: Unit) -> list[tuple[str, str]]:
    """How each probe did."""
    found = []
    for one in review.probes:
        place = "" if one.place == "other" else f" ({one.place})"
        words = f"{one.good_readings} readings, {one.glitches} glitches passed over"
        if one.unsteady_c is not None:
            words += f", unsteady by {difference(one.unsteady_c, unit, 3)}"
        words += (
            f"; not trusted {_times(len(one.faults))}, {one.untrusted_h:.1f} h in all"
            if one.faults
            else "; trusted throughout"
        )
        found.append((f"{one.probe}{place}", words))
    return found


_KINDS = {
    "power": "the board was off (started anew)",
    "daemon": "the daemon was away",
    "gap": "the loop stood still",
}


def _outages(review: Review, unit: Unit) -> list[tuple[str, str]]:
    return [
        (saying.since(review, one.start_s), absence_words(one, unit)) for one in review.absences
    ]


def absence_words(one: Absence, unit: Unit) -> str:
    """What an absence was, how long, and how far the beer drifted."""
    lasted = "for an unknown time" if one.lasted_s is None else f"for {span(one.lasted_s)}"
    words = f"{_KINDS[one.kind]} {lasted}"
    if one.beer_before_c is not None and one.beer_after_c is not None:
        drift = difference(one.beer_after_c - one.beer_before_c, unit, 2)
        words += f"; the beer moved by {drift}"
    return words


def text_of_all(reviews: Sequence[Review], unit: Unit = Unit.CELSIUS, width: int = WIDTH) -> str:
    """Tell several batches side by side."""
    heads, rows = saying.compared(reviews, unit)
    lines = [f"{len(reviews)} batches on the time since pitching", ""]
    for one in reviews:
        lines += _wrapped(f"{saying.name_of(one)}: {saying.head(one)}", width)
    lines += ["", *_table(heads, rows, width)]
    for one in reviews:
        if one.excursions:
            lines += ["", f"Worst excursions of {saying.name_of(one)}"]
            lines += _dated(
                [
                    (saying.since(one, each.start_s), saying.excursion(each, unit))
                    for each in one.worst[:3]
                ],
                width,
            )
    return "\n".join(lines)


def _times(number: int) -> str:
    return "once" if number == 1 else f"{number} times"


_UNIT = re.compile(r"(?<=\d) (?=(%|°C|°F|d|h|min|s|W|kWh|kJ|g|l)(?!\w))")
"""The space between a number and its unit."""


def _broken(words: str, width: int, first: str, next_ones: str) -> list[str]:
    """Lines of this width, none of which parts a number from its unit."""
    kept = _UNIT.sub("\N{NO-BREAK SPACE}", words)
    lines = wrap(kept, width, initial_indent=first, subsequent_indent=next_ones)
    return [line.replace("\N{NO-BREAK SPACE}", " ") for line in lines]


def _wrapped(words: str, width: int, indent: str = INDENT) -> list[str]:
    return _broken(words, width, indent, indent)


def _items(items: Sequence[tuple[str, str]], width: int) -> list[str]:
    told = [(name, words) for name, words in items if words]
    if not told:
        return []
    column = min(20, max(len(name) for name, _ in told)) + 2
    return [line for name, words in told for line in _hung(name, words, column, width)]


def _dated(items: Sequence[tuple[str, str]], width: int, most: int | None = None) -> list[str]:
    shown = items if most is None else items[:most]
    lines = [line for when, words in shown for line in _hung(f"{when}:".rjust(7), words, 9, width)]
    if len(shown) < len(items):
        lines += _wrapped(f"... and {len(items) - len(shown)} more (all of them: --json)", width)
    return lines


def _hung(name: str, words: str, column: int, width: int) -> list[str]:
    first = INDENT + name.ljust(column)
    return _broken(words, width, first, INDENT + " " * column)


LEAST_NAME = 12
"""The first column of a table is made no narrower than this, characters."""


def _table(heads: Sequence[str], rows: Sequence[Sequence[str]], width: int) -> list[str]:
    """Columns two spaces apart; where they are too wide, heads and names go over several lines."""
    widths = [max(map(len, column)) for column in zip(heads, *rows, strict=True)]
    if _across(widths) > width:
        columns = zip(*rows, strict=True)
        words = [max(map(len, head.split() or [""])) for head in heads]
        widths = [max(word, *map(len, cells)) for word, cells in zip(words, columns, strict=True)]
    widths[0] = min(widths[0], max(LEAST_NAME, widths[0] + width - _across(widths)))
    return [line for row in (heads, *rows) for line in _row(row, widths)]


def _across(widths: Sequence[int]) -> int:
    return len(INDENT) * len(widths) + sum(widths)


def _row(row: Sequence[str], widths: Sequence[int]) -> list[str]:
    cells = [
        wrap(cell, width, break_on_hyphens=False) or [""]
        for cell, width in zip(row, widths, strict=True)
    ]
    return [
        "".join(
            INDENT + (word.ljust(width) if place == 0 else word.rjust(width))
            for place, (word, width) in enumerate(zip(line, widths, strict=True))
        ).rstrip()
        for line in zip_longest(*cells, fillvalue="")
    ]
