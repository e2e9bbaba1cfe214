"""The ready queries of fermd/journal/README.md, on a batch that was simulated, with their answers.

The answers are worked out a second time from the single rows, in Python.
"""

from __future__ import annotations

import itertools
import re
import sqlite3
from collections import Counter, defaultdict
from contextlib import closing
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest

import fermd.journal
from fermd.cli.demo import run_batch
from fermd.cli.demo_screen import LineScreen
from fermd.cli.demo_site import DEMO_SITE
from fermd.config.profile_file import find_profile, load_profile
from fermd.config.site_file import parse_site
from fermd.control.events import AlarmChanged, OutputChanged, StepChanged, TargetChanged
from fermd.control.moment import Moment
from fermd.journal.curves import Resolution
from fermd.journal.reader import JournalReader
from fermd.journal.writer import SqliteJournal
from fermd.service.snapshot import Snapshot

PAGE = Path(fermd.journal.__file__).with_name("README.md").read_text(encoding="utf-8")
QUERIES = {
    int(number): sql
    for number, sql in re.findall(r"^### (\d+)\..*?```sql\n(.*?)```", PAGE, re.M | re.S)
}


class Quiet(LineScreen):
    """Shows nothing."""

    def show(self, snapshot: Snapshot, chamber: str, total_s: float) -> None:
        return None


@pytest.fixture(scope="module")
def batch(tmp_path_factory: pytest.TempPathFactory) -> JournalReader:
    """A cold crash on the simulated chamber, thinned as in the night after it."""
    path = tmp_path_factory.mktemp("batch") / "journal.db"
    text = DEMO_SITE.replace("time_zone =", "sample_period_s = 30\ntime_zone =", 1)
    site = replace(parse_site(text, Path("demo.toml")), journal_path=path)
    run_batch(site, load_profile(find_profile("cold-crash")), None, 1, Quiet())
    last = JournalReader(path).last_events(1)[0].moment
    later = Moment(last.mono_s + 60.0, last.wall_utc_s + 60.0, wall_trusted=True)
    with closing(sqlite3.connect(path)) as connection:
        (boot_id,) = connection.execute("SELECT max(boot_id) FROM boots").fetchone()
    journal = SqliteJournal(path, boot_id=boot_id, moment=later, version="1")
    journal.thin(later)
    assert journal.settle(60.0)
    journal.close(later, cleanly=True)
    return JournalReader(path)


def answers(batch: JournalReader, number: int) -> list[tuple[object, ...]]:
    """As any SQLite program gives them, from a file that cannot be written."""
    with closing(sqlite3.connect(f"file:{batch.path}?mode=ro", uri=True)) as connection:
        return connection.execute(QUERIES[number]).fetchall()


def readings(batch: JournalReader) -> list[tuple[str, float, float | None]]:
    """Probe, wall time and temperature of every raw reading."""
    found = batch.temperatures(0, 1e12, resolution=Resolution.RAW).points
    return [(one.probe, one.wall_utc_s, one.mean_c) for one in found]


def test_there_are_ten_of_them() -> None:
    assert list(QUERIES) == list(range(1, 11))


def test_1_what_happened_last(batch: JournalReader) -> None:
    found = answers(batch, 1)
    last = batch.last_events(20)[::-1]
    assert len(found) == 20
    told = [datetime.fromtimestamp(one.moment.wall_utc_s, UTC) for one in last]
    assert [row[0] for row in found] == [f"{one:%Y-%m-%d %H:%M:%S}" for one in told]
    assert [row[1] for row in found] == [one.chamber for one in last]


def test_2_the_beer_hour_by_hour(batch: JournalReader) -> None:
    by_hour = defaultdict(list)
    for probe, wall_s, temp_c in readings(batch):
        if temp_c is not None:
            # Quarter hours are cut by the boot's clock: an hour's edge is exact to one of them.
            by_hour[probe, wall_s // 3600].append(temp_c)
    found = answers(batch, 2)
    assert len(found) >= len(by_hour) - 2
    assert min(row[3] for row in found) == min(min(temps) for temps in by_hour.values())
    assert max(row[5] for row in found) == max(max(temps) for temps in by_hour.values())
    for _, probe, hour, coldest, mean, warmest in found:
        assert coldest <= mean <= warmest
        at_h = datetime.fromisoformat(hour).replace(tzinfo=UTC).timestamp() // 3600
        near = [temp for h in (at_h - 1, at_h, at_h + 1) for temp in by_hour[probe, h]]
        assert min(near) <= coldest
        assert warmest <= max(near)


def test_3_hours_near_the_target(batch: JournalReader) -> None:
    targets = [
        (row.moment.wall_utc_s, row.happening.cool_c or row.happening.heat_c)
        for row in batch.last_events(100_000)
        if isinstance(row.happening, TargetChanged)
    ]
    counted: Counter[tuple[str, bool]] = Counter()
    for point in batch.temperatures(0, 1e12, resolution=Resolution.MINUTE).points:
        before = [target for since_s, target in targets if since_s <= point.wall_utc_s]
        if before and before[-1] is not None and point.mean_c is not None:
            counted[point.probe, abs(point.mean_c - before[-1]) <= 0.5] += 1
    for _, probe, hours, within in answers(batch, 3):
        assert hours == round((counted[probe, True] + counted[probe, False]) / 60, 2)
        assert within == round(counted[probe, True] / 60, 2)
    assert {row[1] for row in answers(batch, 3)} == {"vessel", "air"}


def test_4_the_warmest_and_the_coldest(batch: JournalReader) -> None:
    for _, probe, what, temp_c, utc in answers(batch, 4):
        temps = {(wall_s, temp) for name, wall_s, temp in readings(batch) if name == probe and temp}
        edge = (max if what == "warmest" else min)(temp for _, temp in temps)
        assert temp_c == edge
        start_s = datetime.fromisoformat(utc).replace(tzinfo=UTC).timestamp()
        assert any(temp == edge and start_s - 1 <= wall_s < start_s + 61 for wall_s, temp in temps)


def runs(batch: JournalReader) -> dict[str, list[tuple[float, float]]]:
    """Start and end of every run, s of the boot's clock, from the single changes."""
    found: dict[str, list[tuple[float, float]]] = defaultdict(list)
    began: dict[str, float] = {}
    for row in batch.last_events(100_000):
        if isinstance(change := row.happening, OutputChanged):
            if change.on:
                began[change.output] = row.moment.mono_s
            elif change.output in began:
                found[change.output].append((began.pop(change.output), row.moment.mono_s))
    return found


def test_5_work_by_day(batch: JournalReader) -> None:
    found, single = answers(batch, 5), runs(batch)
    assert {row[2] for row in found} == set(single)
    for output, spans in single.items():
        of_it = [row for row in found if row[2] == output]
        assert abs(sum(row[3] for row in of_it) - len(spans)) <= 1  # one may run still
        ran_h = sum(end - start for start, end in spans) / 3600
        assert sum(row[4] for row in of_it) == pytest.approx(ran_h, abs=0.01)
        longest_min = max(end - start for start, end in spans) / 60
        assert max(row[6] for row in of_it if row[6]) == pytest.approx(longest_min, abs=0.01)
    assert all(row[5] == pytest.approx(row[4] / 0.24, abs=0.06) for row in found if row[4])


def test_6_the_shortest_rest_is_no_shorter_than_the_minimum_off_time(batch: JournalReader) -> None:
    shortest = {output: minutes for _, output, minutes in answers(batch, 6)}
    for output, spans in runs(batch).items():
        rests = [later[0] - before[1] for before, later in itertools.pairwise(spans)]
        if rests:
            assert shortest[output] == pytest.approx(min(rests) / 60, abs=0.02)
    site = parse_site(DEMO_SITE, Path("demo.toml"))
    (fridge,) = [one for one in site.settings.chambers[0].outputs if one.name == "fridge"]
    assert shortest["fridge"] * 60 >= fridge.protection.minimum_off_s


def test_7_why_outputs_went_on_and_off(batch: JournalReader) -> None:
    counted: Counter[tuple[str, str, str | None]] = Counter()
    for row in batch.last_events(100_000):
        if isinstance(change := row.happening, OutputChanged):
            rule = change.reasons[0].rule.value if change.reasons else None
            counted[change.output, "on" if change.on else "off", rule] += 1
    assert {tuple(row[1:4]): row[4] for row in answers(batch, 7)} == counted


def test_8_the_steps_of_the_profile(batch: JournalReader) -> None:
    profile = load_profile(find_profile("cold-crash"))
    entered = [
        row
        for row in batch.last_events(100_000)
        if isinstance(row.happening, StepChanged) and row.happening.change.value == "entered"
    ]
    found = answers(batch, 8)
    assert [row[2] for row in found] == list(range(1, len(profile.steps) + 1))
    assert [row[3] for row in found] == [step.kind for step in profile.steps]
    hours = [
        round((later.moment.wall_utc_s - before.moment.wall_utc_s) / 3600, 1)
        for before, later in itertools.pairwise(entered)
    ]
    assert [row[6] for row in found] == [*hours, None]


def test_9_alarms_and_how_long_they_stood(batch: JournalReader) -> None:
    stood = {}
    raised = {}
    for row in batch.last_events(100_000):
        if isinstance(alarm := row.happening, AlarmChanged):
            key = (alarm.alarm, alarm.subject)
            if alarm.phase.value == "raised":
                raised[key] = row
                stood[row.seq] = None
            elif alarm.phase.value == "cleared" and key in raised:
                before = raised.pop(key)
                lasted_s = row.moment.wall_utc_s - before.moment.wall_utc_s
                stood[before.seq] = round(lasted_s / 60, 1)
    assert stood, "the batch has alarms"
    assert [row[5] for row in answers(batch, 9)] == pytest.approx(list(stood.values()), abs=0.11)


def test_10_the_share_of_faulty_readings(batch: JournalReader) -> None:
    counted: Counter[tuple[str, bool]] = Counter()
    for probe, _, temp_c in readings(batch):
        counted[probe, temp_c is None] += 1
    found = {row[1]: row[2:] for row in answers(batch, 10)}
    for probe, (good, faulty, share) in found.items():
        assert (good, faulty) == (counted[probe, False], counted[probe, True])
        assert share == round(1e6 * faulty / (good + faulty))
    assert set(found) == {"vessel", "air"}
