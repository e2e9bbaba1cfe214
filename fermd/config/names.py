"""The names that a brewer gives to things in the site file."""

from __future__ import annotations

import re
from typing import Final

NAME: Final = re.compile(r"[^\W_][\w-]{0,39}")

NAME_WORDS: Final = (
    "must be a name of letters, digits, - and _ that begins with a letter or a digit and has at "
    "most 40 characters"
)
