"""The soak is a command; its parts are found where they lie, beside the rig that it builds on."""

from __future__ import annotations

import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(room) for room in (HERE, HERE.parent / "process") if str(room) not in sys.path]
