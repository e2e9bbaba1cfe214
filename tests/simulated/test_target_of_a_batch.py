"""The track of the target that a record tells is the one that the loop ran by."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import pytest
from batch_rig import DAY_S, HOUR_S, PERIOD_S, Batch, simulated_site

from fermd.control.commands import (
    Command,
    PauseProfile,
    ResumeProfile,
    SetTarget,
    SkipStep,
    StopProfile,
    SwitchOff,
)
from fermd.control.steps import FinalHold, FreeRise, Hold, Profile, Ramp

PROFILE = Profile(
    "up and down",
    (
        Hold(12.0, 6 * HOUR_S),
        Ramp(14.0, 4.0),
        Ramp(11.0, 6.0),
        Hold(11.0, 6 * HOUR_S),
        FreeRise(11.0, 16.0, 6 * HOUR_S),
        FinalHold(10.0),
    ),
)

ASKED: list[Sequence[tuple[float, Command]]] = [
    (),
    ((10 * HOUR_S, PauseProfile()), (16 * HOUR_S, ResumeProfile())),
    ((10 * HOUR_S, SetTarget(9.0)), (16 * HOUR_S, ResumeProfile())),
    ((10 * HOUR_S, SkipStep()),),
    ((10 * HOUR_S, SwitchOff()), (16 * HOUR_S, ResumeProfile())),
    ((10 * HOUR_S, StopProfile()),),
]


@pytest.mark.parametrize(
    "asked", ASKED, ids=[" ".join(type(c).__name__ for _, c in a) or "nothing" for a in ASKED]
)
def test_the_track_is_what_the_loop_ran_by_or_not_known(
    tmp_path: Path, asked: Sequence[tuple[float, Command]]
) -> None:
    batch = Batch(tmp_path, simulated_site(ambient_c=14, start_c=12))
    batch.pitch(PROFILE)
    began_s = batch.passed_s
    waiting = list(asked)
    ran_by: list[tuple[float, tuple[float, float] | None]] = []
    while batch.passed_s < began_s + 2 * DAY_S:
        if waiting and batch.passed_s - began_s >= waiting[0][0]:
            batch.loop.requests.ask("lager", waiting.pop(0)[1])
        at_s = batch.clock.true_utc_s
        target = batch.tick().target
        ran_by.append((at_s, None if target is None else (target.heat_c, target.cool_c)))
    batch.ends()
    record = batch.record()
    told = [(record.target_at(at_s + 0.5), target) for at_s, target in ran_by]
    known = [(seen, target) for seen, target in told if seen is not None]
    # Of a ramp, as much as it moves in a sample period or two.
    near_c = 3 * PERIOD_S * 6.0 / DAY_S
    assert all(target is not None for _, target in known)
    for seen, target in known:
        assert seen == pytest.approx(target, abs=near_c)
    # What is not known is no more than the ramp that was broken off, and what was off.
    assert len(known) > (0.98 if not asked else 0.6) * len(told)
