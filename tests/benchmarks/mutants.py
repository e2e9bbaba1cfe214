"""Figures of a mutation run of the core, and whether every survivor is listed and explained.

Run it from the root of the repository after `mutmut run` (see `tests/control/mutants.md`). Prints a
table by file and every survivor that the list does not have; ends with 1 if there is one, if less
than `LEAST_SHARE` of all mutants were killed, or if a mutant was not run.
"""

from __future__ import annotations

import json
import re
import sys
from collections import Counter
from pathlib import Path

from mutmut.mutation.diff_apply import get_diff_for_mutant
from mutmut.utils.format_utils import orig_function_and_class_names_from_key

LISTED = Path("tests/control/mutants.md")
LEAST_SHARE = 0.95
KILLED, SURVIVED = {1, 3}, {0, 5, 33}
TIMED_OUT = {24, 36, 152, 255, -9, -24}
"""Exit codes of the tests on a mutant: failed; passed, or none to run; ended from outside because
the mutant ran on for ever, which counts as killed."""

Place = tuple[str, str, str]
"""File, function and change, without layout."""


def place(cells: list[str]) -> Place:
    bare = [re.sub(r"[\s`\\]+", "", cell) for cell in cells]
    return bare[0], bare[1], bare[2]


def listed() -> set[Place]:
    """The survivors that the list has: its rows of four cells."""
    rows = [re.split(r"(?<!\\)\|", line) for line in LISTED.read_text("utf-8").splitlines()]
    return {place(cells[1:]) for cells in rows if len(cells) == 6}


def change(name: str, path: Path) -> str:
    """What a mutant changed, as the list writes it: the new code, or what was left out."""
    lines = get_diff_for_mutant(name, path=path).splitlines()[2:]
    new = " ".join(line[1:].strip() for line in lines if line.startswith("+"))
    old = " ".join(line[1:].strip() for line in lines if line.startswith("-"))
    return new if new not in ("", ")") else f"without {old}"


def row(cells: list[object]) -> str:
    return "| " + " | ".join(str(cell) for cell in cells) + " |"


def share(counted: Counter[str]) -> float:
    """The killed among those that were run."""
    ran = counted["mutants"] - counted["not run"]
    return (counted["killed"] + counted["timed out"]) / ran if ran else 0.0


def figures(name: str, counted: Counter[str]) -> str:
    kinds = ("mutants", "killed", "timed out", "survived", "not run")
    return row([name, *(counted[kind] for kind in kinds), f"{100 * share(counted):.1f}"])


def verdict(code: int | None) -> str:
    if code in KILLED:
        return "killed"
    if code in TIMED_OUT:
        return "timed out"
    return "survived" if code in SURVIVED else "not run"


def main() -> int:
    known, total, unlisted = listed(), Counter[str](), []
    print(row(["file", "mutants", "killed", "timed out", "survived", "not run", "killed %"]))
    print(row(["---"] + ["--:"] * 6))
    for meta in sorted(Path("mutants/fermd/control").glob("*.py.meta")):
        path = Path("fermd/control") / meta.name.removesuffix(".meta")
        codes = json.loads(meta.read_text("utf-8"))["exit_code_by_key"]
        if not codes:
            continue
        counted = Counter({"mutants": len(codes)})
        for name, code in codes.items():
            told = verdict(code)
            counted[told] += 1
            if told == "survived":
                function, _ = orig_function_and_class_names_from_key(name)
                cells = [path.name, function, change(name, path)]
                if place(cells) not in known:
                    escaped = cells[2].replace("|", "\\|")
                    unlisted.append(row([cells[0], f"`{cells[1]}`", f"`{escaped}`", "?"]))
        print(figures(path.name, counted))
        total += counted
    print(figures("all", total))
    if unlisted:
        print("\nSurvivors that are not listed:\n\n" + "\n".join(unlisted))
    good = share(total) >= LEAST_SHARE and not total["not run"] and not unlisted
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main())
