"""What came over from another format, and what did not.

A target or a time that a profile cannot hold is no matter of form: it is refused here with what
is allowed, so that an imported profile is one that `fermd.config` takes.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from fermd.config.errors import ABSENT, ConfigError, Fault
from fermd.control.steps import Profile, StepS, TargetC

_step_s: Any = StepS
_target_c: Any = TargetC

LOWEST_C: Final[float] = _target_c.__metadata__[0].ge
HIGHEST_C: Final[float] = _target_c.__metadata__[1].le
LONGEST_S: Final[float] = _step_s.__metadata__[1].le

LARGEST_FILE_BYTES: Final = 4_000_000
"""Of a document. A recipe takes some 10 to 30 kB, so this is a brewer's whole collection."""

DEEPEST: Final = 40
"""Levels in a document; the standards need ten."""

MOST_STEPS: Final = 300
"""Of a fermentation. Far beyond what anybody brews, and its profile stays a readable file."""

LONGEST_NAME: Final = 120
"""Characters of a name that are carried over."""

LONGEST_TEXT: Final = 2000
"""Characters of a description that are carried over."""


@dataclass(frozen=True, slots=True)
class LeftOut:
    """Something that could not be carried over, or not as it stands."""

    where: str
    """Its place: a dotted path in the document that was read, entries counted from 1, or the
    step of the profile that was written."""
    what: str
    """The thing itself, as it stands there."""
    why: str
    """Why not, and what stands in its place if anything does."""

    def __str__(self) -> str:
        return f"{self.where}: {self.what}: {self.why}"


@dataclass(frozen=True, slots=True)
class Carried:
    """A profile made from a document of another format."""

    profile: Profile
    left_out: tuple[LeftOut, ...]


def refused(file: Path | str, faults: Sequence[Fault]) -> ConfigError:
    """The error for a document whose content cannot be used."""
    return ConfigError(file, faults, os.EX_DATAERR)


def whole(file: Path | str, why: str, exit_code: int = os.EX_DATAERR) -> ConfigError:
    """The error for a document that cannot be used as a whole."""
    return ConfigError(file, [Fault("", ABSENT, why)], exit_code)


def temperature_fault(temp_c: float) -> str:
    """What is wrong with a target of `temp_c`; empty if nothing is."""
    if LOWEST_C <= temp_c <= HIGHEST_C:
        return ""
    low_f, high_f = LOWEST_C * 9 / 5 + 32, HIGHEST_C * 9 / 5 + 32
    return (
        f"must be from {LOWEST_C:g} to {HIGHEST_C:g} °C ({low_f:g} to {high_f:g} °F), what a "
        "profile may ask for"
    )


def tidy(text: str, longest: int) -> str:
    """A text from elsewhere on one line, without what is not printable, cut if it is too long."""
    # Cut first: of a text without an end only as much is looked at as can be needed.
    part = text[: 4 * longest]
    shown = "".join(c if c.isprintable() else " " if c in "\r\n\t" else "\ufffd" for c in part)
    shown = " ".join(shown.split())
    return shown if len(shown) <= longest else shown[: longest - 1].rstrip() + "…"
