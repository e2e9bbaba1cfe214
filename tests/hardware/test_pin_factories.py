"""What drives the pins is what was named, or an error that says what to do."""

import os
import struct
import subprocess
import sys
from pathlib import Path

import pytest

from fermd.hardware import gpio_chips, pin_factories
from fermd.hardware.pin_factories import NamedPins, why_not
from fermd.hardware.ports import RelayError

PI_5 = {0: "gpio-brcmstb@107d508500", 4: "pinctrl-rp1"}


def board(folder: Path, labels: dict[int, str]) -> dict[str, object]:
    """The arguments for a board with these chips; a plain file cannot answer the ioctl."""
    for number in labels:
        (folder / f"gpiochip{number}").touch()

    def read_info(device: Path) -> bytes:
        number = int(device.name.removeprefix("gpiochip"))
        return struct.pack("=32s32sI", device.name.encode(), labels[number].encode(), 54)

    return {"devices": folder, "read_info": read_info}


def test_a_chip_is_found_by_its_label_whatever_its_number(tmp_path: Path) -> None:
    (tmp_path / "gpiochip_of_nobody").touch()
    arguments = board(tmp_path, PI_5)
    assert gpio_chips.list_chips(**arguments) == PI_5
    assert gpio_chips.find_chip("pinctrl-rp1", **arguments) == 4


def test_a_wrong_label_is_answered_with_the_right_ones(tmp_path: Path) -> None:
    with pytest.raises(RelayError, match=r"'pinctrl-bcm2711'.*gpiochip4 pinctrl-rp1.*site file"):
        gpio_chips.find_chip("pinctrl-bcm2711", **board(tmp_path, PI_5))


def test_a_label_that_two_chips_have_is_refused(tmp_path: Path) -> None:
    with pytest.raises(RelayError, match="several chips"):
        gpio_chips.find_chip("twin", **board(tmp_path, {0: "twin", 1: "twin"}))


def test_a_board_without_chips_is_told_apart(tmp_path: Path) -> None:
    with pytest.raises(RelayError, match="no gpiochip at all"):
        gpio_chips.find_chip("pinctrl-rp1", tmp_path)


def test_what_is_no_chip_is_listed_with_the_reason(tmp_path: Path) -> None:
    (tmp_path / "gpiochip0").touch()  # the kernel itself refuses the question
    assert "Inappropriate ioctl" in gpio_chips.list_chips(tmp_path)[0]
    with pytest.raises(RelayError, match=r"Inappropriate ioctl.*group gpio"):
        gpio_chips.find_chip("pinctrl-rp1", tmp_path)


def test_the_requests_number_is_the_kernels() -> None:
    # _IOR(0xB4, 0x01, struct gpiochip_info) of include/uapi/linux/gpio.h, as strace shows it.
    assert gpio_chips._GET_CHIP_INFO == 0x8044B401


def test_an_unknown_factory_is_answered_with_the_known_ones() -> None:
    with pytest.raises(RelayError, match=r"'pigpiod': unknown; one of lgpio, mock, native"):
        NamedPins("pigpiod").open()


def test_lgpio_must_be_told_its_chip() -> None:
    with pytest.raises(RelayError, match="needs the label of its chip"):
        NamedPins("lgpio").open()


def test_a_missing_library_is_named_with_its_remedy_and_nothing_else_is_tried(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("LG_WD", str(tmp_path))
    for module in ("lgpio", "RPi", "pigpio"):
        monkeypatch.setitem(sys.modules, module, None)
    for module in ("lgpio", "rpigpio", "pigpio"):
        monkeypatch.delitem(sys.modules, f"gpiozero.pins.{module}", raising=False)
    monkeypatch.delitem(sys.modules, "fermd.hardware.lgpio_pins", raising=False)
    with pytest.raises(RelayError, match=r"'lgpio': cannot be loaded .*python3-lgpio"):
        NamedPins("lgpio", "pinctrl-rp1", **board(tmp_path, PI_5)).open()
    with pytest.raises(RelayError, match=r"'rpigpio': cannot be loaded .*RPi.GPIO"):
        NamedPins("rpigpio").open()
    with pytest.raises(RelayError, match=r"'pigpio': cannot be loaded .*daemon"):
        NamedPins("pigpio").open()


def test_a_chip_that_lgpio_cannot_open_is_an_error_with_its_remedy(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("LG_WD", str(tmp_path))
    pytest.importorskip("lgpio", reason="needs lgpio, of the package's extra `board`")
    labels = {9999: "pinctrl-rp1"}  # no board has so many
    with pytest.raises(RelayError, match=r"'lgpio': cannot be opened .*gpiochip.*group gpio"):
        NamedPins("lgpio", "pinctrl-rp1", **board(tmp_path, labels)).open()


def test_a_board_that_gpiozero_does_not_know_is_an_error_with_its_remedy() -> None:
    if Path("/proc/device-tree/system/linux,revision").exists():
        pytest.skip("this is a board that gpiozero knows")
    with pytest.raises(RelayError, match=r"'native': cannot be opened .*use lgpio"):
        NamedPins("native").open()


def test_lgpio_gets_a_folder_of_its_own_unless_it_was_given_one(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setenv("LG_WD", "/somewhere")
    pin_factories._give_lgpio_a_folder()
    assert os.environ["LG_WD"] == "/somewhere"
    monkeypatch.delenv("LG_WD")
    pin_factories._give_lgpio_a_folder()
    assert os.access(os.environ["LG_WD"], os.W_OK)


def test_a_line_that_another_program_holds_is_explained() -> None:
    assert "gpioinfo" in why_not(OSError("'GPIO busy'"))
    assert why_not(OSError("strange")) == "strange"


STUBBED = """
import sys, time
from pathlib import Path
from gpiozero.pins.local import LocalPiFactory
LocalPiFactory._get_revision = lambda self: 0xa02082  # a Raspberry Pi 3
sys.path.insert(0, {tests!r})
from relay_rig import COOLER, HEATER
"""

BANK = """
from test_pin_factories import PI_5, board
from fermd.hardware.gpio_relays import GpioRelayBank
from fermd.hardware.pin_factories import NamedPins
from fermd.hardware.release import release_lines
pins = NamedPins("lgpio", "pinctrl-rp1", **board(Path({folder!r}), PI_5))
"""


def calls_of(script: str, folder: Path) -> list[str]:
    """Run a script with lgpio stubbed, to the end of its process; return the calls it made."""
    here = Path(__file__).parent
    log = folder / "calls"
    env = {name: value for name, value in os.environ.items() if name != "LG_WD"}
    env["STUB_LGPIO_LOG"] = str(log)
    env["PYTHONPATH"] = os.pathsep.join([str(here / "stub_lgpio"), str(here.parent.parent)])
    subprocess.run(
        [sys.executable, "-c", STUBBED.format(tests=str(here)) + script],
        check=True,
        env=env,
        timeout=60,
    )
    return log.read_text().splitlines()


def test_gpiozeros_own_lgpio_pin_energises_an_active_low_relay_for_a_moment(
    tmp_path: Path,
) -> None:
    # The reason for a pin of our own (gpiozero pull request 1177). If this fails, it was mended
    # there, and `lgpio_pins` can become smaller.
    calls = calls_of(
        """
from gpiozero import OutputDevice
from gpiozero.pins.lgpio import LGPIOFactory
OutputDevice(17, active_high=False, pin_factory=LGPIOFactory(chip=4))
""",
        tmp_path,
    )
    assert calls[1:4] == ["claim_input 17", "claim_output 17 0", "write 17 1"]
    assert calls[-1] == "claim_input 17"  # and in the end it lets the line float


def test_a_line_is_claimed_with_its_off_level_in_one_call_and_never_floats(tmp_path: Path) -> None:
    calls = calls_of(
        BANK.format(folder=str(tmp_path))
        + """
with GpioRelayBank([COOLER, HEATER], pins, time.monotonic) as bank:
    bank.drive({COOLER.line: True, HEATER.line: False}, time.monotonic() + 600)
    bank.drive({HEATER.line: True, COOLER.line: False}, time.monotonic() + 600)
""",
        tmp_path,
    )
    assert calls[:7] == [
        "open 4 LG_WD",
        "claim_output 17 1",  # active low: off is high
        "claim_output 27 0",
        "write 27 0",
        "write 17 0",
        "write 17 1",
        "write 27 1",
    ]
    # To the end of the process: both off, again and again, and neither given up.
    assert set(calls[7:]) == {"write 17 1", "write 27 0"}


def test_a_process_that_nobody_told_to_stop_still_drives_its_lines_off(tmp_path: Path) -> None:
    calls = calls_of(
        BANK.format(folder=str(tmp_path))
        + """
bank = GpioRelayBank([COOLER], pins, time.monotonic).__enter__()
bank.drive({COOLER.line: True}, time.monotonic() + 600)
""",
        tmp_path,
    )
    assert calls[:3] == ["open 4 LG_WD", "claim_output 17 1", "write 17 0"]
    assert set(calls[3:]) == {"write 17 1"}


def test_releasing_claims_each_line_with_its_off_level_in_one_call(tmp_path: Path) -> None:
    calls = calls_of(
        BANK.format(folder=str(tmp_path)) + "release_lines([COOLER, HEATER], pins)", tmp_path
    )
    assert calls == [
        "open 4 LG_WD",
        "claim_output 17 1",
        "write 17 1",
        "claim_output 27 0",
        "write 27 0",
    ]
