"""The loop's clock: waits that nobody's wall clock can stretch, and a wake that signals may use."""

from __future__ import annotations

import ctypes
import os
import signal
import subprocess
import sys
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest

import fermd
from fermd.service.clock import BOOT_ID_PATH, STA_UNSYNC, KernelSyncFlag, SystemClock

FAR_S = 3600.0
"""A wait that a test would never sit out."""

PACKAGE_FOLDER = str(Path(fermd.__file__).parent.parent)


@pytest.fixture
def clock() -> Iterator[SystemClock]:
    with SystemClock() as clock:
        yield clock


def test_mono_is_the_clock_that_goes_on_through_suspend(clock: SystemClock) -> None:
    uptime_s = float(Path("/proc/uptime").read_text().split()[0])  # CLOCK_BOOTTIME, proc(5)
    assert clock.now().mono_s == pytest.approx(uptime_s, abs=1.0)


def test_boot_is_named_by_the_kernel(clock: SystemClock) -> None:
    assert clock.boot_id() == Path("/proc/sys/kernel/random/boot_id").read_text().strip()


def test_two_boots_have_two_names(tmp_path: Path) -> None:
    path = tmp_path / BOOT_ID_PATH
    path.parent.mkdir(parents=True)
    names = []
    for boot in ("aaaa", "bbbb"):
        path.write_text(boot + "\n")
        with SystemClock(tmp_path) as clock:
            names.append(clock.boot_id())
    assert names == ["aaaa", "bbbb"]


def test_a_boot_without_a_name_counts_as_a_new_one_each_time(tmp_path: Path) -> None:
    with SystemClock(tmp_path) as one, SystemClock(tmp_path) as two:
        assert one.boot_id() != two.boot_id()


def test_a_wait_ends_at_its_time_and_not_before(clock: SystemClock) -> None:
    due_s = clock.now().mono_s + 0.05
    assert clock.wait_until(due_s) is False
    assert clock.now().mono_s >= due_s


def test_a_wait_for_what_is_past_ends_at_once(clock: SystemClock) -> None:
    before_s = clock.now().mono_s
    assert clock.wait_until(before_s - FAR_S) is False
    assert clock.now().mono_s - before_s < FAR_S


def test_a_wake_that_comes_first_ends_the_next_wait_and_only_that(clock: SystemClock) -> None:
    clock.wake()
    clock.wake()
    assert clock.wait_until(clock.now().mono_s + FAR_S) is True
    assert clock.wait_until(clock.now().mono_s) is False


def test_a_wake_is_heard_even_when_the_tick_is_already_late(clock: SystemClock) -> None:
    clock.wake()
    assert clock.wait_until(clock.now().mono_s - 1.0) is True


def test_another_thread_can_end_the_wait(clock: SystemClock) -> None:
    timer = threading.Timer(0.02, clock.wake)
    timer.start()
    assert clock.wait_until(clock.now().mono_s + FAR_S) is True
    timer.join()


def test_a_signal_handler_can_end_the_wait(clock: SystemClock) -> None:
    handler_before = signal.signal(signal.SIGALRM, lambda _number, _frame: clock.wake())
    try:
        signal.setitimer(signal.ITIMER_REAL, 0.02)
        assert clock.wait_until(clock.now().mono_s + FAR_S) is True
    finally:
        signal.signal(signal.SIGALRM, handler_before)


def test_a_storm_of_signals_never_blocks_the_loop(clock: SystemClock) -> None:
    """A handler that took a lock would sooner or later meet that lock held by the code below."""
    handler_before = signal.signal(signal.SIGALRM, lambda _number, _frame: clock.wake())
    woken = 0
    try:
        signal.setitimer(signal.ITIMER_REAL, 0.0005, 0.0005)
        while woken < 200:
            woken += clock.wait_until(clock.now().mono_s + FAR_S)
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0.0)
        signal.signal(signal.SIGALRM, handler_before)
    assert woken == 200


def test_a_wake_after_the_end_does_nothing() -> None:
    clock = SystemClock()
    clock.close()
    clock.wake()
    clock.close()


@pytest.mark.debian("faketime")
def test_setting_the_wall_clock_back_an_hour_does_not_stretch_a_wait(tmp_path: Path) -> None:
    program = """
import sys, threading
from pathlib import Path
from fermd.service.clock import SystemClock

offset = Path(sys.argv[1])
with SystemClock() as clock:
    before = clock.now()
    step = threading.Timer(0.05, lambda: offset.write_text("-3600"))
    step.start()
    woken = clock.wait_until(before.mono_s + 0.2)
    step.join()
    after = clock.now()
print(woken, after.mono_s - before.mono_s, after.wall_utc_s - before.wall_utc_s)
"""
    offset = tmp_path / "offset"
    offset.write_text("+0")
    libraries = [*Path("/usr/lib").glob("*/faketime/libfaketimeMT.so.1")]
    ended = subprocess.run(
        [sys.executable, "-c", program, str(offset)],
        env={
            **os.environ,
            "PYTHONPATH": PACKAGE_FOLDER,
            "LD_PRELOAD": str(libraries[0]),
            "FAKETIME_TIMESTAMP_FILE": str(offset),
            "FAKETIME_NO_CACHE": "1",
            "FAKETIME_DONT_FAKE_MONOTONIC": "1",
        },
        capture_output=True,
        text=True,
        timeout=60,
        check=True,
    )
    woken, mono_passed_s, wall_passed_s = ended.stdout.split()
    assert woken == "False"
    assert 0.2 <= float(mono_passed_s) < 60.0
    assert float(wall_passed_s) == pytest.approx(-3600.0, abs=60.0)  # the step did happen


def test_the_kernels_word_on_the_clock_agrees_with_its_other_way_of_saying_it() -> None:
    """ntp_adjtime(3) returns TIME_ERROR (5) for a clock that is not synchronised."""
    state = ctypes.CDLL(None, use_errno=True).ntp_adjtime(ctypes.create_string_buffer(512))
    synchronised = KernelSyncFlag()()
    assert not (synchronised and state in (-1, 5))
    assert synchronised or state in (-1, 5)


def _kernel_with_status(status: int) -> KernelSyncFlag:
    def adjtimex(buffer: ctypes.Array[ctypes.c_char]) -> int:
        offset = ctypes.sizeof(ctypes.c_long) * 5  # modes (padded) and four longs, adjtimex(2)
        ctypes.c_int.from_buffer(buffer, offset).value = status
        return 0

    return KernelSyncFlag(adjtimex)


@pytest.mark.parametrize(("status", "trusted"), [(0, True), (STA_UNSYNC, False), (0x2041, False)])
def test_wall_clock_is_trusted_once_the_kernel_calls_it_synchronised(
    status: int, trusted: bool
) -> None:
    with SystemClock(kernel_is_synchronised=_kernel_with_status(status)) as clock:
        assert clock.now().wall_trusted is trusted


def test_wall_clock_is_not_trusted_where_the_kernel_refuses_to_say(
    caplog: pytest.LogCaptureFixture,
) -> None:
    with SystemClock(kernel_is_synchronised=KernelSyncFlag(lambda _buffer: -1)) as clock:
        assert not clock.now().wall_trusted
        assert not clock.now().wall_trusted
    assert len(caplog.records) == 1  # said once, not at every tick


def test_a_person_can_vouch_for_the_wall_clock_and_take_it_back() -> None:
    with SystemClock(kernel_is_synchronised=lambda: False) as clock:
        clock.vouch_for_wall(True)
        assert clock.now().wall_trusted
        clock.vouch_for_wall(False)
        assert not clock.now().wall_trusted
