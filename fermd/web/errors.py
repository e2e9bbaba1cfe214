"""What can go wrong with serving the interface."""

from __future__ import annotations


class SocketInUseError(RuntimeError):
    """Something else listens on the socket's path; the text says what to do."""
