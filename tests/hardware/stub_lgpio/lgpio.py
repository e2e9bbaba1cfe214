"""Stands in for lgpio where there is no chip: writes every call that it gets into a file.

It knows only which lines are outputs, as the real one's `gpio_get_mode` tells.
"""

import os
from pathlib import Path

SET_PULL_NONE = SET_PULL_UP = SET_PULL_DOWN = 0
RISING_EDGE, FALLING_EDGE, BOTH_EDGES = 1, 2, 3

_log = Path(os.environ["STUB_LGPIO_LOG"])
_outputs: set[int] = set()


class error(Exception):  # noqa: N801, N818 - its name in the real one
    pass


def _note(*words: object) -> None:
    with _log.open("a", encoding="ascii") as file:
        file.write(" ".join(map(str, words)) + "\n")


def gpiochip_open(chip: int) -> int:
    _note("open", chip, "LG_WD" if "LG_WD" in os.environ else "no folder")
    return 7


def gpiochip_close(handle: int) -> None:
    _note("close", handle)


def gpio_claim_input(handle: int, gpio: int, flags: int = 0) -> None:
    _outputs.discard(gpio)
    _note("claim_input", gpio)


def gpio_claim_output(handle: int, gpio: int, level: int = 0, flags: int = 0) -> None:
    _outputs.add(gpio)
    _note("claim_output", gpio, int(level))


def gpio_free(handle: int, gpio: int) -> None:
    _note("free", gpio)


def gpio_get_mode(handle: int, gpio: int) -> int:
    return 2 if gpio in _outputs else 0


def gpio_write(handle: int, gpio: int, level: int) -> None:
    _note("write", gpio, int(level))
