"""The page of every alarm: what it means, what fermd does, what to check, what to beware of."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Final

from fermd.control.alarms import AlarmKind

FOLDER: Final = Path(__file__).with_name("alarms")

SECTIONS: Final = (
    "What it means",
    "What fermd does",
    "What to do",
    "Likely causes",
    "What to check first",
    "Cautions",
)
"""What every page has, in this order."""


@dataclass(frozen=True, slots=True)
class Page:
    """One alarm's page."""

    kind: AlarmKind
    text: str
    """All of it, as Markdown."""
    fermd_does: str
    """Its short form for a message: what fermd does ..."""
    to_do: str
    """... and what a person should do."""


@cache
def page(kind: AlarmKind) -> Page:
    """Return an alarm's page."""
    text = (FOLDER / f"{kind.value}.md").read_text(encoding="utf-8")
    return Page(
        kind, text, _first_paragraph(text, SECTIONS[1]), _first_paragraph(text, SECTIONS[2])
    )


def _first_paragraph(text: str, section: str) -> str:
    _, _, rest = text.partition(f"\n## {section}\n")
    return " ".join(rest.strip().split("\n\n")[0].split())
