"""Fermentation seen through heat alone, held against what the simulated yeast truly made.

The yeast's heat is that of Gee and Ramirez (tests/published/test_heat_of_fermentation.py); the
estimate knows nothing of it. More plants: heat_of_lagers.py.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from heat_of_lagers import GOAL, PLANTS, Told, live

from fermd.physics.fermentation import Batch, FermentationModel


@pytest.fixture(scope="module")
def taped(tmp_path_factory: pytest.TempPathFactory) -> Told:
    """The hardest of the usual ones: the probe on the vessel's wall sees some of the air."""
    return live(PLANTS["taped"], tmp_path_factory.mktemp("taped"))


def test_the_heat_of_a_whole_lager_is_found_within_its_goal(taped: Told) -> None:
    assert taped.heat.why == ""
    assert taped.ratio == pytest.approx(1.0, abs=GOAL)
    # What it says of its own error covers the truth.
    assert abs(taped.ratio - 1.0) <= taped.heat.total_error_c / taped.heat.total_c


def test_the_peak_is_found_within_a_day_and_a_quarter_of_its_height(taped: Told) -> None:
    found_h = (taped.heat.peak_s - taped.start_s) / 3600.0
    assert found_h == pytest.approx(taped.true_peak_h, abs=24.0)
    assert taped.heat.peak_w == pytest.approx(taped.true_peak_w, rel=0.25)


def test_the_heat_belongs_to_the_sugar_that_the_wort_had(taped: Told) -> None:
    """A lager of 12 °P that ferments to 2.5 °P: the model's own total, over 20 l."""
    whole_kj = FermentationModel(Batch()).total_heat_j / 1e3
    assert taped.true_kj == pytest.approx(whole_kj, rel=0.03)
    assert taped.heat.total_kj == pytest.approx(whole_kj, rel=GOAL)


def test_beer_that_is_done_shows_no_fermentation(tmp_path: Path) -> None:
    """Water through the same profile."""
    plant = replace(PLANTS["usual"], trial={"original_extract_p": 0})
    told = live(plant, tmp_path)
    assert told.heat.why or told.heat.total_kj < 0.15 * 1083.0
