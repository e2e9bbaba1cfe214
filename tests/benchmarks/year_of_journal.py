"""Where the benchmarks have a year's journal from: one that is named, kept, or made now.

Of these options every benchmark of a year's journal has the same: `--folder DIR` keeps a journal
for the next run; `--journal FILE` takes one that is there already, of any origin (a copy of a real
one, say); `--made-up` makes one in a minute or two by made_up_cellar.py, in place of the year that
simulated_year.py lives through in a quarter of an hour (ten chambers: in two hours).
"""

from __future__ import annotations

import argparse
import sqlite3
import subprocess
import sys
import time
from contextlib import closing
from pathlib import Path

import made_up_cellar

from fermd.journal.schema import migrate


def options_of(description: str | None) -> argparse.ArgumentParser:
    """Return the options by which a journal is named."""
    parser = argparse.ArgumentParser(description=(description or "").splitlines()[0])
    where = parser.add_mutually_exclusive_group(required=True)
    where.add_argument("--folder", type=Path, help="where the journal is kept")
    where.add_argument("--journal", type=Path, help="a journal that is there already")
    parser.add_argument("--made-up", action="store_true", help="not lived through, but made up")
    parser.add_argument("--chambers", type=int, default=1)
    parser.add_argument("--days", type=int, default=365)
    parser.add_argument("--close-days", type=int, default=30, help="sampled every ten seconds")
    parser.add_argument("--anew", action="store_true", help="make the journal anew")
    return parser


def journal_of(options: argparse.Namespace) -> Path:
    """Return the journal, made if it is not there, and of today's schema."""
    path: Path = options.journal or _kept(options)
    if not path.exists():
        raise SystemExit(f"{path}: there is no such journal")
    with closing(sqlite3.connect(path, isolation_level=None)) as connection:
        migrate(connection)
    return path


def _kept(options: argparse.Namespace) -> Path:
    folder: Path = options.folder
    folder.mkdir(parents=True, exist_ok=True)
    origin = "made-up" if options.made_up else "simulated"
    path = folder / f"{options.chambers}-chambers-{options.days}-days-{origin}.sqlite"
    if path.exists() and not options.anew:
        return path
    path.unlink(missing_ok=True)
    if options.made_up:
        began_s = time.process_time()
        making = path.with_suffix(".making")
        for left_over in folder.glob(making.name + "*"):
            left_over.unlink()
        made_up_cellar.make(making, options.chambers, options.days, options.close_days)
        making.rename(path)
        print(f"made up in {time.process_time() - began_s:.0f} s CPU: {path}", flush=True)
        return path
    beside = Path(__file__).parent
    asked = {name: getattr(options, name) for name in ("chambers", "days", "close_days")}
    words = [f"--{name.replace('_', '-')}={value}" for name, value in asked.items()]
    command = [beside / "thawed.py", beside / "simulated_year.py", "--journal", path, *words]
    subprocess.run([sys.executable, *map(str, command)], check=True)
    return path


def probes_of(path: Path, chamber: str) -> tuple[str, str]:
    """Return the names of a chamber's vessel probe and air probe."""
    with closing(sqlite3.connect(path)) as connection:
        found = connection.execute("SELECT probe FROM probes WHERE chamber = ?", [chamber])
        air, vessel = sorted(name for (name,) in found if name.startswith(("air", "vessel")))
    return vessel, air
