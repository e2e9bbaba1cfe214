"""How many bytes a day the journal writes, for one chamber with two probes.

Run it on the kind of disk that is meant: `python tests/benchmarks/bytes_written.py --folder DIR`.
A day of the loop is gone through as fast as the disk allows: a reading of both probes every 10 s,
about a hundred changes of outputs, the state to remember every minute and with every change, and
the thinning at night. Three figures come out, per day:

- what the kernel counts for the writer's thread (proc(5), `write_bytes`: pages made dirty, at
  4 KiB each),
- the pages that went into SQLite's write-ahead log,
- with `--device loop0` what reached that block device, the file system's own journal included.
"""

from __future__ import annotations

import argparse
import json
import random
import sqlite3
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path

from fermd.config.keeping import ThinningSettings
from fermd.control.events import OutputChanged
from fermd.control.moment import Moment
from fermd.control.reasons import Reason, Rule
from fermd.control.settings import Duty
from fermd.journal.ports import ChamberRecord, LineHistory, ReadingRow
from fermd.journal.settings import JournalSettings
from fermd.journal.writer import SqliteJournal

SAMPLE_S = 10
DAY_S = 86400
START_WALL_S = 1_790_000_000.0


def main() -> None:
    """Go through the days and print the figures of each."""
    options = _options()
    folder = options.folder or Path(tempfile.mkdtemp(prefix="bytes_written-"))
    settings = JournalSettings(
        batch_s=options.batch_s,
        remember_every_s=options.remember_every_s,
        linger_s=0.0,
        thinning=ThinningSettings(options.raw_days, options.minute_days),
    )
    path = folder / "journal.sqlite"
    journal = SqliteJournal(
        path, boot_id="benchmark", moment=_moment(0), version="benchmark", settings=settings
    )
    random.seed(1)
    written, device = 0, _sectors(options.device)
    _say("day  thread MB  log pages MB  device MB  file MB   s")
    for day in range(options.days):
        began_s = time.perf_counter()
        logged = _one_day(journal, path, day, options)
        bytes_now, device_now = journal.figures().bytes_written, _sectors(options.device)
        _say(
            f"{day + 1:3}  {(bytes_now - written) / 1e6:9.2f}  {logged / 1e6:12.2f}  "
            f"{(device_now - device) * 512 / 1e6:9.2f}  {path.stat().st_size / 1e6:7.2f}  "
            f"{time.perf_counter() - began_s:4.1f}"
        )
        written, device = bytes_now, device_now
    journal.close(_moment(options.days * DAY_S), cleanly=True)
    with sqlite3.connect(path) as connection:
        (kept,) = connection.execute("SELECT count(*) FROM readings").fetchone()
        _say(f"{kept} readings are kept")


def _one_day(journal: SqliteJournal, path: Path, day: int, options: argparse.Namespace) -> int:
    """One day of the loop's calls; how many bytes went into the write-ahead log."""
    every_s = DAY_S // options.changes
    line = LineHistory("cool", False, None, None, (), None)
    log = LogWatch(path)
    for second in range(day * DAY_S, (day + 1) * DAY_S, SAMPLE_S):
        moment = _moment(second)
        journal.readings(
            [
                ReadingRow(moment, "lager", "vessel", 12 + round(random.gauss(0, 1)) / 16, None),
                ReadingRow(moment, "lager", "air", 6 + round(random.gauss(0, 9)) / 16, None),
            ]
        )
        changed = second % every_s < SAMPLE_S
        if changed:
            on = not line.on
            line = replace(line, on=on, started_mono_s=moment.mono_s)
            if on:
                starts = (*(s for s in line.starts_mono_s if s > moment.mono_s - 3600), second)
                line = replace(line, starts_mono_s=tuple(map(float, starts)))
            journal.events(moment, "lager", [_change(on, moment)])
        if changed or second % 60 == 0:
            journal.remember(moment, [line], [_record(second)])
        if changed or second % 60 == 0:
            journal.settle()
            log.look()
    journal.thin(_moment((day + 1) * DAY_S))
    journal.settle()
    log.look()
    return log.bytes


class LogWatch:
    """Counts what goes into the write-ahead log, by the place of its newest frame."""

    def __init__(self, path: Path) -> None:
        self._log = path.with_name(path.name + "-wal")
        self._shm = path.with_name(path.name + "-shm")
        self._frames = self._now()
        self.bytes = 0

    def look(self) -> None:
        """Add what has come since the last look."""
        frames = self._now()
        new = frames - self._frames if frames >= self._frames else frames
        self.bytes += new * (1024 + 24)
        self._frames = frames

    def _now(self) -> int:
        # mxFrame of the first copy of the index header (sqlite.org/walformat.html, section 2.1).
        with self._shm.open("rb") as index:
            return int.from_bytes(index.read(20)[16:20], sys.byteorder)


def _change(on: bool, moment: Moment) -> OutputChanged:
    reasons = (
        Reason(Rule.ABOVE_BAND, 12.375, 12.3),
        Reason(Rule.MINIMUM_RUN, until_mono_s=moment.mono_s + 180.0),
    )
    return OutputChanged(Duty.COOL, "fridge", "cool", on, reasons)


def _record(second: int) -> ChamberRecord:
    steps = [
        {"kind": "hold", "name": f"step {n}", "target_c": 12.0, "for_s": 86400.0 * n}
        for n in range(8)
    ]
    state = {
        "profile": {"name": "lager", "steps": steps},
        "index": 2,
        "elapsed_s": float(second),
        "entry_c": 12.0,
        "extra_s": 0.0,
        "reached": True,
        "alarms": [],
        "target": {"heat_c": 12.0, "cool_c": 12.0},
    }
    return ChamberRecord("lager", json.dumps(state))


def _say(line: str) -> None:
    sys.stdout.write(line + "\n")
    sys.stdout.flush()


def _moment(second: int) -> Moment:
    return Moment(second + 0.25, START_WALL_S + second + 0.25, wall_trusted=True)


def _sectors(device: str | None) -> int:
    if device is None:
        return 0
    return int(Path(f"/sys/block/{device}/stat").read_text(encoding="ascii").split()[6])


def _options() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--folder", type=Path, help="where; a temporary folder otherwise")
    parser.add_argument("--device", help="block device below it, as in /sys/block")
    parser.add_argument("--days", type=int, default=3)
    parser.add_argument("--changes", type=int, default=100, help="of outputs, a day")
    parser.add_argument("--raw-days", type=float, default=ThinningSettings().raw_days)
    parser.add_argument("--minute-days", type=float, default=ThinningSettings().minute_days)
    parser.add_argument("--batch-s", type=float, default=JournalSettings().batch_s)
    parser.add_argument(
        "--remember-every-s", type=float, default=JournalSettings().remember_every_s
    )
    return parser.parse_args()


if __name__ == "__main__":
    main()
