"""What every territory of bad input has: a grammar of inputs, and a judge.

A judge says whether an input was accepted or refused, and with which words; whatever it raises is
a failure. So is a traceback that somebody logs meanwhile, or a thread that dies of one.
"""

from __future__ import annotations

import logging
import re
import threading
from collections.abc import Sequence
from contextlib import AbstractContextManager
from typing import Any, NamedTuple, Self

from hypothesis import strategies as st


class Verdict(NamedTuple):
    """What became of one input."""

    accepted: bool
    message: str = ""
    """Why it was refused."""


class Territory(AbstractContextManager["Territory"]):
    """One kind of bad input. Entered before the first input, left after the last."""

    name: str
    inputs: st.SearchStrategy[Any]
    """Inputs made of text, bytes, numbers and lists of these, so that each can be saved."""

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        return None

    def judge(self, given: Any) -> Sequence[Verdict]:
        """Try one input; a verdict for each thing that it holds. Raises if a promise is broken."""
        raise NotImplementedError

    def begin_afresh(self) -> None:
        """After a failure: whatever state it has left behind is given up."""


class NoTraceback(logging.Handler, AbstractContextManager["NoTraceback"]):
    """Collects the tracebacks that are logged or end a thread; `check` raises if there were any."""

    def __init__(self) -> None:
        super().__init__()
        self._seen: list[str] = []

    def emit(self, record: logging.LogRecord) -> None:
        if record.exc_info is not None and record.exc_info[0] is not None:
            self._seen.append(logging.Formatter().format(record))

    def __enter__(self) -> Self:
        logging.getLogger().addHandler(self)
        self._hook_before = threading.excepthook
        threading.excepthook = self._thread_ended
        return self

    def __exit__(self, *_: object) -> None:
        logging.getLogger().removeHandler(self)
        threading.excepthook = self._hook_before

    def _thread_ended(self, how: threading.ExceptHookArgs) -> None:
        self._seen.append(f"thread {how.thread} ended: {how.exc_type.__name__}: {how.exc_value}")

    def check(self) -> None:
        seen, self._seen = self._seen, []
        assert not seen, "a traceback:\n" + "\n".join(seen)


_GIVEN = re.compile(r"'(?:[^'\\]|\\.)*'|\"(?:[^\"\\]|\\.)*\"|\S*\d\S*")


def kind_of(message: str) -> str:
    """A message without what differs from input to input: what is quoted, and numbers."""
    return _GIVEN.sub("…", message.splitlines()[0][:400] if message else "")
