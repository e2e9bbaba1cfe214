"""Drive every relay off, with nothing else running: what the service manager runs at the end.

`ExecStopPost=` calls this after every end of the daemon, including those that run nothing of it
(SIGKILL, a crash, the out-of-memory killer), and at start it does no harm. It claims each line with
its off level in one call; while another process holds the lines it cannot, and says so.
"""

from __future__ import annotations

from collections.abc import Iterable

from fermd.hardware.pin_factories import PinSource
from fermd.hardware.ports import RelayError
from fermd.hardware.relay_device import RelayWiring, claim_off


def release_lines(lines: Iterable[RelayWiring], pins: PinSource) -> tuple[str, ...]:
    """Drive these relays off and leave them off; return the lines that were.

    A line that fails does not keep the others from being driven.

    Raises:
        RelayError: some line could not be claimed or driven; the text names each, and all the
            others are off.

    """
    factory = pins.open()
    released: list[str] = []
    failures: list[str] = []
    for one in lines:
        try:
            claim_off(one, factory).close()
        except RelayError as error:
            failures.append(str(error))
        else:
            released.append(one.line)
    if failures:
        raise RelayError("; ".join(failures))
    return tuple(released)
