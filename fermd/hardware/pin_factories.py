"""What drives the pins: named, opened as named, or an error with the remedy. Never another one.

gpiozero by itself tries one backend after the other, and a board may then be driven by one that
nobody chose and nobody tested. Here there is no default and no second try.
"""

from __future__ import annotations

import atexit
import importlib
import os
import tempfile
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final, Protocol

from fermd.hardware.gpio_chips import DEVICES, ReadInfo, ask_kernel, find_chip
from fermd.hardware.ports import RelayError


class PinSource(Protocol):
    """Opens what drives the pins."""

    def open(self) -> Any:
        """Return a gpiozero pin factory. Raises RelayError whose text names the remedy."""
        ...


FACTORIES: Final = {
    "lgpio": ("fermd.hardware.lgpio_pins", "RelayPinFactory"),
    "mock": ("gpiozero.pins.mock", "MockFactory"),
    "native": ("gpiozero.pins.native", "NativeFactory"),
    "pigpio": ("gpiozero.pins.pigpio", "PiGPIOFactory"),
    "rpigpio": ("gpiozero.pins.rpigpio", "RPiGPIOFactory"),
}
"""The pin factories by name; `lgpio` is the one to use, `mock` switches nothing at all."""

_REMEDY: Final = {
    "lgpio": (
        "install the board's package python3-lgpio and make the virtual environment with "
        "--system-site-packages, or, with Python up to 3.12, pip install '.[board]' where fermd "
        "came from"
    ),
    "native": "use lgpio; native needs /dev/gpiomem, and a Raspberry Pi before the 5",
    "pigpio": "install pigpio and start its daemon, or use lgpio",
    "rpigpio": "install RPi.GPIO, or use lgpio",
    "mock": "install gpiozero again",
}


@dataclass(frozen=True, slots=True)
class NamedPins:
    """The pin factory of this name, on the chip with this label; a `PinSource`.

    Only lgpio can be told its chip, and it must be told.
    """

    factory: str
    chip: str | None = None
    devices: Path = DEVICES
    read_info: ReadInfo = field(default=ask_kernel, repr=False)

    def open(self) -> Any:
        """Open it, or say what is in the way.

        Raises:
            RelayError: with the name of the factory, why it cannot be used and what to do.

        """
        if self.factory not in FACTORIES:
            allowed = ", ".join(sorted(FACTORIES))
            raise RelayError(f"pin factory {self.factory!r}: unknown; one of {allowed}")
        arguments: list[int] = []
        if self.factory == "lgpio":
            if self.chip is None:
                raise RelayError(
                    "pin factory 'lgpio': needs the label of its chip, as gpiodetect shows it"
                )
            arguments = [find_chip(self.chip, self.devices, self.read_info)]
            _give_lgpio_a_folder()
        module, name = FACTORIES[self.factory]
        try:
            return getattr(importlib.import_module(module), name)(*arguments)
        except ImportError as error:
            raise RelayError(
                f"pin factory {self.factory!r}: cannot be loaded ({error}); {_REMEDY[self.factory]}"
            ) from error
        except Exception as error:
            raise RelayError(
                f"pin factory {self.factory!r}: cannot be opened ({error}); check that the user is "
                f"in the group gpio; {_REMEDY[self.factory]}"
            ) from error


def why_not(error: Exception) -> str:
    """Return the reason that a line cannot be claimed or driven, with the remedy where known."""
    remedy = {
        "GPIOPinInUse": "two outputs name the same line",
        "PinInvalidPin": "the board has no such GPIO on its header",
        "PinUnknownPi": "gpiozero knows the Raspberry Pi's boards only, and this is none it knows",
    }.get(type(error).__name__)
    if remedy is None and "busy" in str(error).lower():
        remedy = "another program holds the line; gpioinfo shows which one: stop it"
    return str(error) if remedy is None else f"{error}: {remedy}"


def _give_lgpio_a_folder() -> None:
    """Let lgpio write its notification pipes somewhere: it cannot be imported where it must not.

    Without LG_WD it takes the current folder, which for a service is often read-only.
    """
    if "LG_WD" not in os.environ:
        folder = tempfile.TemporaryDirectory(prefix="fermd-lgpio-", ignore_cleanup_errors=True)
        atexit.register(folder.cleanup)
        os.environ["LG_WD"] = folder.name
