"""Where a review goes: the terminal, JSON, a page, a picture."""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path

import click

from fermd.cli.exits import Failure
from fermd.cli.screen import clean, on_terminal, say, show_json
from fermd.control.wording import Unit
from fermd.review.as_page import page as one_page
from fermd.review.as_page import page_of_all
from fermd.review.as_text import WIDTH, text, text_of_all
from fermd.review.overlay_chart import together
from fermd.review.plain import plain, plain_of_all
from fermd.review.reviewing import Review
from fermd.review.temperature_chart import temperatures

ENDINGS = (".svg", ".png", ".pdf")


def show_reviews(
    reviews: Sequence[Review],
    unit: Unit,
    *,
    page: Path | None,
    picture: Path | None,
    as_json: bool,
) -> None:
    """Write what was asked for; without a file or JSON, the text."""
    if picture is not None and picture.suffix.lower() not in ENDINGS:
        raise click.UsageError(f"--picture {picture}: must end in one of {', '.join(ENDINGS)}")
    if page is not None:
        _write(
            page, one_page(reviews[0], unit) if len(reviews) == 1 else page_of_all(reviews, unit)
        )
        say(f"page: {page}")
    if picture is not None:
        _draw(reviews, picture, unit)
        say(f"picture: {picture}")
    if as_json:
        show_json(plain(reviews[0]) if len(reviews) == 1 else plain_of_all(reviews))
    elif page is None and picture is None:
        width = _width()
        told = (
            text(reviews[0], unit, width)
            if len(reviews) == 1
            else text_of_all(reviews, unit, width)
        )
        for line in told.splitlines():
            print(clean(line))


def _width() -> int:
    return max(72, min(100, os.get_terminal_size().columns)) if on_terminal() else WIDTH


def _draw(reviews: Sequence[Review], picture: Path, unit: Unit) -> None:
    if picture.suffix.lower() == ".svg":
        drawing = temperatures(reviews[0], unit) if len(reviews) == 1 else together(reviews, unit)
        _write(picture, drawing.svg(alone=True) + "\n")
        return
    from fermd.review.picture import PictureError
    from fermd.review.picture_of_review import draw_reviews

    try:
        draw_reviews(reviews, picture, unit)
    except PictureError as error:
        raise Failure(
            str(error), os.EX_UNAVAILABLE if "matplotlib" in str(error) else os.EX_CANTCREAT
        ) from error


def _write(path: Path, words: str) -> None:
    try:
        path.write_text(words, encoding="utf-8")
    except OSError as error:
        raise Failure(
            f"{path}: cannot be written ({error.strerror or error}); name another place",
            os.EX_CANTCREAT,
        ) from error
