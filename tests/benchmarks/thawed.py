"""Runs a script with the core's values not frozen: a quarter less time for the same simulation.

    python tests/benchmarks/thawed.py tests/benchmarks/simulated_days.py [its options]

A frozen dataclass sets each field through `object.__setattr__`, and every tick makes some twenty
values of a dozen fields each. That nothing changes a value after it was made is what the tests are
for, which run with the values frozen as the daemon does; a long simulation need not pay for it.
What is computed is the same, to the last bit of the journal. Processes that the script forks are
thawed, too; those that it starts anew are not.
"""

from __future__ import annotations

import dataclasses
import runpy
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

_dataclass: Callable[..., Any] = dataclasses.dataclass


def _thawed(cls: type | None = None, /, **options: Any) -> Any:
    """Make a dataclass that is not frozen, and can be hashed like the one that was asked for."""
    if options.pop("frozen", False) and options.get("eq", True):
        options["unsafe_hash"] = True
    return _dataclass(cls, **options)


def main() -> None:
    """Thaw, then run the script as if it had been named to Python."""
    if len(sys.argv) < 2:
        raise SystemExit(f"usage: {sys.argv[0]} SCRIPT [its options]")
    dataclasses.dataclass = _thawed
    script = sys.argv[1]
    sys.argv = sys.argv[1:]
    sys.path[0] = str(Path(script).parent)
    runpy.run_path(script, run_name="__main__")


if __name__ == "__main__":
    main()
