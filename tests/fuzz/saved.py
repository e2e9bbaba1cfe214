"""An input as a JSON file, so that a failure can be replayed; bytes are included."""

from __future__ import annotations

import base64
import json
from pathlib import Path
from typing import Any

_BYTES = "bytes, base64"


def save(path: Path, territory: str, given: Any) -> None:
    path.write_text(json.dumps({"territory": territory, "input": _plain(given)}), "ascii")


def load(path: Path) -> tuple[str, Any]:
    saved = json.loads(path.read_text("ascii"))
    return saved["territory"], _back(saved["input"])


def size(given: Any) -> tuple[int, str]:
    """How large an input is, to choose the smallest of those that fail."""
    text = json.dumps(_plain(given))
    return len(text), text


def _plain(given: Any) -> Any:
    if isinstance(given, bytes):
        return {_BYTES: base64.b64encode(given).decode("ascii")}
    if isinstance(given, list | tuple):
        return [_plain(one) for one in given]
    return given


def _back(plain: Any) -> Any:
    if isinstance(plain, dict):
        return base64.b64decode(plain[_BYTES])
    if isinstance(plain, list):
        return [_back(one) for one in plain]
    return plain
