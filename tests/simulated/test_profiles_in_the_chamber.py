"""Every profile that comes with fermd runs on the simulated chamber to its end, promises kept.

The lager with its diacetyl rest has a file of its own, `test_lager_batch.py`.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from batch_rig import DAY_S, HOUR_S, PERIOD_S, Batch, broken_promises, simulated_site

from fermd.cli.demo_batch import WITHOUT_END, planned_length_s
from fermd.config.profile_file import load_profile
from fermd.control.commands import ExtendStep
from fermd.control.decision import Decision
from fermd.control.events import StepChange, StepChanged
from fermd.control.steps import FinalHold, Hold, Profile, Soak

FOLDER = Path(__file__).parents[2] / "profiles"
ELSEWHERE = "lager-diacetyl-rest"
PROFILES = sorted(path for path in FOLDER.glob("*.toml") if path.stem != ELSEWHERE)

LONG_ENOUGH_S = 5 * DAY_S
"""A brewer who is content after so long in one hold: more weeks of it show nothing new."""

SITE_BY_PROFILE = {
    # A room, a start and a beer that the profile is meant for; all else is the usual.
    "bottle-conditioning": {"ambient_c": 16, "start_c": 18, "original_extract_p": 0},
    "cellar-by-season": {"ambient_c": 20, "start_c": 14, "original_extract_p": 0},
    "cellar-hold": {"ambient_c": 20, "start_c": 18, "original_extract_p": 0},
    "cold-crash": {"ambient_c": 18, "start_c": 19, "original_extract_p": 0},
    "kveik": {"ambient_c": 20, "start_c": 28, "heater_w": 60},
    "lagering": {"ambient_c": 10, "start_c": 6, "original_extract_p": 0},
    "saison": {"ambient_c": 20, "start_c": 20},
}
ALE = {"ambient_c": 18, "start_c": 19}


class Progress:
    """Follows a batch to the last step, and shortens what lasts for weeks."""

    def __init__(self, batch: Batch, profile: Profile) -> None:
        self._batch = batch
        self._profile = profile
        self._seen = -1

    def is_at_the_end(self, decision: Decision) -> bool:
        shown = decision.outlook
        if shown is None:
            return False
        if shown.index != self._seen:
            self._seen = shown.index
            step = self._profile.steps[shown.index]
            if isinstance(step, Hold | Soak) and step.for_s > LONG_ENOUGH_S:
                shorter = ExtendStep(LONG_ENOUGH_S - step.for_s, "brewer")
                assert self._batch.ask(shorter).taken
        return shown.kind in WITHOUT_END


@pytest.mark.parametrize("path", PROFILES, ids=[path.stem for path in PROFILES])
def test_a_shipped_profile_comes_to_its_end_with_every_promise_kept(
    tmp_path: Path, path: Path
) -> None:
    profile = load_profile(path)
    site = simulated_site(**SITE_BY_PROFILE.get(path.stem, ALE))
    batch = Batch(tmp_path, site)
    batch.pitch(profile)
    # Soaks wait for the beer, a wait for its person, a time of the calendar for its day.
    longest_s = 1.3 * planned_length_s(profile) + 8 * DAY_S
    batch.run_until(Progress(batch, profile).is_at_the_end, within_s=longest_s)
    decision = batch.run_for(12 * HOUR_S)
    last = profile.steps[-1]
    assert decision.target is not None
    assert batch.beer_c == pytest.approx(decision.target.cool_c, abs=1.0)
    if isinstance(last, FinalHold):
        assert decision.target.cool_c == last.target_c
    journal = batch.ends()
    entered = [step.index for step in batch.told(StepChanged) if step.change is StepChange.ENTERED]
    assert entered == list(range(len(profile.steps)))
    assert broken_promises(journal, site) == []
    assert batch.raised() <= {("waiting-for-person", "dry hop")}


def test_a_profile_that_waits_for_its_brewer_waits_and_says_so(tmp_path: Path) -> None:
    site = simulated_site(**ALE)
    batch = Batch(tmp_path, site, confirms=False)
    profile = load_profile(FOLDER / "dry-hop.toml")
    batch.pitch(profile)
    batch.run_until(
        lambda decision: decision.outlook is not None and decision.outlook.kind == "wait",
        within_s=8 * DAY_S,
    )
    began_s = batch.passed_s
    decision = batch.run_for(DAY_S)
    assert decision.outlook is not None
    assert decision.outlook.kind == "wait"
    assert decision.outlook.elapsed_s == pytest.approx(batch.passed_s - began_s, abs=2 * PERIOD_S)
    assert batch.raised() == {("waiting-for-person", "dry hop")}
    assert batch.beer_c == pytest.approx(15.0, abs=0.8)
    assert broken_promises(batch.ends(), site) == []
