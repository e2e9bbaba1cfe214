"""A pace makes a simulation slower or faster, never different."""

from __future__ import annotations

import threading
import time
from pathlib import Path

import pytest
from batch_rig import HOUR_S, PERIOD_S, Batch, simulated_site

from fermd.hardware.simulated_clock import SimulatedClock


def told(folder: Path, pace: float | None, dawdle_s: float = 0.0) -> list[tuple[float, bool]]:
    """What a batch of a day switches, at a pace, by a loop that dawdles in each tick."""
    folder.mkdir()
    clock = SimulatedClock(times_real_time=pace)
    batch = Batch(folder, simulated_site(ambient_c=22, start_c=12), clock=clock)
    batch.hold(10.0)
    until_s = batch.passed_s + 6 * HOUR_S
    while batch.passed_s < until_s - 1.0:
        if dawdle_s:
            began_s = time.monotonic()
            while time.monotonic() - began_s < dawdle_s:
                pass
        batch.tick()
    batch.ends()
    clock.close()
    return [(round(at_s, 3), change.on) for at_s, change in batch.switched]


def test_a_machine_that_is_too_slow_for_its_pace_decides_the_same(tmp_path: Path) -> None:
    """A tick of 2 ms where the pace leaves it half a millisecond: the batch takes longer."""
    pace = PERIOD_S / 0.0005
    slow = told(tmp_path / "slow", pace, dawdle_s=0.002)
    assert slow == told(tmp_path / "free", None)
    assert len(slow) >= 4


def test_time_passes_in_waits_alone() -> None:
    """However long a start takes: a lease does not run out before there is anybody to renew it."""
    clock = SimulatedClock(times_real_time=1e6)
    began = clock.now()
    deadline_s = time.monotonic() + 0.05
    while time.monotonic() < deadline_s:
        assert clock.now() == began
    clock.wait_until(began.mono_s + 1000.0)
    assert clock.now().mono_s == began.mono_s + 1000.0
    clock.close()


def test_waits_too_short_to_be_slept_add_up_to_the_pace() -> None:
    """400 waits of half a millisecond are a fifth of a second, not 400 whole milliseconds."""
    clock = SimulatedClock(times_real_time=20_000.0)
    began_s = time.monotonic()
    for tick in range(1, 401):
        clock.wait_until(tick * 10.0)
    took_s = time.monotonic() - began_s
    assert clock.now().mono_s == 4000.0
    assert took_s >= 0.19
    clock.close()


def test_another_thread_sees_time_pass_in_a_wait_and_never_go_back() -> None:
    clock = SimulatedClock(times_real_time=1000.0)
    seen: list[float] = []
    done = threading.Event()

    def look() -> None:
        while not done.is_set():
            seen.append(clock.now().mono_s)

    looker = threading.Thread(target=look)
    looker.start()
    for tick in range(1, 21):
        clock.wait_until(tick * 10.0)
    done.set()
    looker.join()
    assert seen == sorted(seen)
    assert 0.0 <= seen[0] <= seen[-1] <= 200.0
    assert len(set(seen)) > 50
    clock.close()


def test_who_is_woken_is_where_the_pace_has_brought_it() -> None:
    clock = SimulatedClock(times_real_time=1000.0)
    threading.Timer(0.05, clock.wake).start()
    assert clock.wait_until(1e9) is True
    at_s = clock.now().mono_s
    assert at_s >= 50.0 - 1.0
    assert clock.wait_until(at_s + 10.0) is False
    assert clock.now().mono_s == pytest.approx(at_s + 10.0)
    clock.close()
