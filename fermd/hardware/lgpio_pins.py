"""gpiozero's lgpio pins, made fit for relays: claimed with the off level, and never let float.

Three things that gpiozero's own pin does are wrong for a relay:

- it first claims the line as an input without a pull, which lets it float;
- made an output it is claimed low and then written high (gpiozero pull request 1177), and an
  active-low relay is energised in between;
- closed, it becomes an input without a pull again (gpiozero issue 1146: 0.9 to 1.9 V measured).

Here the first contact with the line is one call that makes it an output with its off level, and
closing leaves it the output that it is. Importing this needs lgpio.
"""

from __future__ import annotations

from typing import Any

import lgpio
from gpiozero.pins.lgpio import LGPIOFactory, LGPIOPin


class RelayPin(LGPIOPin):  # type: ignore[misc]  # gpiozero has no types
    """A line that is an output from its first contact to the end of the process."""

    def __init__(self, factory: Any, info: Any) -> None:
        # Past LGPIOPin, which would claim the line as an input; what else it sets is set here.
        super(LGPIOPin, self).__init__(factory, info)
        self._pwm = None
        self._bounce = None
        self._callback = None
        self._edges = lgpio.BOTH_EDGES

    def output_with_state(self, state: bool) -> None:
        """Make the line an output with this level, in one call to the kernel."""
        lgpio.gpio_claim_output(self.factory._handle, self._number, int(state))  # noqa: SLF001

    def close(self) -> None:
        """Leave the line as it was last driven; the kernel takes it when the process ends."""


class RelayPinFactory(LGPIOFactory):  # type: ignore[misc]  # gpiozero has no types
    """Makes `RelayPin`s on one chip."""

    def __init__(self, chip: int) -> None:
        super().__init__(chip)
        self.pin_class = RelayPin
