"""Relays are off before anything else, on for a lease, and off at every end."""

import contextlib
import doctest
import gc
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from threading import Thread
from typing import Any

import pytest
from gpiozero import OutputDevice
from gpiozero.pins import Pin
from gpiozero.pins.mock import MockFactory
from hardware_rig import BOUND_S, until
from hypothesis import settings
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule
from hypothesis.strategies import booleans, dictionaries, floats, sampled_from
from relay_rig import COOLER, HEATER, Relay, WirePin, WirePins, Wires

from fermd.config import site
from fermd.hardware import gpio_relays
from fermd.hardware.gpio_relays import GpioRelayBank
from fermd.hardware.pin_factories import NamedPins
from fermd.hardware.ports import RelayBank, RelayError, RelayState
from fermd.hardware.relay_device import RelayDevice, claim_off
from fermd.hardware.release import release_lines

LONG_S = 600.0


@pytest.fixture
def pins() -> Iterator[WirePins]:
    yield WirePins()
    WirePin.on_change.clear()


def bank_of(pins: WirePins, *relays: Relay) -> GpioRelayBank:
    return GpioRelayBank(relays or (COOLER, HEATER), pins, time.monotonic)


def later(seconds: float = LONG_S) -> float:
    return time.monotonic() + seconds


@pytest.mark.parametrize("relay", [COOLER, HEATER], ids=["active low", "active high"])
def test_a_relay_is_never_energised_at_the_start_nor_left_so_at_the_end(
    pins: WirePins, relay: Relay
) -> None:
    with bank_of(pins, relay) as bank:
        assert pins.wires.changes == [(relay.gpio, "output", not relay.active_high)]
        bank.drive({relay.line: True}, later())
        assert pins.wires.is_on(relay)
        assert bank.states()[relay.line].level is relay.active_high
    assert pins.wires.energised(relay)[0] is False
    assert pins.wires.is_on(relay) is False
    assert bank.states()[relay.line].on is False
    del bank
    gc.collect()
    assert not pins.wires.floated(relay)  # a relay's input that floats is not off


def test_gpiozeros_own_device_lets_its_line_float_when_closed_and_ours_does_not() -> None:
    # gpiozero issue 1146: 0.9 to 1.9 V were measured on a closed pin.
    for device_class, function in ((OutputDevice, "input"), (RelayDevice, "output")):
        factory = MockFactory()
        arguments = {"active_high": False, "pin_factory": factory}
        device = device_class(17, **arguments)
        device.close()
        assert factory.pin(17).function == function
        # ... and both give the line back to whoever wants it next.
        device_class(17, **arguments).close()


def test_an_exception_leaves_every_relay_off(pins: WirePins) -> None:
    def program() -> None:
        with bank_of(pins) as bank:
            bank.drive({COOLER.line: True, HEATER.line: True}, later())
            raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        program()
    assert True in pins.wires.energised(COOLER)
    assert not pins.wires.is_on(COOLER)
    assert not pins.wires.is_on(HEATER)


def test_a_relay_lets_go_when_its_lease_is_over_though_nobody_calls(pins: WirePins) -> None:
    with bank_of(pins) as bank:
        bank.drive({COOLER.line: True}, later(0.02))
        bank.drive({HEATER.line: True}, later())
        until(lambda: not pins.wires.is_on(COOLER))  # looks at the wire, asks nothing of the bank
        assert pins.wires.is_on(HEATER)
        assert bank.states()[COOLER.line].on is False


def test_a_relay_that_let_go_is_told_once(pins: WirePins) -> None:
    with bank_of(pins) as bank:
        bank.drive({COOLER.line: True}, later(0.02))
        told: list[str] = []
        until(lambda: told.extend(bank.expired()) or told)
        assert told == [COOLER.line]
        assert not pins.wires.is_on(COOLER)
        assert bank.expired() == ()


def test_a_renewed_lease_keeps_a_relay_on(pins: WirePins) -> None:
    now_s = 100.0
    with GpioRelayBank([COOLER], pins, lambda: now_s) as bank:
        bank.drive({COOLER.line: True}, 110.0)
        now_s = 109.0
        bank.drive({COOLER.line: True}, 120.0)
        now_s = 119.0
        assert bank._let_go_of_what_is_over() == pytest.approx(1.0)
        assert bank.states()[COOLER.line] == RelayState(True, False, 120.0)
        now_s = 120.0
        assert bank._let_go_of_what_is_over() is None
        assert bank.expired() == (COOLER.line,)
        assert not pins.wires.is_on(COOLER)


def test_the_boot_clock_is_looked_at_every_second_since_waiting_stands_still_in_a_suspend(
    pins: WirePins,
) -> None:
    with GpioRelayBank([COOLER], pins, lambda: 100.0) as bank:
        bank.drive({COOLER.line: True}, 700.0)
        assert bank._let_go_of_what_is_over() == pytest.approx(1.0)


def test_nothing_goes_on_with_a_lease_that_is_over_already(pins: WirePins) -> None:
    with bank_of(pins) as bank:
        bank.drive({COOLER.line: True}, time.monotonic())
        assert bank.expired() == (COOLER.line,)
    assert True not in pins.wires.energised(COOLER)


def test_a_clock_that_cannot_be_read_vouches_for_no_lease(pins: WirePins) -> None:
    broken = False

    def mono_s() -> float:
        if broken:
            raise OSError("no clock")
        return 100.0

    with GpioRelayBank([COOLER], pins, mono_s) as bank:
        bank.drive({COOLER.line: True}, 700.0)
        broken = True
        until(lambda: not pins.wires.is_on(COOLER))
        broken = False


@pytest.mark.parametrize(
    ("first", "second"), [(COOLER, HEATER), (HEATER, COOLER)], ids=["to heat", "to cool"]
)
def test_what_goes_off_is_switched_before_what_goes_on(
    pins: WirePins, first: Relay, second: Relay
) -> None:
    with bank_of(pins) as bank:
        bank.drive({first.line: True, second.line: False}, later())
        del pins.wires.changes[:]
        bank.drive({second.line: True, first.line: False}, later())
        assert [gpio for gpio, _, _ in pins.wires.changes] == [first.gpio, second.gpio]


def breaks() -> None:
    raise OSError(5, "Input/output error")


def test_a_write_that_fails_takes_every_line_of_the_call_off(pins: WirePins) -> None:
    with bank_of(pins) as bank:
        bank.drive({COOLER.line: True}, later())
        WirePin.on_change[HEATER.gpio] = breaks
        with pytest.raises(RelayError, match=r"27: cannot be switched on: .*Input/output error"):
            bank.drive({COOLER.line: True, HEATER.line: True}, later())
        assert not pins.wires.is_on(COOLER)
        assert not bank.states()[COOLER.line].on
        WirePin.on_change.clear()


def test_a_line_that_cannot_be_driven_off_is_tried_until_it_can(pins: WirePins) -> None:
    with bank_of(pins) as bank:
        bank.drive({HEATER.line: True}, later())
        WirePin.on_change[HEATER.gpio] = breaks
        with pytest.raises(RelayError, match="cannot be switched off"):
            bank.drive({HEATER.line: False}, later())
        assert bank.states()[HEATER.line].on  # what is not known to be off is not said to be
        bank.release_all()  # never raises
        assert pins.wires.is_on(HEATER)
        WirePin.on_change.clear()
        until(lambda: not pins.wires.is_on(HEATER))
        until(lambda: not bank.states()[HEATER.line].on)
        assert bank.expired() == ()


def test_an_unknown_line_takes_the_others_of_the_call_off(pins: WirePins) -> None:
    with bank_of(pins) as bank:
        bank.drive({COOLER.line: True}, later())
        with pytest.raises(RelayError, match="line nowhere: there is no such relay"):
            bank.drive({COOLER.line: True, "nowhere": True}, later())
        assert not pins.wires.is_on(COOLER)


def test_relays_are_only_driven_between_entering_and_leaving(pins: WirePins) -> None:
    bank = bank_of(pins)
    with pytest.raises(RelayError, match="not in use"):
        bank.drive({COOLER.line: True}, later())
    bank.release_all()
    with bank, pytest.raises(RelayError, match="in use already"):
        bank.__enter__()
    with pytest.raises(RelayError, match="not in use"):
        bank.drive({COOLER.line: True}, later())
    with bank:
        bank.drive({COOLER.line: True}, later())
        assert pins.wires.is_on(COOLER)
    assert not pins.wires.is_on(COOLER)


def test_two_relays_cannot_have_one_line_nor_one_pin(pins: WirePins) -> None:
    with pytest.raises(ValueError, match="same line"):
        bank_of(pins, COOLER, COOLER)
    twin = Relay("another name", COOLER.gpio, active_high=True)
    with pytest.raises(RelayError, match=r"another name.*two outputs name the same line"):
        bank_of(pins, COOLER, twin).__enter__()
    assert not pins.wires.is_on(COOLER)


def test_a_gpio_that_the_board_does_not_have_is_named(pins: WirePins) -> None:
    with pytest.raises(RelayError, match=r"line x: cannot be claimed.*no such GPIO"):
        bank_of(pins, Relay("x", 99, active_high=True)).__enter__()


def test_releasing_from_another_thread_again_and_again(pins: WirePins) -> None:
    with bank_of(pins) as bank:
        bank.drive({COOLER.line: True, HEATER.line: True}, later())
        threads = [Thread(target=bank.release_all) for _ in range(8)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join(BOUND_S)
        assert not pins.wires.is_on(COOLER)
        assert not pins.wires.is_on(HEATER)


@pytest.mark.parametrize("interrupted", [COOLER, HEATER])
def test_a_signal_that_releases_in_the_middle_of_a_drive_wins(
    pins: WirePins, interrupted: Relay
) -> None:
    with bank_of(pins) as bank:

        def interrupt() -> None:
            WirePin.on_change.clear()
            os.kill(os.getpid(), signal.SIGUSR1)

        before = signal.signal(signal.SIGUSR1, lambda *_: bank.release_all())
        try:
            WirePin.on_change[interrupted.gpio] = interrupt
            with pytest.raises(RelayError, match="released while"):
                bank.drive({COOLER.line: True, HEATER.line: True}, later())
        finally:
            signal.signal(signal.SIGUSR1, before)
        assert not pins.wires.is_on(COOLER)
        assert not pins.wires.is_on(HEATER)
        assert not any(state.on for state in bank.states().values())


def test_pins_that_would_blip_an_active_low_relay_are_refused() -> None:
    class TwoSteps:
        pin_class = Pin

    with pytest.raises(RelayError, match=r"TwoSteps drives a line low before.*use lgpio"):
        claim_off(COOLER, TwoSteps())


def test_the_site_files_relays_are_wiring() -> None:
    fridge = site.RelayLine("gpio:x:17", "cooler", "x", 17, active_high=False)
    bank: RelayBank = GpioRelayBank([fridge], NamedPins("mock"), time.monotonic)
    with bank:
        bank.drive({fridge.line: True}, later())
        assert bank.states()[fridge.line].on


class AnyCourse(RuleBasedStateMachine):
    """Whatever is called in whatever order, what is on has a lease, and the wires agree."""

    @initialize()
    def enter(self) -> None:
        self.now_s = 1000.0
        self.pins = WirePins()
        self.bank = GpioRelayBank([COOLER, HEATER], self.pins, lambda: self.now_s)
        self.bank.__enter__()

    @rule(
        calls=dictionaries(sampled_from([COOLER.line, HEATER.line, "nowhere"]), booleans()),
        lease_s=floats(-1, 60),
    )
    def drive(self, calls: dict[str, bool], lease_s: float) -> None:
        with contextlib.suppress(RelayError):
            self.bank.drive(calls, self.now_s + lease_s)

    @rule(passed_s=floats(0, 60))
    def time_passes(self, passed_s: float) -> None:
        self.now_s += passed_s
        self.bank._let_go_of_what_is_over()

    @rule()
    def release(self) -> None:
        self.bank.release_all()
        assert not any(state.on for state in self.bank.states().values())

    @invariant()
    def what_is_on_has_a_lease_and_the_wires_agree(self) -> None:
        if not hasattr(self, "bank"):
            return
        for relay in (COOLER, HEATER):
            state = self.bank.states()[relay.line]
            assert state.on is self.pins.wires.is_on(relay)
            assert state.level is (state.on == relay.active_high)
            assert not state.on or state.lease_until_mono_s > self.now_s

    def teardown(self) -> None:
        if hasattr(self, "bank"):
            self.bank.__exit__(None, None, None)
            assert not self.pins.wires.is_on(COOLER)


TestAnyCourse = AnyCourse.TestCase
TestAnyCourse.settings = settings(max_examples=50, stateful_step_count=20, deadline=None)


# --- the ends of a process -------------------------------------------------------------------


def start(wires: Path, way: str) -> "subprocess.Popen[str]":
    here = Path(__file__).parent
    env = {**os.environ, "PYTHONPATH": os.pathsep.join([str(here), str(here.parent.parent)])}
    return subprocess.Popen(
        [sys.executable, str(here / "relay_process.py"), str(wires), way],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env=env,
    )


def end(process: "subprocess.Popen[str]") -> int:
    process.communicate(timeout=BOUND_S)
    return process.returncode


def wait_until_on(process: "subprocess.Popen[str]") -> None:
    assert process.stdout is not None
    assert process.stdout.readline() == "on\n"


@pytest.mark.parametrize("way", ["left", "exception", "never-left"])
def test_a_process_that_ends_by_itself_leaves_its_relays_off(tmp_path: Path, way: str) -> None:
    wires = Wires(tmp_path / "wires")
    end(start(tmp_path / "wires", way))
    for relay in (COOLER, HEATER):
        assert True in wires.energised(relay)
        assert not wires.is_on(relay)
        assert not wires.floated(relay)


def test_a_handled_sigterm_leaves_the_relays_off(tmp_path: Path) -> None:
    process = start(tmp_path / "wires", "sigterm-handled")
    wait_until_on(process)
    process.send_signal(signal.SIGTERM)
    assert end(process) == 0
    assert not Wires(tmp_path / "wires").is_on(COOLER)
    assert not Wires(tmp_path / "wires").is_on(HEATER)


@pytest.mark.parametrize(
    "how", [signal.SIGKILL, signal.SIGTERM, signal.SIGABRT], ids=lambda one: one.name
)
def test_a_killed_process_leaves_its_relays_on_and_the_releasing_command_drives_them_off(
    tmp_path: Path, how: signal.Signals
) -> None:
    # The wires keep their level, as on a kernel with persist_gpio_outputs (raspberrypi/linux pull
    # requests 6117, 6150): nothing of the process runs any more.
    wires = Wires(tmp_path / "wires")
    process = start(tmp_path / "wires", "abort" if how is signal.SIGABRT else "hold")
    wait_until_on(process)
    if how is not signal.SIGABRT:
        process.send_signal(how)
    assert end(process) == -how
    assert wires.is_on(COOLER)
    assert wires.is_on(HEATER)
    assert end(start(tmp_path / "wires", "release")) == 0
    for relay in (COOLER, HEATER):
        assert not wires.is_on(relay)
        assert not wires.floated(relay)


def test_releasing_names_the_lines_that_fail_and_drives_the_others_off(pins: WirePins) -> None:
    factory = pins.open()
    for relay in (COOLER, HEATER):
        RelayDevice(relay.gpio, active_high=relay.active_high, pin_factory=factory)
    odd = Relay("odd", 99, active_high=True)
    with pytest.raises(RelayError, match="line odd"):
        release_lines([odd, COOLER, HEATER], pins)
    assert not pins.wires.is_on(COOLER)
    assert release_lines([COOLER, HEATER], pins) == (COOLER.line, HEATER.line)
    assert release_lines([], pins) == ()


def test_the_example_in_the_documentation_runs() -> None:
    result: Any = doctest.testmod(gpio_relays)
    assert result.attempted > 0
    assert result.failed == 0
