"""Every profile that comes with fermd runs on the simulated chamber to its end, promises kept.

The lager with its diacetyl rest has a file of its own, `test_lager_batch.py`.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from batch_rig import DAY_S, HOUR_S, Batch, broken_promises, simulated_site

from fermd.cli.demo_batch import planned_length_s
from fermd.config.profile_file import load_profile
from fermd.control.commands import ExtendStep
from fermd.control.decision import Decision
from fermd.control.events import StepChange, StepChanged

FOLDER = Path(__file__).parents[2] / "profiles"
ELSEWHERE = "lager-diacetyl-rest"
PROFILES = sorted(path for path in FOLDER.glob("*.toml") if path.stem != ELSEWHERE)

SHORTER_S = {"lagering": -28 * DAY_S}
"""A brewer who is content after two weeks in the cold: weeks of the same show nothing new."""

SITE_BY_PROFILE = {
    # A room, a start and a heater that the profile is meant for; all else is the usual.
    "ale-free-rise": {"ambient_c": 18, "start_c": 19},
    "bottle-conditioning": {"ambient_c": 16, "start_c": 18, "original_extract_p": 0},
    "cellar-hold": {"ambient_c": 20, "start_c": 18, "original_extract_p": 0},
    "cold-crash": {"ambient_c": 18, "start_c": 19, "original_extract_p": 0},
    "dry-hop": {"ambient_c": 18, "start_c": 19},
    "kveik": {"ambient_c": 20, "start_c": 28, "heater_w": 60},
    "lagering": {"ambient_c": 10, "start_c": 6, "original_extract_p": 0},
    "saison": {"ambient_c": 20, "start_c": 20},
}


def test_every_shipped_profile_is_tried_here() -> None:
    assert [path.stem for path in PROFILES] == sorted(SITE_BY_PROFILE)


def is_at(decision: Decision, kind: str) -> bool:
    return decision.outlook is not None and decision.outlook.kind == kind


@pytest.mark.parametrize("path", PROFILES, ids=[path.stem for path in PROFILES])
def test_a_shipped_profile_comes_to_its_final_hold_with_every_promise_kept(
    tmp_path: Path, path: Path
) -> None:
    profile = load_profile(path)
    site = simulated_site(**SITE_BY_PROFILE[path.stem])
    batch = Batch(tmp_path, site)
    batch.pitch(profile)
    if path.stem in SHORTER_S:
        batch.run_until(lambda decision: is_at(decision, "soak"), within_s=20 * DAY_S)
        assert batch.ask(ExtendStep(SHORTER_S[path.stem], "brewer")).taken
    batch.run_until(
        lambda decision: is_at(decision, "final-hold"),
        # Soaks wait for the beer, and a wait step for its person: longer than planned, not much.
        within_s=1.3 * planned_length_s(profile) + DAY_S,
    )
    batch.run_for(6 * HOUR_S)
    assert batch.beer_c == pytest.approx(profile.steps[-1].target_c, abs=1.0)
    journal = batch.ends()
    entered = [step.index for step in batch.told(StepChanged) if step.change is StepChange.ENTERED]
    assert entered == list(range(len(profile.steps)))
    assert broken_promises(journal, site) == []
    assert batch.raised() <= {("waiting-for-person", "dry hop")}
