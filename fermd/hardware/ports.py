"""The ports that the loop is plugged into.

Real hardware, the simulation and tests each supply their own.
None of these calls may block the loop for longer than a few milliseconds; what takes longer
(a conversion takes 750 ms) happens in the port's own thread.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import TracebackType
from typing import Protocol, Self

from fermd.control.moment import Moment
from fermd.control.reading import Sample


class ProbeBus(Protocol):
    """Where samples come from. A context manager: entering starts what reads in the background."""

    def __enter__(self) -> Self: ...

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None: ...

    def take(self) -> Mapping[str, Sequence[Sample]]:
        """The samples gathered since the last call, oldest first, by the probe's id on the bus.

        Never blocks and never raises: what goes wrong on the bus is a sample with a fault.
        """
        ...

    def listed(self) -> Sequence[str]:
        """The ids of all probes that the bus shows at present."""
        ...


@dataclass(frozen=True, slots=True)
class RelayState:
    """One relay as its port last drove it."""

    on: bool
    level: bool
    """The electrical level of the line: with an active-low relay, low (False) is on."""
    lease_until_mono_s: float
    """An `on` lets go by itself at this time."""


class RelayBank(Protocol):
    """All relays of the board, by line.

    Entering claims every line with its off level, in one step, before anything else; leaving
    drives every line off. An `on` is a lease: the bank lets go by itself when it runs out, in a
    thread of its own, however stuck the caller is.
    """

    def __enter__(self) -> Self: ...

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None: ...

    def drive(self, on_by_line: Mapping[str, bool], lease_until_mono_s: float) -> None:
        """Drive these lines; those that go off are switched before those that go on.

        A line that has let go by itself stays off until `expired()` has told of it: else its
        minimum off time would be cut to nothing.

        Raises RelayError if a line could not be driven; every line it named is then off as far
        as the port can tell.
        """
        ...

    def release_all(self) -> None:
        """Drive everything off. Never raises; may be called from any thread, again and again."""
        ...

    def expired(self) -> Sequence[str]:
        """The lines that let go by themselves since the last call: the loop was too late."""
        ...

    def states(self) -> Mapping[str, RelayState]:
        """Every line as it was last driven."""
        ...


class RelayError(RuntimeError):
    """A line could not be claimed or driven; the text says which, why and what to do."""


class Clock(Protocol):
    """The two clocks, and the only way that the loop ever waits."""

    def now(self) -> Moment:
        """The present on both clocks."""
        ...

    def boot_id(self) -> str:
        """Names this run of the board: `mono_s` values of different boots cannot be compared."""
        ...

    def wait_until(self, mono_s: float) -> bool:
        """Wait until then; True if woken early by `wake()`."""
        ...

    def wake(self) -> None:
        """End the present (or next) wait now; may be called from a signal handler."""
        ...
