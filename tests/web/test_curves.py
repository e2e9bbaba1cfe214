"""Curves against the rows of the journal that they are made from."""

from __future__ import annotations

import sqlite3
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from web_rig import PROFILE, Caller, running_site, until

from fermd.control.events import OutputChanged, StepChange, StepChanged, TargetChanged
from fermd.control.moment import Moment
from fermd.control.settings import Duty
from fermd.control.steps import Target
from fermd.control.wording import Unit
from fermd.journal.ports import ReadingRow
from fermd.journal.reader import JournalReader
from fermd.journal.writer import SqliteJournal
from fermd.web.curves import Wanted, read_curves

NOON_S = 1_800_000_000.0
PERIOD_S = 10.0
HOUR_S = 3600.0


class Record:
    """A journal that is written by hand, ten seconds a row."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.journal = SqliteJournal(path, boot_id="boot", moment=self.at(0.0), version="test")

    def at(self, mono_s: float) -> Moment:
        return Moment(mono_s, NOON_S + mono_s, wall_trusted=True)

    def read(self, mono_s: float, temp_c: float | None, probe: str = "vessel") -> None:
        fault = None if temp_c is not None else "crc"
        row = ReadingRow(self.at(mono_s), "lager", probe, temp_c, fault)
        self.journal.readings([row])

    def tell(self, mono_s: float, *events: Any) -> None:
        self.journal.events(self.at(mono_s), "lager", events)

    def curves(self, from_s: float, to_s: float, points: int = 100, **more: Any) -> Any:
        assert self.journal.flush()
        wanted = {
            "chamber": "lager", "probes": ["vessel"], "points": points,
            "from_utc_s": NOON_S + from_s, "to_utc_s": NOON_S + to_s,
            "sample_period_s": PERIOD_S, "now_utc_s": NOON_S + to_s,
            "target_now": None, "unit": Unit.CELSIUS,
        } | more  # fmt: skip
        return read_curves(JournalReader(self.path), Wanted(**wanted))


@pytest.fixture
def record(tmp_path: Path) -> Iterator[Record]:
    one = Record(tmp_path / "journal.db")
    yield one
    one.journal.close(one.at(1e6), cleanly=True)


def test_every_bucket_has_the_lowest_mean_and_highest_of_its_readings(record: Record) -> None:
    temps_c = [10.0 + ((n * 7919) % 100) / 50.0 for n in range(360)]
    temps_c[123] = 35.5  # A spike must show at every zoom.
    for n, temp_c in enumerate(temps_c):
        record.read(n * PERIOD_S, temp_c)
    for points in (10, 20, 50, 100, 200):
        found = record.curves(0.0, HOUR_S, points)
        start_s, bucket_s = found["from_utc_s"] - NOON_S, found["bucket_s"]
        vessel = found["probes"]["vessel"]
        assert found["count"] <= points + 2
        for index in range(found["count"]):
            low_s = start_s + index * bucket_s
            inside = [
                temp_c
                for n, temp_c in enumerate(temps_c)
                if low_s <= n * PERIOD_S < low_s + bucket_s
            ]
            seen = [vessel[key][index] for key in ("min_c", "mean_c", "max_c")]
            if not inside:
                assert seen == [None] * 3
                continue
            mean_c = sum(inside) / len(inside)
            assert seen == pytest.approx([min(inside), mean_c, max(inside)], abs=0.0006)
        assert max(one for one in vessel["max_c"] if one is not None) == 35.5


def test_a_month_on_rollups_says_what_its_raw_readings_said(record: Record) -> None:
    for n in range(0, 40 * 360, 6):  # 40 hours, a row a minute
        record.read(n * PERIOD_S, 8.0 + (n % 97) / 97.0)
    record.journal.thin(record.at(40 * HOUR_S))
    assert record.journal.settle()
    found = record.curves(0.0, 40 * HOUR_S, 80)
    assert found["bucket_s"] >= 1800
    vessel = found["probes"]["vessel"]
    with sqlite3.connect(record.path) as db:
        (low_c, high_c, mean_c) = db.execute(
            "SELECT min(temp_c), max(temp_c), avg(temp_c) FROM readings"
        ).fetchone()
    db.close()
    assert min(one for one in vessel["min_c"] if one is not None) == pytest.approx(low_c, abs=1e-3)
    assert max(one for one in vessel["max_c"] if one is not None) == pytest.approx(high_c, abs=1e-3)
    means = [one for one in vessel["mean_c"] if one is not None]
    assert sum(means) / len(means) == pytest.approx(mean_c, abs=0.01)


def test_a_gap_stays_a_gap_and_none_is_made_up(record: Record) -> None:
    for n in range(360):
        if 100 <= n < 200:
            continue
        record.read(n * PERIOD_S, 10.0 if n < 250 or n >= 280 else None)
    for points in (36, 90, 180):
        found = record.curves(0.0, HOUR_S, points)
        means = found["probes"]["vessel"]["mean_c"]
        for index, mean_c in enumerate(means):
            low_s = found["from_utc_s"] - NOON_S + index * found["bucket_s"]
            high_s = low_s + found["bucket_s"]
            there = any(
                low_s <= n * PERIOD_S < high_s
                for n in range(360)
                if not 100 <= n < 200 and not 250 <= n < 280
            )
            assert (mean_c is not None) is there, (points, low_s)


def step(index: int, kind: str) -> StepChanged:
    return StepChanged("Lager", index, kind, "", StepChange.ENTERED, 0.0)


def target(temp_c: float | None, source: str = "profile") -> TargetChanged:
    return TargetChanged(temp_c, temp_c, source)


def test_the_target_is_a_step_where_it_was_set_and_straight_along_a_ramp(record: Record) -> None:
    record.tell(-2 * HOUR_S, target(None, "off"))
    record.tell(600.0, step(0, "hold"), target(10.0))
    # A ramp from where the target is says nothing of the target at its start.
    record.tell(1200.0, step(1, "ramp"))
    record.tell(2400.0, step(2, "hold"), target(14.0))
    record.tell(3000.0, target(12.0, "hand"))
    found = record.curves(0.0, HOUR_S, 180)
    for index, cool_c in enumerate(found["target"]["cool_c"]):
        at_s = found["from_utc_s"] - NOON_S + (index + 0.5) * found["bucket_s"]
        if at_s < 600.0:
            wanted = None
        elif at_s < 1200.0:
            wanted = 10.0
        elif at_s < 2400.0:
            wanted = 10.0 + 4.0 * (at_s - 1200.0) / 1200.0
        elif at_s < 3000.0:
            wanted = 14.0
        else:
            wanted = 12.0
        if wanted is None or at_s >= HOUR_S:
            assert at_s >= HOUR_S or cool_c is None
        else:
            assert cool_c == pytest.approx(wanted, abs=0.001), at_s
    assert [one[1] for one in found["target_changes"]] == [10.0, 14.0, 12.0]


def test_a_ramp_under_way_goes_to_where_the_target_is_now(record: Record) -> None:
    record.tell(0.0, step(0, "ramp"), target(18.0))
    found = record.curves(600.0, 1800.0, 60, target_now=Target.at(16.0))
    middle = found["target"]["cool_c"][len(found["target"]["cool_c"]) // 2]
    assert middle == pytest.approx(18.0 - 2.0 * 1200.0 / 1800.0, abs=0.05)


def output(on: bool, name: str = "fridge") -> OutputChanged:
    return OutputChanged(Duty.COOL, name, "sim:17", on, ())


def test_runs_are_cut_to_the_span_and_one_that_goes_on_has_no_end(record: Record) -> None:
    record.tell(-600.0, output(True))
    record.tell(300.0, output(False))
    record.tell(1000.0, output(True))
    record.tell(1500.0, output(False))
    record.tell(3000.0, output(True))
    found = record.curves(0.0, HOUR_S)["runs"]["fridge"]
    assert found["duty"] == "cool"
    spans = [[None if end is None else end - NOON_S for end in span] for span in found["spans"]]
    assert spans == [[0.0, 300.0], [1000.0, 1500.0], [3000.0, None]]


# The endpoint.


@pytest.fixture(scope="module")
def brewing() -> Iterator[Caller]:
    """A site where things have happened."""
    with tempfile.TemporaryDirectory(prefix="fermd-") as name, running_site(Path(name)) as site:
        until(lambda: site.get("/api/status").json()["chambers"]["lager"]["vessel"]["trusted"])
        assert site.order("lager", "start-profile", profile_toml=PROFILE, who="anna").is_success
        place = "/api/chambers/lager/notes"
        assert site.post(place, {"kind": "gravity", "value": 1.048, "who": "anna"}).is_success
        assert site.post(place, {"text": "forget this", "who": "anna"}).is_success
        assert site.ask("DELETE", f"{place}/last").json()["taken"] is True
        until(lambda: site.get("/api/status").json()["tick"] > 500)
        yield site


def test_the_chart_has_every_probe_by_its_role_and_marks_with_their_words(
    brewing: Caller,
) -> None:
    found = brewing.get("/api/chambers/lager/curves?points=200").json()
    assert (found["vessel"], found["air"], found["watching"]) == ("vessel", "air", ["room"])
    assert set(found["probes"]) == {"vessel", "air", "room"}
    for curve in found["probes"].values():
        assert {len(curve[key]) for key in curve} == {found["count"]}
    marks = {mark["kind"]: mark for mark in found["marks"]}
    assert marks["step"]["step"] == 1
    assert marks["profile"]["words"] == "profile Lager started by anna"
    notes = [mark for mark in found["marks"] if mark["kind"] == "note"]
    assert [(note["note"], note["value"], note["who"]) for note in notes] == [
        ("gravity", 1.048, "anna")
    ]
    assert [one for one in found["target"]["cool_c"] if one is not None][-1] == 10.0


@pytest.mark.parametrize(
    "query",
    [
        "points=9", "points=2001", "points=ten", "from_utc_s=nan", "from_utc_s=inf",
        "from_utc_s=-1", "to_utc_s=1e300", "from_utc_s=2000&to_utc_s=1000",
        "from_utc_s=1000&to_utc_s=1000", "from_utc_s=0&to_utc_s=1e10", "units=K", "pints=5",
    ],
)  # fmt: skip
def test_a_span_that_is_none_is_refused_by_its_field(brewing: Caller, query: str) -> None:
    answer = brewing.get(f"/api/chambers/lager/curves?{query}")
    assert answer.status_code == 422
    assert answer.json()["faults"][0]["key"] in query


def test_a_span_before_everything_is_empty_and_no_fault(brewing: Caller) -> None:
    found = brewing.get("/api/chambers/lager/curves?from_utc_s=1000&to_utc_s=90000").json()
    assert set(found["probes"]["vessel"]["mean_c"]) == {None}
    assert (found["runs"], found["marks"]) == ({}, [])


def test_a_chamber_that_there_is_not_has_no_curves(brewing: Caller) -> None:
    assert brewing.get("/api/chambers/cellar/curves").status_code == 404


RAMP = """
name = "Up and down"
[[step]]
kind = "hold"
target_c = 10.0
for = "20 min"
[[step]]
kind = "ramp"
to_c = 13.0
rate_c_per_day = 72
[[step]]
kind = "hold"
target_c = 13.0
for = "10 min"
[[step]]
kind = "ramp"
to_c = 12.0
rate_c_per_day = 48
[[step]]
kind = "final-hold"
target_c = 9.0
"""


def test_the_targets_line_is_what_the_status_said_at_every_moment(folder: Path) -> None:
    seen: list[tuple[float, float]] = []
    with running_site(folder) as site:
        assert site.order("lager", "start-profile", profile_toml=RAMP).is_success
        began_s = site.get("/api/status").json()["wall_utc_s"]

        def is_over() -> bool:
            status = site.get("/api/status").json()
            seen.append(
                (
                    status["wall_utc_s"] - status["age_s"],
                    status["chambers"]["lager"]["target"]["cool_c"],
                )
            )
            return bool(status["wall_utc_s"] > began_s + 2.5 * 3600.0)

        until(is_over)
        span = f"from_utc_s={began_s}&to_utc_s={seen[-1][0]}&points=500"
        found = site.get(f"/api/chambers/lager/curves?{span}").json()
    assert {round(temp_c) for _, temp_c in seen} == {9, 10, 11, 12, 13}
    line = found["target"]["cool_c"]
    # Before the profile was started, and where a busy machine left a gap, there is none.
    assert sum(known_c is None for known_c in line) <= 0.1 * found["count"]
    for at_s, temp_c in seen:
        place = (at_s - found["from_utc_s"]) / found["bucket_s"] - 0.5
        around = line[max(0, int(place) - 1) : int(place) + 3]
        if not 2 <= place < found["count"] - 2 or None in around:
            continue
        # Within what the target does in the buckets on either side.
        assert min(around) - 0.02 <= temp_c <= max(around) + 0.02, (at_s - began_s, temp_c, around)


# The forecast.


def test_the_forecast_follows_the_profile_and_says_what_comes_next(brewing: Caller) -> None:
    found = brewing.get("/api/chambers/lager/forecast").json()
    assert [step["kind"] for step in found["steps"]] == ["hold", "final-hold"]
    assert found["target"][0][1] == 10.0
    assert found["target"][-1][1] == 2.0
    ends_s = found["steps"][0]["ends_utc_s"]
    # Five days from its start, which was at most as long ago as the site has run.
    up_s = brewing.get("/api/status").json()["up_s"]
    assert 5 * 86400.0 - up_s - 60.0 <= ends_s - found["made_utc_s"] <= 5 * 86400.0
    assert found["next"]["kind"] == "step"
    assert found["next"]["words"].startswith("step 2, final hold: 2.0 °C, in ")
    warm = brewing.get("/api/chambers/lager/forecast?units=F").json()["next"]["words"]
    assert warm.startswith("step 2, final hold: 35.6 °F, in ")


def test_the_beer_is_heading_for_its_target(brewing: Caller) -> None:
    beer = brewing.get("/api/chambers/lager/forecast").json()["beer"]
    by_then = [temp_c for at_s, temp_c in beer if 2 * 86400.0 < at_s - beer[0][0] < 4 * 86400.0]
    assert by_then
    assert all(abs(temp_c - 10.0) < 1.0 for temp_c in by_then)


def test_a_chamber_that_is_off_has_nothing_ahead(brewing: Caller) -> None:
    found = brewing.get("/api/chambers/ale/forecast").json()
    assert (found["target"], found["beer"], found["steps"]) == ([], [], [])
    assert found["next"]["kind"] == "nothing"
    assert "off" in found["next"]["words"]
