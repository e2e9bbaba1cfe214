"""Some bad input of each territory; `fuzz.py` fires as much of it as there is time for."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import firing
import pytest
import saved
import territories
from firing import fire, replay
from hypothesis import strategies as st
from territory import Territory, Verdict
from twins import Twins

from fermd.control.commands import Command, SetTarget
from fermd.hardware import w1_frame
from fermd.service.requests import Request

USUAL = {
    "sysfs": 200,
    "times": 300,
    "site-files": 200,
    "profiles": 150,
    "documents": 200,
    "arguments": 100,
    "journals": 150,
    "requests": 300,
    "wire": 200,
}


@pytest.mark.filterwarnings("ignore:Generating overly large repr")
@pytest.mark.parametrize("name", territories.BY_NAME)
def test_bad_input_is_refused_with_words_and_changes_nothing(name: str) -> None:
    tally = fire(territories.BY_NAME[name](), USUAL[name], first_seed=1)
    assert tally.inputs >= USUAL[name]
    assert tally.refused > 0
    assert "".join(failure.words for failure in tally.kinds.values()) == ""


def test_a_run_whose_log_lost_its_beginning_and_its_end_is_not_taken_for_an_orderly_stop() -> None:
    """The log has the whole of the last run, the database the orderly stop of the one before."""
    log_only = [("-wal", "zeros", 0.0, 0), ("-wal", "cut", 0.125, 0)]
    with territories.BY_NAME["journals"]() as territory:
        for damages in (log_only, [("", "flip", 0.25, 0), *log_only]):
            assert all(isinstance(one, Verdict) for one in territory.judge((2, damages)))


class Picky(Territory):
    """Falls over every number above a hundred."""

    name = "picky"
    inputs = st.lists(st.integers(0, 1000), max_size=5)

    def judge(self, given: Any) -> list[Verdict]:
        if any(number > 100 for number in given):
            raise ZeroDivisionError
        return [Verdict(True)]


def test_a_failure_is_found_made_small_saved_and_replayed(tmp_path: Path) -> None:
    tally = fire(Picky(), 40, 1, tmp_path)
    assert tally.failures > 0
    [failure] = tally.kinds.values()
    assert failure.file is not None
    name, given = saved.load(failure.file)
    assert (name, given) == ("picky", [101])
    with pytest.raises(ZeroDivisionError):
        replay(Picky(), given)


def test_a_probe_that_believes_every_checksum_is_found(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(w1_frame, "crc8", lambda _: 0)
    monkeypatch.setattr(firing, "LONGEST_SHRINKING_S", 0.2)
    tally = fire(territories.BY_NAME["sysfs"](), 20, 1)
    assert tally.failures > 0


def test_a_command_that_reaches_one_twin_only_is_found() -> None:
    twins = Twins()
    try:
        twins.fired_at.loop.requests._waiting.put(_unheard(SetTarget(28.0, "a stranger")))
        with pytest.raises(AssertionError, match="in peace"):
            tick(twins, 1000)
    finally:
        twins.close()


def tick(twins: Twins, times: int) -> None:
    for _ in range(times):
        twins.tick()


def _unheard(command: Command) -> Request:
    return Request("lager", command)


def test_relays_have_something_to_do_while_requests_are_fired() -> None:
    twins = Twins()
    try:
        tick(twins, 1500)
        twins.same_record()
        assert twins.switchings > 4
    finally:
        twins.close()


def test_an_input_of_every_kind_is_saved_and_loaded_as_it_was(tmp_path: Path) -> None:
    given = [b"\x00\xff", "\ud800", 1.5, [True, None, [b""]]]
    saved.save(tmp_path / "x.json", "any", given)
    assert saved.load(tmp_path / "x.json") == ("any", given)
