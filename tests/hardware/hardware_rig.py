"""What the tests of probes and relays share: waiting for a fact with a bound, never for a time."""

import errno
import os
import time
from collections import defaultdict
from collections.abc import Callable
from pathlib import Path
from threading import Event

from fermd.control.reading import Sample
from fermd.hardware.w1_bus import W1ProbeBus

BOUND_S = 30.0
"""Far beyond what anything here takes; reaching it fails the test."""


def until(fact: Callable[[], object]) -> None:
    deadline_s = time.monotonic() + BOUND_S
    while not fact():
        if time.monotonic() > deadline_s:
            raise AssertionError("did not become true within the bound")
        Event().wait(0.002)


class Gatherer:
    """Takes samples off a bus as the loop does and keeps them all."""

    def __init__(self, bus: W1ProbeBus) -> None:
        self._bus = bus
        self.samples: dict[str, list[Sample]] = defaultdict(list)

    def until(self, probe_id: str, fits: Callable[[Sample], bool]) -> Sample:
        """Wait for a sample of this probe, taken from now on, that fits."""
        found: list[Sample] = []

        def look() -> bool:
            for one, samples in self._bus.take().items():
                self.samples[one] += samples
                found.extend(s for s in samples if one == probe_id and fits(s))
            return bool(found)

        until(look)
        return found[0]


class Pipe:
    """A named pipe in the part of a kernel file: a read waits until it is answered."""

    def __init__(self, path: Path) -> None:
        self.path = path

    def hold(self) -> int:
        """Wait until somebody reads, and keep him waiting until the descriptor is closed."""
        held: list[int] = []

        def try_it() -> bool:
            held.extend(self._writable())
            return bool(held)

        until(try_it)
        return held[0]

    def answer(self, text: str) -> None:
        """Give this text to the one who reads now; who reads after him waits on a new pipe."""
        end = self.hold()
        spare = self.path.with_name(f"{self.path.name}.next")
        os.mkfifo(spare)
        spare.replace(self.path)
        os.write(end, text.encode("ascii"))
        os.close(end)

    def receive(self) -> str:
        """Wait for somebody to write, and return what he wrote."""
        return self.path.read_text("ascii")

    def _writable(self) -> list[int]:
        try:
            return [os.open(self.path, os.O_WRONLY | os.O_NONBLOCK)]
        except OSError as error:
            if error.errno != errno.ENXIO:
                raise
            return []  # nobody reads
