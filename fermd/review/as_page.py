"""A review as one HTML file that needs nothing else: no script, no network, no font.

Light or dark by the reader's setting, for a desk, a phone and paper.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape

from fermd.control.wording import Unit, difference, span, temperature
from fermd.review import saying
from fermd.review.absences import Absence
from fermd.review.as_text import absence_words, probe_words
from fermd.review.chart_columns import NARROW, WIDE
from fermd.review.effort_charts import duty_by_day, heat_over_time
from fermd.review.overlay_chart import together
from fermd.review.page_style import PAGE_STYLE
from fermd.review.reviewing import Review
from fermd.review.svg import STYLE, Drawing
from fermd.review.temperature_chart import meanings, temperatures


def page(review: Review, unit: Unit = Unit.CELSIUS) -> str:
    """The page of one review."""
    parts = [
        _head(review.title, saying.head(review)),
        _tiles(_figures(review, unit)),
        _figure(
            [temperatures(review, unit, width) for width in _WIDTHS],
            _caption(review),
        ),
        _section("What took the beer out of its band", _excursions(review, unit)),
        _section("What disturbed the chamber", _disturbances(review)),
        _section("Steps", _steps(review, unit)),
        _section("Heat of fermentation", _heat(review, unit)),
        _section("Outputs", _outputs(review)),
        _section("Probes", _listed(probe_words(review, unit))),
        _section("Outages", _listed(_outages(review, review.absences, unit))),
        _section("Notes", _listed(_notes(review))),
    ]
    return _document(f"{review.title}: review", parts, review)


_WIDTHS = (WIDE, NARROW)


def _document(title: str, parts: Iterable[str], review: Review) -> str:
    body = "".join(parts)
    span_words = saying.clock(review, review.course.end_s, "%d %b %Y %H:%M")
    return (
        '<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width,initial-scale=1">\n'
        '<meta name="color-scheme" content="light dark">\n'
        f"<title>{escape(title)}</title>\n<style>{STYLE}{PAGE_STYLE}</style>\n</head>\n"
        f'<body class="fr">\n<main>\n{body}\n<footer>From the journal '
        f"{escape(review.journal.name)} up to {escape(span_words)}. Times are those of "
        f"{escape(str(review.wishes.zone))}; hours count from the start. Causes are what the "
        "journal shows, and may be wrong.</footer>\n</main>\n</body>\n</html>\n"
    )


def _head(title: str, words: str) -> str:
    return f'<header><h1>{escape(title)}</h1><p class="soft">{escape(words)}</p></header>'


def _figures(review: Review, unit: Unit) -> list[tuple[str, str]]:
    holding, heat = review.holding, review.heat
    tiles = [
        (
            saying.share(holding.in_band_share, 1),
            f"of the time within {difference(holding.band_c, unit)}",
        )
    ]
    if holding.coldest_c is not None and holding.warmest_c is not None:
        low, high = temperature(holding.coldest_c, unit), temperature(holding.warmest_c, unit)
        both = f"{low.removesuffix(' ' + unit.value)} to {high}".replace("-", "−")
        tiles.append((both, "coldest and warmest beer"))
    of_beer = sum(not one.of_the_probe for one in review.excursions)
    tiles.append((str(of_beer), "excursions out of the band"))
    for one in review.outputs:
        if one.duty == "cool":
            tiles.append((f"{one.on_h:.0f} h", f"{one.output} on, {one.starts} starts"))
            if one.shortest_off_s is not None:
                tiles.append((span(one.shortest_off_s), f"shortest pause of {one.output}"))
    told = [one.kwh for one in review.outputs if one.kwh is not None]
    if told:
        cost = [one.cost for one in review.outputs if one.cost is not None]
        words = "energy" + (f", cost {sum(cost):.2f}" if cost else "")
        tiles.append((f"{sum(told):.1f} kWh", words))
    if holding.above_limit_ch is not None and holding.limit_c is not None:
        tiles.append(
            (
                f"{difference(holding.above_limit_ch, unit)} h",
                f"above {temperature(holding.limit_c, unit)}",
            )
        )
    if not heat.why:
        peak = (
            f"{heat.peak_w:.1f} W"
            if heat.peak_w is not None
            else f"{difference(24.0 * (heat.peak_c_per_h or 0.0), unit)} a day"
        )
        tiles.append(
            (peak, f"peak of fermentation, about {saying.since(review, heat.peak_s or 0.0)}")
        )
    return tiles


def _tiles(tiles: Iterable[tuple[str, str]]) -> str:
    inner = "".join(
        f'<div class="tile"><b>{escape(value)}</b><span>{escape(words)}</span></div>'
        for value, words in tiles
    )
    return f'<div class="tiles">{inner}</div>'


def _figure(drawings: Sequence[Drawing | None], caption: str) -> str:
    shown = [one for one in drawings if one is not None]
    if not shown:
        return ""
    kinds = ("wide", "narrow")
    svgs = "".join(one.svg(kind=kind) for one, kind in zip(shown, kinds, strict=False))
    return f"<figure>{svgs}<figcaption>{caption}</figcaption></figure>"


def _key(kind: str, words: str) -> str:
    dashed = ' class="dashed"' if kind == "target" else ""
    swatch = f'<i{dashed} style="background:var(--{kind});border-color:var(--{kind})"></i>'
    return f'<span class="key">{swatch}{escape(words)}</span> '


def _caption(review: Review) -> str:
    # The colour of a note is that of warmth.
    return "".join(
        _key("warm" if kind == "note" else kind, words) for kind, words in meanings(review)
    )


def _section(name: str, inner: str) -> str:
    return f"<section><h2>{escape(name)}</h2>{inner}</section>" if inner else ""


def _listed(items: Iterable[tuple[str, str]]) -> str:
    inner = "".join(f"<dt>{escape(name)}</dt><dd>{escape(words)}</dd>" for name, words in items)
    return f"<dl>{inner}</dl>" if inner else ""


def _when(review: Review, at_s: float) -> str:
    return f"{saying.since(review, at_s)}, {saying.clock(review, at_s)}"


MOST_LISTED = 12


def _folded(items: Sequence[tuple[str, str]]) -> str:
    """The first ones, and the rest behind a fold."""
    inner = _listed(items[:MOST_LISTED])
    rest = items[MOST_LISTED:]
    if rest:
        more = _listed(rest)
        inner += f"<details><summary>{len(rest)} more</summary>{more}</details>"
        # Paper cannot be unfolded.
        inner += f'<div class="paper">{more}</div>'
    return inner


def _excursions(review: Review, unit: Unit) -> str:
    if not review.excursions:
        return "<p>Nothing: once it was in its band, the beer never left it.</p>"
    return _folded(
        [(_when(review, one.start_s), saying.excursion(one, unit)) for one in review.worst]
    )


def _disturbances(review: Review) -> str:
    return _folded([(_when(review, one.start_s), one.words) for one in review.disturbances])


def _steps(review: Review, unit: Unit) -> str:
    rows = [saying.step_cells(review, one, unit) for one in review.steps]
    return _table(saying.STEP_HEADS, rows) if rows else ""


MOST_BESIDE = 4
"""More columns than these do not go beside each other on a phone."""


def _table(heads: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    head = "".join(f"<th>{escape(one)}</th>" for one in heads)
    body = "".join(
        "<tr>"
        + "".join(
            # On a phone each row is a card of its own, and says what each cell is.
            f'<td data-head="{escape(name, quote=True)}">{escape(cell)}</td>'
            for name, cell in zip(heads, row, strict=True)
        )
        + "</tr>"
        for row in rows
    )
    kind = ' class="many"' if len(heads) > MOST_BESIDE else ""
    return f'<div class="scroll"><table{kind}><tr>{head}</tr>{body}</table></div>'


def _heat(review: Review, unit: Unit) -> str:
    said_so = saying.heat(review, review.heat, unit)
    told = [words[0].upper() + words[1:] + "." for words in said_so]
    said = "".join(f"<p>{escape(words)}</p>" for words in told)
    caption = (
        "Seen through heat alone: from how much the beer was cooled and warmed, and what leaked in."
    )
    return _figure([heat_over_time(review, unit, width) for width in _WIDTHS], caption) + said


def _outputs(review: Review) -> str:
    items = [
        (f"{one.output} ({saying.DUTIES.get(one.duty, one.duty)})", saying.output(one))
        for one in review.outputs
    ]
    items.append(("energy", saying.energy(review)))
    keys = "".join(
        _key(one.duty, one.output) for one in review.outputs if one.duty in ("cool", "heat")
    )
    return _listed(items) + _figure([duty_by_day(review, width) for width in _WIDTHS], keys)


def _outages(review: Review, found: Sequence[Absence], unit: Unit) -> list[tuple[str, str]]:
    return [(_when(review, one.start_s), absence_words(one, unit)) for one in found]


def _notes(review: Review) -> list[tuple[str, str]]:
    return [
        (_when(review, one.at_s), f"{one.words} ({one.who})" if one.who else one.words)
        for one in review.notes
    ]


def page_of_all(reviews: Sequence[Review], unit: Unit = Unit.CELSIUS) -> str:
    """The page of several batches, laid over each other."""
    colours = ("beer", "b2", "b3", "b4", "b5")
    keys = "".join(
        _key(colour, saying.name_of(one)) for one, colour in zip(reviews, colours, strict=False)
    )
    heads, rows = saying.compared(reviews, unit)
    each = "".join(
        f"<section><h2>{escape(saying.name_of(one))}</h2>"
        f'<p class="soft">{escape(saying.head(one))}</p>'
        + _figure([temperatures(one, unit, width) for width in _WIDTHS], _caption(one))
        + _disturbances(one)
        + "</section>"
        for one in reviews
    )
    parts = [
        _head(
            f"{len(reviews)} batches compared", "Laid over each other on the time since pitching."
        ),
        _figure([together(reviews, unit, width) for width in _WIDTHS], keys),
        _section("Figures", _table(heads, rows)),
        each,
    ]
    return _document(f"{len(reviews)} batches compared", parts, reviews[0])
