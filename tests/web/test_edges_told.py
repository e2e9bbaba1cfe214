"""The band of the past against the starts in the journal, with the edges that they began at."""

from __future__ import annotations

from pathlib import Path

from fermd.control.events import OutputChanged, TargetChanged
from fermd.control.moment import Moment
from fermd.control.reasons import Reason, Rule
from fermd.control.settings import Duty
from fermd.control.wording import Unit
from fermd.journal.reader import JournalReader
from fermd.journal.writer import SqliteJournal
from fermd.web.curves import Wanted, read_curves

NOON_S = 1_800_000_000.0
HOUR_S = 3600.0
DAY_S = 86400.0


def at(mono_s: float) -> Moment:
    return Moment(mono_s, NOON_S + mono_s, wall_trusted=True)


def on(duty: Duty, rule: Rule, value_c: float, limit_c: float | None) -> OutputChanged:
    return OutputChanged(duty, duty.value, "sim 1", True, (Reason(rule, value_c, limit_c),))


def off(duty: Duty) -> OutputChanged:
    return OutputChanged(duty, duty.value, "sim 1", False, (Reason(Rule.WITHIN_BAND),))


def band(folder: Path, told: list[tuple[float, object]], days: int) -> dict[float, tuple]:
    """Return both edges in the middle of each hour, by the hour."""
    journal = SqliteJournal(folder / "journal.db", boot_id="boot", moment=at(0.0), version="test")
    for mono_s, event in told:
        journal.events(at(mono_s), "lager", [event])
    assert journal.flush()
    end_s = NOON_S + days * DAY_S
    wanted = Wanted(
        chamber="lager", probes=["vessel"], from_utc_s=NOON_S, to_utc_s=end_s, points=24 * days,
        sample_period_s=10.0, now_utc_s=end_s - 2 * HOUR_S, target_now=None, unit=Unit.CELSIUS,
    )  # fmt: skip
    found = read_curves(JournalReader(folder / "journal.db"), wanted)
    journal.close(at(days * DAY_S), cleanly=True)
    assert found["bucket_s"] == HOUR_S
    return {
        index + 0.5: (low, high)
        for index, (low, high) in enumerate(
            zip(found["band"]["heat_c"], found["band"]["cool_c"], strict=True)
        )
    }


def test_an_edge_holds_from_one_start_to_the_next_and_goes_along_with_the_target(
    tmp_path: Path,
) -> None:
    found = band(
        tmp_path,
        [
            (0.0, TargetChanged(12.0, 12.0, "hand")),
            (2 * HOUR_S, on(Duty.COOL, Rule.ABOVE_BAND, 12.4, 12.3)),
            (3 * HOUR_S, off(Duty.COOL)),
            (5 * HOUR_S, TargetChanged(16.0, 16.0, "hand")),
            (6 * HOUR_S, on(Duty.HEAT, Rule.BELOW_BAND, 12.0, 15.5)),
            (8 * HOUR_S, off(Duty.HEAT)),
            (9 * HOUR_S, on(Duty.COOL, Rule.ABOVE_BAND, 16.3, 16.2)),
            (10 * HOUR_S, off(Duty.COOL)),
        ],
        days=1,
    )
    assert found[1.5] == (None, None)
    assert found[2.5] == found[4.5] == (None, 12.3)
    assert found[5.5] == (None, 16.3)
    assert found[6.5] == (15.5, 16.3)
    assert found[9.5] == found[21.5] == (15.5, 16.2)
    # What is still to come the record cannot tell.
    assert found[22.5] == (None, None)


def test_an_edge_is_forgotten_after_a_day_and_by_a_chamber_without_a_target(tmp_path: Path) -> None:
    found = band(
        tmp_path,
        [
            (0.0, TargetChanged(12.0, 12.0, "hand")),
            (HOUR_S, on(Duty.COOL, Rule.ABOVE_BAND, 12.4, 12.3)),
            (2 * HOUR_S, off(Duty.COOL)),
            (3 * HOUR_S, TargetChanged(None, None, "off")),
            (4 * HOUR_S, TargetChanged(12.0, 12.0, "hand")),
        ],
        days=2,
    )
    assert found[3.5] == (None, None)
    assert found[24.5] == (None, 12.3)
    assert found[25.5] == (None, None)


def test_a_start_by_another_rule_than_its_band_tells_no_edge(tmp_path: Path) -> None:
    found = band(
        tmp_path,
        [
            (0.0, TargetChanged(12.0, 12.0, "hand")),
            (HOUR_S, on(Duty.COOL, Rule.OVERRIDE, 12.4, None)),
            (2 * HOUR_S, off(Duty.COOL)),
            (3 * HOUR_S, on(Duty.COOL, Rule.CALL_CONTINUES, 12.4, 11.9)),
            (4 * HOUR_S, off(Duty.COOL)),
        ],
        days=1,
    )
    assert set(found.values()) == {(None, None)}
