"""Where other threads leave what they ask of the loop, and wait for the answer.

The loop takes everything that is there at each tick; nobody else ever touches a chamber. A
request wakes the loop, so that an answer takes milliseconds and not a sample period.
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


@dataclass(slots=True)
class Request:
    """One command for one chamber (the empty name means the site itself)."""

    chamber: str
    command: Command
    _done: threading.Event = field(default_factory=threading.Event)
    _answer: Answer | None = None

    def answer(self, answer: Answer) -> None:
        """Say what became of it (the loop does)."""
        self._answer = answer
        self._done.set()

    def wait(self, longest_s: float = LONGEST_WAIT_S) -> Answer:
        """Wait for the answer (whoever asked does)."""
        if not self._done.wait(longest_s) or self._answer is None:
            return Answer(False, f"the control loop did not answer within {longest_s:g} s")
        return self._answer


class Requests:
    """The requests that the loop has not taken yet."""

    def __init__(self, wake: Callable[[], None]) -> None:
        self._wake = wake
        self._waiting: queue.SimpleQueue[Request] = queue.SimpleQueue()

    def ask(self, chamber: str, command: Command) -> Request:
        """Leave a command for the loop; `wait()` on what is returned for the answer."""
        request = Request(chamber, command)
        if self._waiting.qsize() >= MOST_WAITING:
            request.answer(Answer(False, "too many requests are waiting: try again in a while"))
            return request
        self._waiting.put(request)
        self._wake()
        return request

    def take(self) -> list[Request]:
        """Everything that waits, in the order in which it was asked (the loop does)."""
        taken: list[Request] = []
        while True:
            try:
                taken.append(self._waiting.get_nowait())
            except queue.Empty:
                return taken
