"""One relay's line as a gpiozero `OutputDevice` that is off from the first contact to the last.

What gpiozero's own device does at the end: `close()` makes the line an input, whose level is then
whatever pulls it; it is called when the object is collected, and at the end of the process only for
devices of gpiozero's default pin factory, which is not used here. A relay's input that floats is
not off. So `close()` here drives the line off and leaves it an output; from the end of the process
on it belongs to the kernel (see `gpio_relays`).
"""

from __future__ import annotations

import contextlib
from typing import Any, Protocol

from gpiozero import OutputDevice
from gpiozero.pins import Pin
from gpiozero.pins.mock import MockFactory

from fermd.hardware.pin_factories import why_not
from fermd.hardware.ports import RelayError


class RelayWiring(Protocol):
    """The electrical side of one relay."""

    @property
    def line(self) -> str:
        """The line's name everywhere else."""
        ...

    @property
    def gpio(self) -> int:
        """Number of the GPIO (BCM numbering on a Raspberry Pi)."""
        ...

    @property
    def active_high(self) -> bool:
        """True if a high level energises the relay; most relay boards want a low one."""
        ...


class RelayDevice(OutputDevice):  # type: ignore[misc]  # gpiozero has no types
    """A relay. Made, it is off; closed, it is off and stays an output."""

    def __init__(self, gpio: int, *, active_high: bool, pin_factory: Any) -> None:
        super().__init__(
            f"GPIO{gpio}", active_high=active_high, initial_value=False, pin_factory=pin_factory
        )

    def close(self) -> None:
        """Drive the line off and give it up, without letting it float. Never raises."""
        pin = getattr(self, "_pin", None)
        if pin is None:
            return
        self._pin = None
        # Also called by the collector and at the end of the interpreter, where anything is gone.
        with contextlib.suppress(Exception):
            pin.state = self._value_to_state(False)
        with contextlib.suppress(Exception):
            self.pin_factory.release_pins(self, pin.info.name)


def claim_off(wiring: RelayWiring, factory: Any) -> RelayDevice:
    """Make the line an output with its off level.

    Raises RelayError if that cannot be done, or not without energising the relay for a moment.
    """
    try:
        if not wiring.active_high:
            _refuse_to_blip(factory)
        return RelayDevice(wiring.gpio, active_high=wiring.active_high, pin_factory=factory)
    except RelayError as error:
        raise RelayError(f"line {wiring.line}: {error}") from error
    except Exception as error:
        raise RelayError(f"line {wiring.line}: cannot be claimed: {why_not(error)}") from error


def _refuse_to_blip(factory: Any) -> None:
    """Refuse a factory that makes a line an output first and sets its level then.

    A mock has no wire and no relay on it.
    """
    if isinstance(factory, MockFactory):
        return
    if factory.pin_class.output_with_state is Pin.output_with_state:
        raise RelayError(
            f"{type(factory).__name__} drives a line low before it is high, which energises an "
            "active-low relay for a moment; use lgpio"
        )
