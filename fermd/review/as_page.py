"""A review as one HTML file that needs nothing else: no script, no network, no font.

Light or dark by the reader's setting, for a desk, a phone and paper.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape

from fermd.control.wording import Unit, difference, span, temperature
from fermd.review import charts, saying
from fermd.review.absences import Absence
from fermd.review.as_text import absence_words, probe_words
from fermd.review.reviewing import Review
from fermd.review.svg import STYLE, Drawing

_PAGE = """
*{box-sizing:border-box}
body{margin:0;background:var(--ground);color:var(--ink);font:16px/1.5 system-ui,sans-serif}
main{max-width:1024px;margin:0 auto;padding:1.2rem 1rem 3rem}
header{border-top:6px solid var(--beer);padding-top:.8rem;margin-bottom:1.2rem}
h1{font-size:1.6rem;line-height:1.2;margin:0 0 .3rem}
h2{font-size:1.05rem;margin:2rem 0 .6rem;letter-spacing:.01em}
p{margin:.3rem 0}.soft{color:var(--soft)}
.tiles{display:grid;grid-template-columns:repeat(auto-fit,minmax(210px,1fr));
gap:.7rem;margin:1rem 0}
.tile{background:var(--card);border:1px solid var(--line);border-radius:6px;padding:.6rem .8rem}
.tile b{display:block;font-size:1.35rem;line-height:1.25;font-variant-numeric:tabular-nums}
.tile span{color:var(--soft);font-size:.85rem;display:block;line-height:1.3}
figure{margin:.8rem 0;background:var(--card);border:1px solid var(--line);border-radius:6px;
padding:.4rem}
figcaption{color:var(--soft);font-size:.85rem;padding:.2rem .4rem .3rem}
.key{display:inline-block;margin-right:.9em}
.key i{display:inline-block;width:1.5em;height:.7em;margin-right:.35em;vertical-align:-.02em}
.key i.dashed{height:0;vertical-align:.25em;background:none!important;border-top:2px dashed}
.narrow{display:none!important}
.scroll{overflow-x:auto}
table{border-collapse:collapse;width:100%;font-size:.92rem;font-variant-numeric:tabular-nums}
th{color:var(--soft);font-weight:500;text-align:right;padding:.25rem .6rem;
border-bottom:1px solid var(--line)}
td{text-align:right;padding:.3rem .6rem;border-bottom:1px solid var(--line);white-space:nowrap}
th:first-child,td:first-child{text-align:left;padding-left:0;white-space:normal}
dl{display:grid;grid-template-columns:minmax(5.5rem,max-content) 1fr;gap:.35rem 1rem;margin:0}
dt{color:var(--soft);font-variant-numeric:tabular-nums}dd{margin:0;overflow-wrap:anywhere}
.paper{display:none}details summary{cursor:pointer;color:var(--soft)}
footer{margin-top:2.5rem;color:var(--soft);font-size:.85rem;
border-top:1px solid var(--line);padding-top:.6rem}
@media (max-width:620px){.wide{display:none!important}.narrow{display:block!important}
main{padding:.8rem .7rem 2rem}h1{font-size:1.3rem}
.tiles{grid-template-columns:1fr 1fr}
th,td{padding:.3rem .35rem;white-space:normal}
.many,.many tbody,.many tr,.many td{display:block}.many tr:first-child{display:none}
.many tr{padding:.4rem 0;border-bottom:1px solid var(--line)}
.many td{display:flex;justify-content:space-between;border:0;padding:.05rem 0}
.many td:not(:first-child)::before{content:attr(data-head);color:var(--soft)}
.many td:first-child{font-weight:600}
dl{grid-template-columns:1fr;gap:.1rem}dt{margin-top:.5rem}dd{margin-left:0}}
@media print{body{font-size:10.5pt}main{max-width:none;padding:0}.tile,figure{break-inside:avoid}
.narrow{display:none!important}.wide{display:block!important}h2{break-after:avoid}
details{display:none}.paper{display:block;margin-top:.35rem}.scroll{overflow:visible}}
"""


def page(review: Review, unit: Unit = Unit.CELSIUS) -> str:
    """The page of one review."""
    parts = [
        _head(review.title, saying.head(review)),
        _tiles(_figures(review, unit)),
        _figure(
            [charts.temperatures(review, unit, width) for width in _WIDTHS],
            _caption(review),
        ),
        _section("What took the beer out of its band", _excursions(review, unit)),
        _section("What disturbed the chamber", _disturbances(review)),
        _section("Steps", _steps(review, unit)),
        _section("Heat of fermentation", _heat(review)),
        _section("Outputs", _outputs(review)),
        _section("Probes", _listed(probe_words(review, unit))),
        _section("Outages", _listed(_outages(review, review.absences, unit))),
        _section("Notes", _listed(_notes(review))),
    ]
    return _document(f"{review.title}: review", parts, review)


_WIDTHS = (charts.WIDE, charts.NARROW)


def _document(title: str, parts: Iterable[str], review: Review) -> str:
    body = "".join(parts)
    span_words = saying.clock(review, review.course.end_s, "%d %b %Y %H:%M")
    return (
        '<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width,initial-scale=1">\n'
        '<meta name="color-scheme" content="light dark">\n'
        f"<title>{escape(title)}</title>\n<style>{STYLE}{_PAGE}</style>\n</head>\n"
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
    tiles.append((str(len(review.excursions)), "excursions out of the band"))
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
            else f"{24.0 * (heat.peak_c_per_h or 0.0):.1f} °C a day"
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
    keys = [
        _key("beer", "beer"),
        _key("air", "air, lowest to highest"),
        _key("target", "target"),
    ]
    keys += [
        _key(duty, saying.DUTIES[duty])
        for duty in ("cool", "heat", "fan")
        if review.course.runs_of(duty)
    ]
    if review.disturbances:
        keys.append(_key("alert", "disturbance"))
    if review.notes:
        keys.append(_key("warm", "note"))
    return "".join(keys)


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


def _heat(review: Review) -> str:
    told = [words[0].upper() + words[1:] + "." for words in saying.heat(review, review.heat)]
    said = "".join(f"<p>{escape(words)}</p>" for words in told)
    caption = (
        "Seen through heat alone: from how much the beer was cooled and warmed, and what leaked in."
    )
    return _figure([charts.heat(review, width) for width in _WIDTHS], caption) + said


def _outputs(review: Review) -> str:
    items = [
        (f"{one.output} ({saying.DUTIES.get(one.duty, one.duty)})", saying.output(one))
        for one in review.outputs
    ]
    items.append(("energy", saying.energy(review)))
    keys = "".join(
        _key(one.duty, one.output) for one in review.outputs if one.duty in ("cool", "heat")
    )
    return _listed(items) + _figure([charts.duty_by_day(review, width) for width in _WIDTHS], keys)


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
        + _figure([charts.temperatures(one, unit, width) for width in _WIDTHS], _caption(one))
        + _disturbances(one)
        + "</section>"
        for one in reviews
    )
    parts = [
        _head(
            f"{len(reviews)} batches compared", "Laid over each other on the time since pitching."
        ),
        _figure([charts.together(reviews, unit, width) for width in _WIDTHS], keys),
        _section("Figures", _table(heads, rows)),
        each,
    ]
    return _document(f"{len(reviews)} batches compared", parts, reviews[0])
