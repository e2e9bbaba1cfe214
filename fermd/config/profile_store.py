"""The brewer's own profiles: a folder beside the site file, written to whole or not at all.

Only what `fermd check` would accept for every chamber of the site is saved, and never under the
name of a profile that comes with fermd.
"""

from __future__ import annotations

import contextlib
import os
import re
import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from fermd.config.errors import ABSENT, ConfigError, Fault
from fermd.config.profile_file import (
    ENDING,
    check_against,
    parse_profile,
    profiles_by_name,
    shipped_profiles,
)
from fermd.config.toml_file import read_text
from fermd.control.settings import ChamberSettings
from fermd.control.steps import Profile

FOLDER_NAME: Final = "profiles"
"""Of the brewer's own profiles, beside the site file."""

NAME: Final = re.compile(r"[a-z0-9][a-z0-9_-]{0,59}", re.I)
NAME_WORDS: Final = (
    "must be of letters (a to z), digits, - and _, begin with a letter or a digit and have at most "
    "60 characters"
)

_STEP_KEY: Final = re.compile(r"step\[([0-9]+)\](?:\.(.+))?")
_PLACE: Final = re.compile(r"line ([0-9]+)")


class NotKept(Exception):  # noqa: N818 - reads as what it says
    """A profile that cannot be saved or taken away; the text says why."""


@dataclass(frozen=True, slots=True)
class Kept:
    """A profile that there is."""

    name: str
    path: Path
    is_own: bool


class ProfileStore:
    """All profiles of a site."""

    def __init__(self, site_path: Path) -> None:
        self.folder: Final = site_path.absolute().parent / FOLDER_NAME

    def all(self) -> Mapping[str, Kept]:
        """Every profile by name; one's own hides a shipped one of the same name."""
        shipped = set(shipped_profiles().values())
        return {
            name: Kept(name, path, path not in shipped)
            for name, path in profiles_by_name([self.folder]).items()
        }

    def text(self, name: str) -> str:
        """Return a profile's text. Raises KeyError if there is none, ConfigError if unreadable."""
        return read_text(self.all()[name].path)

    def save(self, name: str, text: str, chambers: Sequence[ChamberSettings]) -> str | None:
        """Save one's own profile; returns the text that was there before.

        Raises:
            ConfigError: what `fermd check` would find wrong with it.
            NotKept: a name that is none or is fermd's own, or a folder that cannot be written to.

        """
        path = self._own_path(name)
        checked(text, name, chambers)
        before = read_text(path) if path.exists() else None
        try:
            self.folder.mkdir(exist_ok=True)
            _replace(path, text)
        except OSError as error:
            raise self._unwritable(error) from error
        return before

    def delete(self, name: str) -> str:
        """Take one's own profile away; returns its text. Raises NotKept."""
        path = self._own_path(name)
        try:
            text = read_text(path)
            path.unlink()
        except ConfigError as error:
            raise NotKept(f"there is no profile of your own of the name {name!r}") from error
        except OSError as error:
            raise self._unwritable(error) from error
        return text

    def _own_path(self, name: str) -> Path:
        if not NAME.fullmatch(name):
            raise NotKept(f"the name {name[:80]!r} {NAME_WORDS}")
        if name in shipped_profiles():
            raise NotKept(f"{name!r} comes with fermd and stays as it is: choose another name")
        return self.folder / (name + ENDING)

    def _unwritable(self, error: OSError) -> NotKept:
        why = error.strerror or str(error)
        return NotKept(
            f"{self.folder}: cannot be written to ({why}); make it, and give it to the user that "
            "the daemon runs as"
        )


def checked(text: str, file: str, chambers: Sequence[ChamberSettings]) -> Profile:
    """Read a profile as `fermd check` does with a site: held against all of its chambers.

    Raises:
        ConfigError: with all faults.

    """
    # With one chamber, what that would never do is found beside what is wrong in the text.
    profile = parse_profile(text, file, chambers[0] if len(chambers) == 1 else None)
    found = dict.fromkeys(fault for one in chambers for fault in check_against(profile, one))
    if found:
        raise ConfigError(file, tuple(found))
    return profile


def line_of(text: str, fault: Fault) -> int | None:
    """The line of a profile's text that a fault is about, from 1; None for the whole."""
    if (said := _PLACE.match(fault.why)) is not None and fault.value is ABSENT:
        return int(said[1])
    lines = text.splitlines()
    key = fault.key
    first, last = 0, len(lines)
    if (step := _STEP_KEY.fullmatch(fault.key)) is not None:
        heads = [n for n, line in enumerate(lines) if re.match(r"\s*\[\[\s*step\s*\]\]", line)]
        number = int(step[1])
        if number > len(heads):
            return None
        first = heads[number - 1]
        last = heads[number] if number < len(heads) else len(lines)
        key = step[2] or ""
    named = re.split(r"[.\[]", key)[0]
    if named:
        pattern = re.compile(rf'\s*"?{re.escape(named)}"?\s*[=.]')
        for index in range(first, last):
            if pattern.match(lines[index]):
                return index + 1
    return first + 1 if step is not None else None


def _replace(path: Path, text: str) -> None:
    """Write a file whole: the old one stays until the new one is on the disk."""
    descriptor, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}-")
    try:
        with os.fdopen(descriptor, "w", encoding="utf-8", newline="") as file:
            os.fchmod(file.fileno(), 0o644)
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        Path(name).replace(path)
    except BaseException:
        with contextlib.suppress(FileNotFoundError):
            Path(name).unlink()
        raise
