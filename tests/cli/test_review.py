"""`fermd review` from a terminal: what it shows, writes and refuses."""

from __future__ import annotations

import json
import os
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest
from cli_rig import run

from fermd.control.events import (
    OutputChanged,
    ProfileChange,
    ProfileChanged,
    StepChange,
    StepChanged,
    TargetChanged,
    TrustChanged,
)
from fermd.control.moment import Moment
from fermd.control.reasons import Reason, Rule
from fermd.control.settings import Duty
from fermd.journal.ports import ReadingRow
from fermd.journal.settings import JournalSettings
from fermd.journal.writer import SqliteJournal
from fermd.review.shape import shape

START_S = 1_790_000_000.0
HOURS = 30
"""Of each batch; the fridge runs for the first quarter of every hour."""


@pytest.fixture(scope="module")
def journal(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two batches at 10 °C, one after the other, read once a minute."""
    path = tmp_path_factory.mktemp("review") / "journal.db"
    settings = JournalSettings(batch_s=3600.0, linger_s=0.0, most_rows_in_memory=100_000)
    record = SqliteJournal(path, boot_id="b", moment=_moment(0), version="test", settings=settings)
    record.events(_moment(1), "lager", [TrustChanged("beer", True), TrustChanged("air", True)])
    for number, name in enumerate(("pils", "bock")):
        from_s = number * HOURS * 3600 + 60
        _batch(record, name, from_s)
    record.events(
        _moment(2 * HOURS * 3600), "lager", [ProfileChanged("bock", ProfileChange.FINISHED)]
    )
    record.close(_moment(2 * HOURS * 3600 + 60), cleanly=True)
    return path


def _batch(record: SqliteJournal, name: str, from_s: int) -> None:
    record.events(
        _moment(from_s),
        "lager",
        [
            ProfileChanged(name, ProfileChange.STARTED),
            StepChanged(name, 0, "hold", "cold", StepChange.ENTERED, 0.0),
            TargetChanged(10.0, 10.0, "profile"),
        ],
    )
    if name == "bock":
        record.note(_moment(from_s + 600), "lager", "eva", "pitched <4> & stirred")
    for second in range(from_s, from_s + HOURS * 3600 - 60, 60):
        in_hour = (second - from_s) % 3600
        on = in_hour < 900
        beer_c = 10.0 + 0.1 * (1 if on else -1)
        air_c = 4.0 if on else 11.0
        record.readings(
            [
                ReadingRow(_moment(second), "lager", "beer", beer_c, None),
                ReadingRow(_moment(second), "lager", "air", air_c, None),
            ]
        )
        if in_hour in (0, 900):
            why = Reason(Rule.ABOVE_BAND if on else Rule.WITHIN_BAND, beer_c, 10.0)
            change = OutputChanged(Duty.COOL, "fridge", "sim:1", on, (why,))
            record.events(_moment(second), "lager", [change])
        if second % 36_000 == 0:
            record.flush()


def _moment(at_s: float) -> Moment:
    return Moment(float(at_s), START_S + at_s, wall_trusted=True)


def test_the_newest_batch_is_reviewed_unless_told_otherwise(journal: Path) -> None:
    shown = run("review", "--journal", str(journal), "--json")
    assert shown.code == os.EX_OK
    told = json.loads(shown.out)
    assert (told["batch"], told["profile"], told["ended"]) == (2, "bock", "finished")
    assert (told["vessel_probe"], told["air_probe"]) == ("beer", "air")
    # By construction: a quarter of every hour, one start an hour, three quarters of an hour off.
    (fridge,) = told["outputs"]
    assert fridge["starts"] == HOURS
    assert fridge["on_h"] == pytest.approx(HOURS / 4, abs=0.05)
    assert fridge["duty_cycle"] == pytest.approx(0.25, abs=0.01)
    assert fridge["shortest_off_s"] == 2700.0
    assert fridge["kwh"] is None
    assert told["holding"]["in_band_share"] == 1.0


def test_energy_is_what_the_watts_and_the_hours_make_and_never_a_guess(journal: Path) -> None:
    asked = ("review", "--journal", str(journal), "--watts", "fridge=80")
    told = json.loads(run(*asked, "--price-per-kwh", "0.5", "--json").out)
    (fridge,) = told["outputs"]
    assert fridge["kwh"] == pytest.approx(fridge["on_h"] * 0.08, abs=1e-3)
    assert fridge["cost"] == pytest.approx(fridge["kwh"] / 2, abs=1e-3)
    assert "the journal has no watts" in run("review", "--journal", str(journal)).out


def test_a_batch_is_found_by_its_number_and_several_lie_side_by_side(journal: Path) -> None:
    first = json.loads(run("review", "--journal", str(journal), "--batch", "1", "--json").out)
    assert (first["profile"], first["ended"]) == ("pils", "followed")
    both = run("review", "--journal", str(journal), "--batch", "1", "--batch", "2", "--json")
    assert [one["batch"] for one in json.loads(both.out)["reviews"]] == [1, 2]
    beside = run("review", "--journal", str(journal), "--batch", "1", "--batch", "2").out
    assert "batch 1 batch 2" in " ".join(beside.split())


def test_the_list_tells_every_batch_with_its_number(journal: Path) -> None:
    listed = json.loads(run("review", "--journal", str(journal), "--list", "--json").out)
    assert [(one["batch"], one["profile"]) for one in listed] == [(1, "pils"), (2, "bock")]


def test_degree_hours_count_what_lies_above_the_limit(journal: Path) -> None:
    """A quarter of each hour the beer is 0.1 °C above 10 °C: 0.025 °C h an hour."""
    told = json.loads(run("review", "--journal", str(journal), "--limit", "10", "--json").out)
    assert told["holding"]["above_limit_ch"] == pytest.approx(0.025 * HOURS, rel=0.03)


def test_the_page_is_one_file_that_asks_for_nothing(journal: Path, tmp_path: Path) -> None:
    page = tmp_path / "batch.html"
    shown = run("review", "--journal", str(journal), "--html", str(page))
    assert shown.code == os.EX_OK
    text = page.read_text(encoding="utf-8")
    assert "<script" not in text
    assert "src=" not in text
    assert "http" not in text.replace("http://www.w3.org", "")
    assert "prefers-color-scheme:dark" in text
    # What the brewer wrote is shown as it was written.
    assert "pitched &lt;4&gt; &amp; stirred" in text


@pytest.mark.parametrize("batches", [("2",), ("1", "2")])
def test_a_picture_of_svg_is_a_whole_document(
    journal: Path, tmp_path: Path, batches: tuple[str, ...]
) -> None:
    picture = tmp_path / "batch.svg"
    chosen = [word for number in batches for word in ("--batch", number)]
    assert run("review", "--journal", str(journal), *chosen, "--picture", str(picture)).code == 0
    root = ET.fromstring(picture.read_text(encoding="utf-8"))  # noqa: S314 - our own file
    assert root.tag == "{http://www.w3.org/2000/svg}svg"


@pytest.mark.parametrize("batches", [("2",), ("1", "2")])
def test_a_picture_of_png_is_one(journal: Path, tmp_path: Path, batches: tuple[str, ...]) -> None:
    picture = tmp_path / "batch.png"
    chosen = [word for number in batches for word in ("--batch", number)]
    assert run("review", "--journal", str(journal), *chosen, "--picture", str(picture)).code == 0
    # The signature of the format: PNG specification (W3C, third edition), sec. 5.2.
    assert picture.read_bytes()[:8] == b"\x89PNG\r\n\x1a\n"


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (("--batch", "9"), os.EX_USAGE, "there are 1 to 2"),
        (("--batch", "1", "--from", "2026-01-01"), os.EX_USAGE, "not both"),
        (("--from", "yesterday"), os.EX_USAGE, "2026-03-06T18:00"),
        (("--to", "2001-01-01"), os.EX_USAGE, "nothing of"),
        (("--chamber", "cellar"), os.EX_USAGE, "there are lager"),
        (("--watts", "fridge"), os.EX_USAGE, "fridge=90"),
        (("--watts", "oven=90"), os.EX_USAGE, "there are fridge"),
        (("--watts", "fridge=nan"), os.EX_USAGE, "0 to 100000"),
        (("--vessel-probe", "room"), os.EX_USAGE, "there are beer, air"),
        (("--picture", "batch.gif"), os.EX_USAGE, ".svg, .png, .pdf"),
        (("--html", "no/such/folder.html"), os.EX_CANTCREAT, "name another place"),
        (("--journal", "none.db"), os.EX_NOINPUT, "there is no journal"),
        (("--batch", "1") * 6, os.EX_USAGE, "at most 5"),
    ],
)
def test_what_cannot_be_reviewed_is_said_in_one_line(
    journal: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    words: tuple[str, ...],
    code: int,
    said: str,
) -> None:
    asked = words if "--journal" in words else ("--journal", str(journal), *words)
    monkeypatch.chdir(tmp_path)
    shown = run("review", *asked)
    assert shown.code == code
    assert said in shown.err
    assert "Traceback" not in shown.err


def test_a_file_that_is_no_journal_is_refused_and_left_as_it_is(tmp_path: Path) -> None:
    other = tmp_path / "other.db"
    other.write_bytes(b"no database " * 100)
    shown = run("review", "--journal", str(other))
    assert shown.code == os.EX_IOERR
    assert shown.err.count("\n") == 1
    assert other.read_bytes() == b"no database " * 100


def test_a_journal_is_only_read(journal: Path) -> None:
    before = journal.read_bytes()
    run("review", "--journal", str(journal))
    assert journal.read_bytes() == before


def test_every_key_of_the_json_is_on_its_page_and_the_page_is_made_from_the_types(
    journal: Path,
) -> None:
    page = (Path(shape.__code__.co_filename).with_name("json.md")).read_text(encoding="utf-8")
    assert page == shape()
    told = json.loads(run("review", "--journal", str(journal), "--json").out)

    def keys(value: object) -> set[str]:
        if isinstance(value, dict):
            return set(value) | {key for inner in value.values() for key in keys(inner)}
        if isinstance(value, list):
            return {key for inner in value for key in keys(inner)}
        return set()

    assert [key for key in sorted(keys(told)) if f"`{key}`" not in page] == []
