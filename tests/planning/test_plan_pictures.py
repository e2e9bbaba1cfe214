"""Pictures of plans and rehearsals: as text for a terminal, and as files."""

from __future__ import annotations

import importlib.util
import re
from pathlib import Path

import pytest
from plans import MARCH_S, VIENNA, line_of, plan, shipped

from fermd.control.settings import DAY_S
from fermd.control.steps import FinalHold, FreeRise, Hold, Profile, Ramp
from fermd.control.wording import Unit
from fermd.planning.chart import HEIGHT, WIDTH, chart
from fermd.planning.picture import draw_plan, draw_rehearsal
from fermd.planning.rehearsal import QUICK_PERIOD_S, rehearse
from fermd.planning.timeline import timeline
from fermd.review.picture import PictureError

CRASH = Profile("a $crash$ in _Wien_ 🍺", (Hold(20.0, 2 * DAY_S), Ramp(2.0, 9.0), FinalHold(2.0)))


def rows(profile: Profile, unit: Unit = Unit.CELSIUS) -> list[str]:
    line = timeline(profile, MARCH_S, 20.0, VIENNA, {0: DAY_S})
    return chart(line.corners, VIENNA, unit)


def test_a_text_chart_fits_a_page_and_shows_the_line_from_its_top_to_its_bottom() -> None:
    drawn = rows(CRASH)
    assert len(drawn) == HEIGHT + 2
    assert max(map(len, drawn)) <= 80
    assert drawn[0].startswith(" 20.0 °C ┤•••")
    assert drawn[HEIGHT - 1].startswith("  2.0 °C ┤")
    assert drawn[HEIGHT - 1].endswith("•")
    columns = [
        column
        for column in range(WIDTH)
        if any(len(row) > 10 + column and row[10 + column] == "•" for row in drawn[:HEIGHT])
    ]
    assert columns == list(range(WIDTH))
    assert "07 Mar" in drawn[-1]


def test_a_text_chart_is_shown_in_fahrenheit_too() -> None:
    assert rows(CRASH, Unit.FAHRENHEIT)[0].startswith(" 68.0 °F ┤")


def test_a_free_rise_has_its_floor_and_ceiling_and_a_flat_line_is_a_line() -> None:
    rise = "\n".join(rows(Profile("rise", (FreeRise(18.0, 21.0, DAY_S), FinalHold(21.0)))))
    assert "‾‾‾" in rise
    assert "___" in rise
    flat = rows(Profile("flat", (FinalHold(12.0),)))
    assert sum("•" in row for row in flat) == 1


def test_the_days_under_a_long_chart_do_not_run_into_each_other() -> None:
    dates = rows(Profile("long", (Hold(12.0, 300 * DAY_S), FinalHold(12.0))))[-1]
    assert re.fullmatch(r"( +\d\d [A-Z][a-z]{2})+", dates)


@pytest.mark.parametrize("ending", [".svg", ".png", ".pdf"])
def test_a_plan_is_drawn_by_the_files_ending(tmp_path: Path, ending: str) -> None:
    path = tmp_path / f"plan{ending}"
    draw_plan(timeline(CRASH, MARCH_S, 20.0, VIENNA), path, VIENNA)
    magic = {".svg": b"<?xml", ".png": b"\x89PNG", ".pdf": b"%PDF"}[ending]
    assert path.read_bytes().startswith(magic)


def test_a_rehearsal_is_drawn_with_what_did_not_keep_up(tmp_path: Path) -> None:
    one = plan(shipped("ale-free-rise"), room=33.0, cooler_w=50.0)
    seen = rehearse(one, period_s=QUICK_PERIOD_S)
    assert any(not short.on_the_way for short in seen.shortfalls)
    path = tmp_path / "rehearsal.svg"
    draw_rehearsal(line_of(one), seen, path, VIENNA, Unit.FAHRENHEIT)
    drawn = path.read_text()
    for word in ("cold crash", "beer", "room", "cooling", "heating", "°F", "yeast, W"):
        assert f"<!-- {word} -->" in drawn


def test_a_picture_that_cannot_be_written_is_one_clear_error(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    line = timeline(CRASH, MARCH_S, 20.0, VIENNA)
    with pytest.raises(PictureError, match="must end in one of"):
        draw_plan(line, tmp_path / "plan.gif", VIENNA)
    with pytest.raises(PictureError, match="cannot be written"):
        draw_plan(line, tmp_path / "no" / "plan.svg", VIENNA)
    monkeypatch.setitem(__import__("sys").modules, "matplotlib.figure", None)
    assert importlib.util.find_spec("matplotlib") is not None
    with pytest.raises(PictureError, match="pip install"):
        draw_plan(line, tmp_path / "plan.svg", VIENNA)
