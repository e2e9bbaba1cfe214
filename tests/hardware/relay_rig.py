"""Relays on gpiozero's mock pins whose every change ends up on a wire that can be looked at."""

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, ClassVar

from gpiozero.pins.mock import MockFactory, MockPin


@dataclass(frozen=True)
class Relay:
    line: str
    gpio: int
    active_high: bool


COOLER = Relay("gpio:pinctrl-bcm2711:17", 17, active_high=False)
HEATER = Relay("gpio:pinctrl-bcm2711:27", 27, active_high=True)


class WirePin(MockPin):  # type: ignore[misc]
    """A mock pin made an output with its level in one step, as lgpio's relay pin is."""

    on_change: ClassVar[dict[int, Callable[[], None]]] = {}
    """What happens while the level of this GPIO is being written."""

    def output_with_state(self, state: bool) -> None:
        self._function = "output"
        self._state = bool(state)
        self._tell("output")

    def _set_state(self, value: bool) -> None:
        act = self.on_change.get(self._number)
        if act is not None:
            act()
        super()._set_state(value)
        self._tell("output")

    def _set_function(self, value: str) -> None:
        super()._set_function(value)
        self._tell(value)

    def _tell(self, function: str) -> None:
        self.factory.wires.note(self._number, function, bool(self._state))


@dataclass
class Wires:
    """What was done to the wires, first to last; kept in a file if processes are to come and go.

    A wire keeps its level when the process is gone, as on a board whose kernel keeps its outputs.
    """

    file: Path | None = None
    changes: list[tuple[int, str, bool]] = field(default_factory=list)

    def note(self, gpio: int, function: str, level: bool) -> None:
        self.changes.append((gpio, function, level))
        if self.file is not None:
            with self.file.open("a", encoding="ascii") as file:
                file.write(f"{gpio} {function} {int(level)}\n")

    def read(self) -> list[tuple[int, str, bool]]:
        if self.file is None:
            return self.changes
        lines = [line.split() for line in self.file.read_text("ascii").splitlines()]
        return [(int(gpio), function, level == "1") for gpio, function, level in lines]

    def energised(self, relay: Relay) -> list[bool]:
        """Whether the relay was energised, after each thing that was done to its wire."""
        return [
            function == "output" and level == relay.active_high
            for gpio, function, level in self.read()
            if gpio == relay.gpio
        ]

    def is_on(self, relay: Relay) -> bool:
        return self.energised(relay)[-1]

    def floated(self, relay: Relay) -> bool:
        return any(gpio == relay.gpio and what == "input" for gpio, what, _ in self.read())


class WirePins:
    """A `PinSource` of wire pins."""

    def __init__(self, file: Path | None = None) -> None:
        self.wires = Wires(file)

    def open(self) -> Any:
        factory = MockFactory(pin_class=WirePin)
        factory.wires = self.wires
        return factory
