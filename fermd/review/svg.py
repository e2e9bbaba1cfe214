"""A small drawing surface: shapes and axes as SVG text, coloured by classes.

The pictures are made here and not by a library, so that a review needs nothing but fermd, and so
that one picture can be light or dark, wide or narrow. Classes are those of `STYLE`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from datetime import datetime, timedelta, tzinfo
from html import escape
from math import ceil, floor, log10

STYLE = """
.fr{--ink:#1d2a2f;--soft:#5b6b72;--line:#c9d2d4;--ground:#fbfaf6;--card:#ffffff;
--beer:#0f5c8c;--air:#8f9ba0;--target:#1d2a2f;--cool:#2f8fc4;--heat:#c8501e;--fan:#2e8b6b;
--alert:#a8326e;--warm:#b77a00;--warmfill:#e6b54a;--b2:#b0540b;--b3:#2e8b6b;--b4:#8a4fa3;--b5:#6b6b00}
@media (prefers-color-scheme:dark){.fr{--ink:#e6ecee;--soft:#9fb0b6;--line:#36454b;
--ground:#12191c;--card:#192226;--beer:#6cb8ea;--air:#7d8b91;--target:#e6ecee;--cool:#56b4e9;
--heat:#f0834f;--fan:#57c39b;--alert:#ee88bb;--warm:#f0bf55;--warmfill:#8a6a1c;--b2:#f0a860;
--b3:#57c39b;--b4:#c99be0;--b5:#c9c957}}
@media print{.fr{--ink:#000;--soft:#444;--line:#bbb;--ground:#fff;--card:#fff;--beer:#0f5c8c;
--air:#8f9ba0;--target:#000;--cool:#2f8fc4;--heat:#c8501e;--fan:#2e8b6b;--alert:#a8326e;
--warm:#b77a00;--warmfill:#e6b54a;--b2:#b0540b;--b3:#2e8b6b;--b4:#8a4fa3;--b5:#6b6b00}}
.fr svg,svg.fr{display:block;width:100%;height:auto;font:12px system-ui,sans-serif}
.fr text{fill:var(--soft)}.fr text.strong{fill:var(--ink)}
.fr .grid{stroke:var(--line);stroke-width:1}.fr .edge{stroke:var(--soft);stroke-width:1;fill:none}
.fr .beer,.fr .b1{stroke:var(--beer);stroke-width:1.8;fill:none;stroke-linejoin:round}
.fr .b2{stroke:var(--b2);stroke-width:1.8;fill:none}
.fr .b3{stroke:var(--b3);stroke-width:1.8;fill:none}
.fr .b4{stroke:var(--b4);stroke-width:1.8;fill:none}
.fr .b5{stroke:var(--b5);stroke-width:1.8;fill:none}
.fr .beerfill{fill:var(--beer);opacity:.18}.fr .air{fill:var(--air);opacity:.45}
.fr .target{stroke:var(--target);stroke-width:1.2;fill:none;stroke-dasharray:6 3}
.fr .thin{stroke-width:1.1;stroke-dasharray:6 3;opacity:.75}
.fr .cool{fill:var(--cool)}.fr .heat{fill:var(--heat)}.fr .fan{fill:var(--fan)}
.fr .alert{fill:var(--alert)}.fr .alertband{fill:var(--alert);opacity:.13}
.fr .note{fill:var(--warm)}.fr .warm{stroke:var(--warm);stroke-width:2;fill:none}
.fr .warmfill{fill:var(--warmfill);opacity:.4}
"""


class Drawing:
    """Shapes in the order in which they are laid down; `width` and `height` in CSS pixels."""

    def __init__(self, width: int, height: int, title: str, description: str = "") -> None:
        self.width, self.height = width, height
        self._title, self._description = title, description
        self._parts: list[str] = []
        self.key: list[tuple[str, str]] = []
        """What the classes mean, for a picture without a page around it: class and words."""

    def line(self, x1: float, y1: float, x2: float, y2: float, kind: str) -> None:
        """A straight line."""
        self._parts.append(
            f'<line x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}" class="{kind}"/>'
        )

    def path(self, points: Iterable[tuple[float, float] | None], kind: str) -> None:
        """A line through points; None breaks it."""
        words: list[str] = []
        pen = "M"
        for point in points:
            if point is None:
                pen = "M"
                continue
            words.append(f"{pen}{point[0]:.1f} {point[1]:.1f}")
            pen = "L"
        if words:
            self._parts.append(f'<path d="{"".join(words)}" class="{kind}"/>')

    def area(
        self, upper: Sequence[tuple[float, float]], lower: Sequence[tuple[float, float]], kind: str
    ) -> None:
        """What lies between two lines."""
        points = [*upper, *reversed(lower)]
        if len(points) > 2:
            words = "L".join(f"{x:.1f} {y:.1f}" for x, y in points)
            self._parts.append(f'<path d="M{words}Z" class="{kind}"/>')

    def bars(self, spans: Iterable[tuple[float, float]], y: float, high: float, kind: str) -> None:
        """Bars along one row, none narrower than a pixel that can be seen."""
        words = "".join(
            f"M{x1:.1f} {y:.1f}h{max(0.8, x2 - x1):.1f}v{high:.1f}h-{max(0.8, x2 - x1):.1f}z"
            for x1, x2 in spans
        )
        if words:
            self._parts.append(f'<path d="{words}" class="{kind}"/>')

    def box(self, x: float, y: float, wide: float, high: float, kind: str, told: str = "") -> None:
        """A rectangle, with words for who points at it."""
        inner = f"<title>{escape(told)}</title>" if told else ""
        self._parts.append(
            f'<rect x="{x:.1f}" y="{y:.1f}" width="{max(0.0, wide):.1f}" '
            f'height="{max(0.0, high):.1f}" class="{kind}">{inner}</rect>'
        )

    def mark(self, x: float, y: float, kind: str, told: str) -> None:
        """A small triangle with words for who points at it."""
        self._parts.append(
            f'<path d="M{x - 5:.1f} {y:.1f}h10l-5 -9z" class="{kind}">'
            f"<title>{escape(told)}</title></path>"
        )

    def text(self, x: float, y: float, words: str, anchor: str = "start", kind: str = "") -> None:
        """Words; `anchor` is start, middle or end."""
        styled = f' class="{kind}"' if kind else ""
        self._parts.append(
            f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}"{styled}>{escape(words)}</text>'
        )

    def _head(self, onto: Drawing) -> None:
        """What the page would say: the title, what it is of, and what the colours mean."""
        onto.text(12, 20 - _HEADING, self._title, kind="strong")
        onto.text(12, 37 - _HEADING, self._description)
        x, y = 12.0, 56 - _HEADING
        for kind, words in self.key:
            if kind in _FILLED:
                onto.box(x, y - 9, 18, 10, kind)
            elif kind in _MARKS:
                onto.mark(x + 9, y, kind, "")
            else:
                onto.line(x, y - 4, x + 18, y - 4, kind)
            onto.text(x + 23, y, words)
            x += 23 + _LETTER * len(words) + 18

    def svg(self, *, alone: bool = False, kind: str = "") -> str:
        """The picture; `alone` as a file of its own."""
        head = ' xmlns="http://www.w3.org/2000/svg"' if alone else ""
        style = f"<style>{STYLE}</style>" if alone else ""
        top, ground = 0, ""
        if alone:
            heading = Drawing(self.width, _HEADING, "")
            self._head(heading)
            top = -_HEADING
            ground = (
                f'<rect y="{top}" width="{self.width}" height="{self.height - top}" '
                'style="fill:var(--card)"/>' + "".join(heading._parts)
            )
        classes = " ".join(filter(None, ("fr" if alone else "", kind)))
        given = f' class="{classes}"' if classes else ""
        return (
            f'<svg{head}{given} viewBox="0 {top} {self.width} {self.height - top}" role="img" '
            f'aria-label="{escape(self._title, quote=True)}">'
            f"<title>{escape(self._title)}</title><desc>{escape(self._description)}</desc>"
            f"{style}{ground}{''.join(self._parts)}</svg>"
        )


_FILLED = ("air", "cool", "heat", "fan")
_MARKS = ("alert", "note")

_HEADING = 66
"""Room for the heading of a picture that stands alone, CSS pixels."""

_LETTER = 6.4
"""Width of a letter, CSS pixels: about, since the fonts of others are not known."""

Scale = Callable[[float], float]


def scale(low: float, high: float, first: float, last: float) -> Scale:
    """From values between `low` and `high` to places between `first` and `last`."""
    by = (last - first) / ((high - low) or 1.0)
    return lambda value: first + (value - low) * by


def ticks(low: float, high: float, most: int) -> list[float]:
    """Round values between two, no more than `most`."""
    span = max(high - low, 1e-9)
    raw = span / max(1, most)
    power = 10.0 ** floor(log10(raw))
    step = next(each * power for each in (1, 2, 5, 10) if each * power >= raw)
    first = ceil(low / step - 1e-9)
    return [step * number for number in range(first, floor(high / step + 1e-9) + 1)]


def ticks_label(value: float) -> str:
    """A value at an axis, with a proper minus."""
    return f"{value:g}".replace("-", "−")


_STEPS_H = (1, 3, 6, 12)


def time_ticks(start_s: float, end_s: float, zone: tzinfo, most: int) -> list[tuple[float, str]]:
    """Moments at even distances of the brewer's calendar, with their words."""
    lasted_h = (end_s - start_s) / 3600.0
    day = datetime.fromtimestamp(start_s, zone).replace(hour=0, minute=0, second=0, microsecond=0)
    for step_h in _STEPS_H:
        if lasted_h / step_h <= most:
            moments = [day + timedelta(hours=step_h * n) for n in range(int(48 + lasted_h) + 1)]
            return [
                (at.timestamp(), at.strftime("%d %b" if at.hour == 0 else "%H:%M"))
                for at in moments
                if start_s <= at.timestamp() <= end_s
            ]
    step_days = max(1, ceil(lasted_h / 24.0 / most))
    moments = [day + timedelta(days=n) for n in range(0, int(lasted_h / 24.0) + 2, step_days)]
    return [
        (at.timestamp(), at.strftime("%d %b").lstrip("0"))
        for at in moments
        if start_s <= at.timestamp() <= end_s
    ]
