"""JSON from elsewhere, or a `ConfigError` that says why not.

Stricter than the standard library: no NaN, no key twice, bounded in size and depth.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any, Final, NoReturn

from fermd.config.errors import ConfigError, value_text
from fermd.exchange.carried import DEEPEST, LARGEST_FILE_BYTES, whole

_TOO_DEEP: Final = f"is nested too deeply; at most {DEEPEST} levels are read"


class _UnclearError(ValueError):
    """What is no JSON, or could be read in two ways."""


def parse_json(data: bytes, file: Path | str) -> dict[str, Any]:
    """The document, an object.

    Raises:
        ConfigError: it is too large, not UTF-8, not JSON, or not an object.

    """
    if len(data) > LARGEST_FILE_BYTES:
        raise whole(file, f"has {len(data)} bytes; at most {LARGEST_FILE_BYTES} are read")
    try:
        document = json.loads(
            _decoded(data, file), object_pairs_hook=_object, parse_constant=_no_number
        )
    except json.JSONDecodeError as error:
        place = f"line {error.lineno}, column {error.colno}"
        raise whole(file, f"{place}: is not JSON: {error.msg}") from None
    except RecursionError:
        raise whole(file, _TOO_DEEP) from None
    except _UnclearError as error:
        raise whole(file, str(error)) from None
    except ValueError:
        raise whole(file, "has a number of thousands of digits; is this the right file?") from None
    if _is_deeper_than(document, DEEPEST):
        raise whole(file, _TOO_DEEP)
    if not isinstance(document, dict):
        raise whole(file, "must be an object, {...}, as BeerJSON has it")
    return document


def _decoded(data: bytes, file: Path | str) -> str:
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise whole(file, "is UTF-16 or UTF-32; JSON is UTF-8, so save it as that")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise _not_utf8(file, line, data[error.start]) from None


def _not_utf8(file: Path | str, line: int, byte: int) -> ConfigError:
    return whole(file, f"line {line}: byte {byte:#04x} is not UTF-8; save the file as UTF-8")


def _object(pairs: Sequence[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) < len(pairs):
        seen: set[str] = set()
        for key, _ in pairs:
            if key in seen:
                raise _UnclearError(f"has the key {value_text(key)} twice in one object; keep one")
            seen.add(key)
    return found


def _no_number(word: str) -> NoReturn:
    raise _UnclearError(f"has {word}, which is no number in JSON")


def _is_deeper_than(document: object, levels: int) -> bool:
    layer = [document]
    for _ in range(levels):
        below: list[object] = []
        for part in layer:
            values = part.values() if isinstance(part, dict) else part
            if isinstance(values, Iterable):
                below += [value for value in values if isinstance(value, dict | list)]
        layer = below
    return bool(layer)
