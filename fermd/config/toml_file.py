"""A TOML file from the disk, or a `ConfigError` that says why not.

Only regular files of at most a megabyte are read: a pipe or a device would never end.
"""

from __future__ import annotations

import os
import re
import stat
import tomllib
from collections.abc import Iterable
from pathlib import Path
from typing import Any, Final

from fermd.config.errors import ABSENT, ConfigError, Fault

LARGEST_FILE_BYTES: Final = 1_000_000

DEEPEST: Final = 20
"""Levels of tables and arrays; four are in use."""

TOO_DEEP: Final = f"is nested too deeply; at most {DEEPEST} levels of tables and arrays are read"

_PLACE = re.compile(r"^(?P<what>.*?) \(at (?P<place>line \d+, column \d+|end of document)\)$", re.S)


def read_toml(path: Path) -> dict[str, Any]:
    """The file as tables and values.

    Raises:
        ConfigError: it cannot be read, is not UTF-8, or is not TOML.

    """
    return parse_toml(read_text(path), path)


def read_text(path: Path) -> str:
    """The file's text.

    Raises:
        ConfigError: it cannot be read, or is not UTF-8.

    """
    try:
        kind = path.stat()
        if stat.S_ISDIR(kind.st_mode):
            raise _whole(path, "is a folder; name the file in it", os.EX_NOINPUT)
        if not stat.S_ISREG(kind.st_mode):
            raise _whole(path, "is not an ordinary file; copy it into one", os.EX_NOINPUT)
        if kind.st_size > LARGEST_FILE_BYTES:
            raise _whole(
                path,
                f"has {kind.st_size} bytes; at most {LARGEST_FILE_BYTES} are read. "
                "Is this the right file?",
            )
        raw = path.read_bytes()
    except FileNotFoundError:
        raise _whole(path, "does not exist; check the name and the folder", os.EX_NOINPUT) from None
    except PermissionError:
        why = "may not be read by this user; check its owner and mode with `ls -l`"
        raise _whole(path, why, os.EX_NOPERM) from None
    except OSError as error:
        why = f"cannot be read: {error.strerror or error}"
        raise _whole(path, why, os.EX_NOINPUT) from None
    except ValueError:  # A name with a NUL in it.
        raise _whole(path, "is not a possible file name", os.EX_NOINPUT) from None
    return _decoded(raw, path)


def parse_toml(text: str, file: Path | str) -> dict[str, Any]:
    """The text as tables and values; `file` is for messages.

    Raises:
        ConfigError: it is empty, or not TOML.

    """
    try:
        tables = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise _whole(file, _syntax(str(error))) from None
    except RecursionError:
        raise _whole(file, TOO_DEEP) from None
    except ValueError as error:  # A number with thousands of digits, a date that does not exist.
        raise _whole(file, f"is not TOML: {error}") from None
    if _is_deeper_than(tables, DEEPEST):
        raise _whole(file, TOO_DEEP)
    if not tables:
        raise _whole(file, "is empty: there is not one key in it")
    return tables


def _decoded(raw: bytes, path: Path) -> str:
    if raw.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise _whole(path, "is UTF-16; save it as UTF-8 without a byte order mark")
    if raw.startswith(b"\xef\xbb\xbf"):
        raise _whole(path, "begins with a byte order mark; save it as UTF-8 without one")
    try:
        return raw.decode("utf-8")
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        why = f"line {line}: byte {raw[error.start]:#04x} is not UTF-8; save the file as UTF-8"
        raise _whole(path, why) from None


def _is_deeper_than(tables: dict[str, Any], levels: int) -> bool:
    layer: list[object] = [tables]
    for _ in range(levels):
        below: list[object] = []
        for part in layer:
            values = part.values() if isinstance(part, dict) else part
            if isinstance(values, Iterable):
                below += [value for value in values if isinstance(value, dict | list)]
        layer = below
    return bool(layer)


def _syntax(message: str) -> str:
    found = _PLACE.match(message)
    what, place = (found["what"], found["place"]) if found else (message, "")
    if "overwrite a value" in what or "twice" in what:
        what = "this key or table is there a second time; keep one of them"
    else:
        what = f"is not TOML: {what}"
    return f"{place}: {what}" if place else what


def _whole(file: Path | str, why: str, exit_code: int = os.EX_CONFIG) -> ConfigError:
    return ConfigError(file, [Fault("", ABSENT, why)], exit_code)
