"""Pictures of a batch are files that open, and a picture that cannot be drawn is told clearly."""

from __future__ import annotations

import builtins
import struct
import zlib
from collections.abc import Sequence
from pathlib import Path
from typing import Any
from xml.etree import ElementTree
from zoneinfo import ZoneInfo

import pytest
from journal_tale import Tale

from fermd.control.events import StepChange, StepChanged, TargetChanged
from fermd.review.picture import COLOURS, ENDINGS, PictureError, draw
from fermd.review.record import Record, read_record

VIENNA = ZoneInfo("Europe/Vienna")


@pytest.fixture(scope="module")
def record(tmp_path_factory: pytest.TempPathFactory) -> Record:
    tale = Tale(tmp_path_factory.mktemp("tale") / "journal.db")
    tale.tell(StepChanged("lager", 0, "hold", "pitch", StepChange.ENTERED, 0.0))
    tale.tell(TargetChanged(10.0, 10.0, "profile"))
    tale.passes(1000.0)
    tale.runs("fridge", 200.0)
    tale.tell(TargetChanged(None, None, "off"))
    tale.passes(900.0)
    tale.runs("belt", 200.0)
    tale.tell(TargetChanged(18.0, 21.0, "hand"))
    tale.journal.note(tale.now, "lager", "Ann", "a pinch of salt, 5 $ and $x^2$ 🍺")
    tale.tell(StepChanged("lager", 1, "hold", "5 $ of $\\frac{hops 🍺", StepChange.ENTERED, 0.0))
    tale.alarm("no-effect", "fridge")
    tale.passes(900.0)
    return read_record(tale.ends(), "lager")


def texts(path: Path) -> str:
    return path.read_text(encoding="utf-8")


def test_a_vector_picture_is_well_formed_and_shows_every_series(
    record: Record, tmp_path: Path
) -> None:
    path = tmp_path / "batch.svg"
    draw(record, "vessel", "air", path, VIENNA)
    root = ElementTree.fromstring(texts(path))  # noqa: S314 - our own file
    assert root.tag == "{http://www.w3.org/2000/svg}svg"
    drawn = texts(path).lower()
    for shown in ("vessel", "air", "target", "cool", "heat", "alarm", "note"):
        assert COLOURS[shown].lower() in drawn, shown


def test_a_pixel_picture_is_whole_and_not_blank(record: Record, tmp_path: Path) -> None:
    path = tmp_path / "batch.png"
    draw(record, "vessel", "air", path)
    width, height, rows = pixels(path.read_bytes())
    assert width >= 800
    assert height >= 400
    assert len(set(rows)) > 100


def pixels(png: bytes) -> tuple[int, int, Sequence[bytes]]:
    """Width, height and the (filtered) rows of a PNG, with its checksums looked at (RFC 2083)."""
    assert png[:8] == b"\x89PNG\r\n\x1a\n"
    at, packed, head = 8, b"", b""
    while at < len(png):
        (length,) = struct.unpack(">I", png[at : at + 4])
        kind, data = png[at + 4 : at + 8], png[at + 8 : at + 8 + length]
        (checksum,) = struct.unpack(">I", png[at + 8 + length : at + 12 + length])
        assert zlib.crc32(kind + data) == checksum
        head = data if kind == b"IHDR" else head
        packed += data if kind == b"IDAT" else b""
        at += 12 + length
    width, height = struct.unpack(">II", head[:8])
    raw = zlib.decompress(packed)
    step = len(raw) // height
    return width, height, [raw[row * step : (row + 1) * step] for row in range(height)]


def test_a_page_is_a_pdf(record: Record, tmp_path: Path) -> None:
    path = tmp_path / "batch.pdf"
    draw(record, "vessel", None, path)
    assert path.read_bytes().startswith(b"%PDF-")
    assert b"%%EOF" in path.read_bytes()[-32:]


def test_where_there_is_no_target_no_line_is_drawn(record: Record, tmp_path: Path) -> None:
    """Switched off for a quarter of an hour: the dashes stop, and go on at another height."""
    import matplotlib.figure

    from fermd.review import picture

    figure = matplotlib.figure.Figure()
    axes = figure.subplots()
    picture._temperatures(axes, record, "vessel", "air", VIENNA)
    dashed = [line for line in axes.get_lines() if line.get_label() == "target"]
    values = list(dashed[0].get_ydata())
    assert any(value != value for value in values)
    assert {value for value in values if value == value} == {10.0, 21.0}


def test_a_record_of_nothing_but_readings_of_the_air_can_be_drawn(
    record: Record, tmp_path: Path
) -> None:
    bare = Record("lager", 0.0, 100.0, {"air": record.probes["air"]}, (), (), ())
    draw(bare, "vessel", "air", tmp_path / "bare.svg")
    ElementTree.fromstring(texts(tmp_path / "bare.svg"))  # noqa: S314 - our own file


@pytest.mark.parametrize("name", ["batch", "batch.gif", "batch.svg.gz", ".svg"])
def test_another_ending_is_refused_with_those_that_there_are(
    record: Record, tmp_path: Path, name: str
) -> None:
    with pytest.raises(PictureError, match=r"must end in one of \.svg, \.png, \.pdf"):
        draw(record, "vessel", "air", tmp_path / name)
    assert ENDINGS == (".svg", ".png", ".pdf")
    assert list(tmp_path.iterdir()) == []


def test_a_place_that_cannot_be_written_is_told_with_its_cause(
    record: Record, tmp_path: Path
) -> None:
    with pytest.raises(PictureError, match=r"cannot be written.*No such file or directory"):
        draw(record, "vessel", "air", tmp_path / "nowhere" / "batch.svg")


def test_without_matplotlib_the_remedy_is_told(
    record: Record, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = builtins.__import__

    def without(name: str, *args: Any, **more: Any) -> Any:
        if name.split(".")[0] == "matplotlib":
            raise ImportError(name)
        return real(name, *args, **more)

    monkeypatch.setattr(builtins, "__import__", without)
    with pytest.raises(PictureError, match="pip install matplotlib"):
        draw(record, "vessel", "air", tmp_path / "batch.svg")
