"""Where other threads leave what they ask of the loop, and wait for the answer.

The loop takes everything that is there at each tick; nobody else ever touches a chamber. A
request wakes the loop, so that an answer takes milliseconds and not a sample period.

Who has waited in vain is told so, and then it is so: the loop never takes up a request that
somebody has given up. A chamber must not be set to 4 °C an hour after its brewer was told that it
was not.
"""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable
from dataclasses import dataclass, field

from fermd.control.commands import Command

LONGEST_WAIT_S = 5.0
"""An answer that takes longer than this, s, is not coming: the loop is stuck or has ended."""

MOST_WAITING = 1000
"""More requests than this are refused at once: nobody means so many."""


@dataclass(frozen=True, slots=True)
class Answer:
    """What became of a request."""

    taken: bool
    why: str = ""
    from_loop: bool = True
    """False: nobody decided anything, because the loop does not answer (any more)."""


ENDED = Answer(False, "the control loop has ended", from_loop=False)
TOO_MANY = Answer(False, "too many requests are waiting: try again in a while", from_loop=False)


@dataclass(slots=True)
class Request:
    """One command for one chamber (the empty name means the site itself)."""

    chamber: str
    command: Command
    _done: threading.Event = field(default_factory=threading.Event)
    _lock: threading.Lock = field(default_factory=threading.Lock)
    _answer: Answer | None = None
    _taken_up: bool = False
    _given_up: bool = False

    def take_up(self) -> bool:
        """Begin with it (the loop does); False if whoever asked has given up waiting."""
        with self._lock:
            self._taken_up = not self._given_up
            return self._taken_up

    def answer(self, answer: Answer) -> None:
        """Say what became of it (the loop does). The first answer counts."""
        with self._lock:
            if self._answer is None:
                self._answer = answer
        self._done.set()

    def wait(self, longest_s: float = LONGEST_WAIT_S) -> Answer:
        """Wait for the answer (whoever asked does)."""
        self._done.wait(longest_s)
        with self._lock:
            if self._answer is not None:
                return self._answer
            self._given_up = not self._taken_up
            became = (
                "the command is dropped"
                if self._given_up
                else "look at the status to see whether the command was carried out"
            )
        why = f"the control loop did not answer within {longest_s:g} s; {became}"
        return Answer(False, why, from_loop=False)


class Requests:
    """The requests that the loop has not answered yet."""

    def __init__(self, wake: Callable[[], None]) -> None:
        self._wake = wake
        self._waiting: queue.SimpleQueue[Request] = queue.SimpleQueue()
        self._taken: list[Request] = []
        self._closed = False

    def ask(self, chamber: str, command: Command) -> Request:
        """Leave a command for the loop; `wait()` on what is returned for the answer."""
        request = Request(chamber, command)
        if self._waiting.qsize() >= MOST_WAITING:
            request.answer(TOO_MANY)
            return request
        self._waiting.put(request)
        if self._closed:
            # Looked at after the put: `close` sees either this request or is seen here.
            request.answer(ENDED)
            return request
        self._wake()
        return request

    def take(self) -> list[Request]:
        """Everything that waits, in the order in which it was asked (the loop does)."""
        self._taken = [request for request in self._all() if request.take_up()]
        return list(self._taken)

    def close(self) -> None:
        """The loop has ended: nobody waits for it in vain from now on."""
        self._closed = True
        for request in (*self._taken, *self._all()):
            request.answer(ENDED)

    def _all(self) -> list[Request]:
        found: list[Request] = []
        while True:
            try:
                found.append(self._waiting.get_nowait())
            except queue.Empty:
                return found
