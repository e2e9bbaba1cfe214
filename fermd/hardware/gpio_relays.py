"""Relays on GPIO lines: off before anything else, on for as long as a lease, off at every end.

- Entering claims every line with its off level in one step (`lgpio_pins`, `relay_device`).
- An `on` is a lease. A thread of the bank's own waits for the earliest one to run out and lets go,
  however stuck the caller is; the caller learns of it from `expired()`. Leases are counted on the
  boot clock, which goes on through a suspend; the thread looks at it at least once a second,
  because waiting itself stands still then.
- In one `drive`, what goes off is switched before what goes on.
- A write that fails takes all lines of that call off. A line that cannot even be driven off is
  tried again every second until it can.
- `release_all()` may come at any point, from a signal handler in the middle of a `drive`, too:
  the drive then finds out before it ends, and takes its lines off again.

**What a line does at the end of the process.** Leaving the bank, and `atexit` when nobody left it,
drive every line off and keep it an output. An unhandled SIGTERM, SIGKILL, a crash of the
interpreter and the out-of-memory killer run nothing of this. When the process is gone its lines
belong to the kernel, which promises nothing: once the descriptor is closed "the state of the line
becomes uncontrolled" (Documentation/userspace-api/gpio/gpio-get-linehandle-ioctl). On a Raspberry
Pi the driver's parameter `persist_gpio_outputs` decides (raspberrypi/linux pull requests 6117 and
6150): set, as its own kernels have it, a line keeps the level that it was last driven to, so that a
killed process **leaves a relay on that was on**; not set, as upstream kernels have it, the line
becomes an input, and only a resistor to the off level (up for active-low, down for active-high,
4.7 to 10 kΩ) keeps the relay from floating. Three things cover this: the service manager runs
`release_lines` after every end of the process (`ExecStopPost=`), each line has its resistor, and
the load has a thermal cut-out of its own, which is what is left when the board itself hangs.
"""

from __future__ import annotations

import atexit
from collections.abc import Callable, Iterable, Mapping, Sequence
from threading import Condition, RLock, Thread
from types import TracebackType
from typing import Any, Final, Self

from fermd.hardware.pin_factories import PinSource, why_not
from fermd.hardware.ports import RelayError, RelayState
from fermd.hardware.relay_device import RelayDevice, RelayWiring, claim_off

_LONGEST_WAIT_S: Final = 1.0
"""The lease thread looks at the boot clock at least this often while anything is on."""

_PATIENCE_AT_EXIT_S: Final = 2.0


class GpioRelayBank:
    """The relays of one board; a `RelayBank`.

    >>> import time
    >>> from fermd.config.site import RelayLine
    >>> from fermd.hardware.pin_factories import NamedPins
    >>> fridge = RelayLine("fridge", "cooler", None, gpio=17, active_high=False)
    >>> with GpioRelayBank([fridge], NamedPins("mock"), time.monotonic) as relays:
    ...     relays.drive({"fridge": True}, lease_until_mono_s=time.monotonic() + 30.0)
    ...     relays.states()["fridge"].level
    False
    >>> relays.states()["fridge"].on
    False
    """

    def __init__(
        self, lines: Sequence[RelayWiring], pins: PinSource, mono_s: Callable[[], float]
    ) -> None:
        """Prepare; nothing is touched before the bank is entered.

        `mono_s` is the clock that leases are counted on (CLOCK_BOOTTIME in the daemon).
        """
        self._lines = {one.line: one for one in lines}
        if len(self._lines) < len(lines):
            raise ValueError("two relays have the same line")
        self._pins = pins
        self._mono_s = mono_s
        # Re-entrant: a signal handler that releases may have interrupted a drive.
        self._changed = Condition(RLock())
        self._devices: dict[str, RelayDevice] = {}
        self._states: dict[str, RelayState] = {}
        self._expired: list[str] = []
        self._stuck: set[str] = set()
        self._releases = 0
        self._factory: Any = None
        self._keeper: Thread | None = None

    def __enter__(self) -> Self:
        with self._changed:
            if self._devices:
                raise RelayError("the relays are in use already")
            if self._factory is None:
                self._factory = self._pins.open()
            try:
                for line, wiring in self._lines.items():
                    self._devices[line] = claim_off(wiring, self._factory)
                    self._states[line] = self._state(line, on=False)
            except RelayError:
                self._give_up_lines()
                raise
        atexit.register(self.release_all)
        self._keeper = Thread(target=self._keep_leases, name="relay-leases", daemon=True)
        self._keeper.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.release_all()
        atexit.unregister(self.release_all)
        with self._changed:
            self._give_up_lines()
            self._changed.notify_all()
        if self._keeper is not None:
            self._keeper.join(_PATIENCE_AT_EXIT_S)
            self._keeper = None

    def drive(self, on_by_line: Mapping[str, bool], lease_until_mono_s: float) -> None:
        """Drive these lines; those that go off are switched before those that go on.

        With a lease that is over already nothing goes on, and `expired()` says so.

        Raises:
            RelayError: a line is unknown or could not be driven. Every line named is then off as
                far as can be told.

        """
        with self._changed:
            try:
                self._drive(on_by_line, lease_until_mono_s)
            except RelayError:
                self._try_off(on_by_line)
                raise
            finally:
                self._changed.notify_all()

    def release_all(self) -> None:
        """Drive everything off. Never raises; from any thread, again and again."""
        self._releases += 1
        with self._changed:
            self._try_off(self._devices)
            self._changed.notify_all()

    def expired(self) -> Sequence[str]:
        """Return the lines that let go by themselves since the last call."""
        with self._changed:
            gone, self._expired = self._expired, []
        return tuple(gone)

    def states(self) -> Mapping[str, RelayState]:
        """Return every line as it was last driven."""
        with self._changed:
            return dict(self._states)

    def _drive(self, on_by_line: Mapping[str, bool], lease_until_mono_s: float) -> None:
        releases = self._releases
        for line in on_by_line:
            if line not in self._devices:
                reason = "there is no such relay" if self._devices else "the relays are not in use"
                raise RelayError(f"line {line}: {reason}")
        for line, on in on_by_line.items():
            if not on:
                self._switch(line, on=False)
        for line, on in on_by_line.items():
            if on and line in self._expired:
                # It has let go and the caller does not know yet: it stays off until it does.
                continue
            if on and lease_until_mono_s > self._mono_s():
                self._switch(line, on=True, lease_until_mono_s=lease_until_mono_s)
            elif on:
                self._switch(line, on=False)
                self._expired.append(line)
        if self._releases != releases:
            raise RelayError("everything was released while the relays were driven")

    def _switch(self, line: str, *, on: bool, lease_until_mono_s: float = 0.0) -> None:
        device = self._devices[line]
        try:
            device.value = on
        except Exception as error:
            if not on:
                self._stuck.add(line)
            raise RelayError(
                f"line {line}: cannot be switched {'on' if on else 'off'}: {why_not(error)}"
            ) from error
        self._stuck.discard(line)
        self._states[line] = self._state(line, on=on, lease_until_mono_s=lease_until_mono_s)

    def _try_off(self, lines: Iterable[str]) -> None:
        """Drive these off as far as they can be driven; never raises."""
        for line in list(lines):
            if line in self._devices:
                try:
                    self._switch(line, on=False)
                except RelayError:
                    continue  # noted in _stuck, and tried again by the lease thread

    def _state(self, line: str, *, on: bool, lease_until_mono_s: float = 0.0) -> RelayState:
        return RelayState(on, on == self._lines[line].active_high, lease_until_mono_s)

    def _give_up_lines(self) -> None:
        devices, self._devices = self._devices, {}
        self._stuck.clear()
        for device in devices.values():
            device.close()

    def _keep_leases(self) -> None:
        with self._changed:
            while self._devices:
                try:
                    wait_s = self._let_go_of_what_is_over()
                except Exception:  # noqa: BLE001 - a clock that cannot be read vouches for no lease
                    self._try_off(self._devices)
                    wait_s = _LONGEST_WAIT_S
                self._changed.wait(wait_s)

    def _let_go_of_what_is_over(self) -> float | None:
        """Drive off whose lease is over; return how long to wait, s, or None until told."""
        self._try_off(self._stuck)
        now_s = self._mono_s()
        on = {line: state.lease_until_mono_s for line, state in self._states.items() if state.on}
        over = [
            line for line, until_s in on.items() if until_s <= now_s and line not in self._stuck
        ]
        self._expired += over
        self._try_off(over)
        waiting = [until_s - now_s for line, until_s in on.items() if until_s > now_s]
        if not waiting and not self._stuck:
            return None
        return max(0.0, min([_LONGEST_WAIT_S, *waiting]))
