"""A process that holds two relays, to be ended in every way there is.

    python relay_process.py WIRES WAY

WIRES is the file that the levels of the wires are written to (see `relay_rig`); WAY is what the
process does once its relays are on.
"""

import faulthandler
import os
import signal
import sys
import time
from pathlib import Path

from relay_rig import COOLER, HEATER, WirePins

from fermd.hardware.gpio_relays import GpioRelayBank
from fermd.hardware.release import release_lines

LEASE_S = 600.0


def main(wires: Path, way: str) -> None:
    pins = WirePins(wires)
    if way == "release":
        release_lines([COOLER, HEATER], pins)
        return
    bank = GpioRelayBank([COOLER, HEATER], pins, time.monotonic)
    if way == "never-left":
        on(bank.__enter__())
        return
    if way == "sigterm-handled":
        signal.signal(signal.SIGTERM, lambda *_: sys.exit(0))
    with bank:
        on(bank)
        sys.stdout.write("on\n")
        sys.stdout.flush()
        if way == "left":
            return
        if way == "exception":
            raise RuntimeError("the program is broken")
        if way == "abort":
            faulthandler.disable()
            os.abort()
        signal.pause()


def on(bank: GpioRelayBank) -> None:
    bank.drive({COOLER.line: True, HEATER.line: True}, time.monotonic() + LEASE_S)


if __name__ == "__main__":
    main(Path(sys.argv[1]), sys.argv[2])
