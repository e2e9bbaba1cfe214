"""Old backups are thinned out: some days, some weeks, some months stay."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

from hypothesis import given
from hypothesis import strategies as st

from fermd.config.keeping import KeepingSettings
from fermd.journal.rotation import backup_name, backups_in, made_at, outdated

VIENNA = ZoneInfo("Europe/Vienna")
START = datetime(2026, 1, 1, 2, 50, tzinfo=UTC)


def nights(count):
    moments = [START + timedelta(days=day) for day in range(count)]
    return [Path("stick") / backup_name(one.timestamp()) for one in moments]


def kept_after(count, **settings):
    """What is left when a backup is made every night and the old ones go each time."""
    left = []
    for one in nights(count):
        left.append(one)
        for old in outdated(left, KeepingSettings(**settings), VIENNA):
            left.remove(old)
    return left


def test_after_a_year_of_nights_a_week_a_month_of_weeks_and_a_year_of_months_are_left():
    left = kept_after(365)
    dates = [made_at(path).astimezone(VIENNA).date().isoformat() for path in left]
    # The last day of 2026 is a Thursday: seven days, the Sundays of three whole weeks before, and
    # the last night of each month.
    assert dates[-7:] == [f"2026-12-{day}" for day in range(25, 32)]
    assert {"2026-12-27", "2026-12-20", "2026-12-13"} <= set(dates)
    ends = [f"2026-{month:02}-{day}" for month, day in enumerate((31, 28, 31, 30, 31, 30), 1)]
    assert [date for date in dates if date < "2026-07"] == ends
    assert len(dates) == 7 + 2 + 11


def test_a_board_that_was_off_for_a_year_still_has_its_backups():
    left = kept_after(30)
    late = Path("stick") / backup_name((START + timedelta(days=400)).timestamp())
    gone = outdated([*left, late], KeepingSettings(), VIENNA)
    # Its own day and week take the place of the oldest day and the oldest week.
    assert len(gone) <= 2
    assert late not in gone


def test_files_that_are_not_backups_are_never_touched(tmp_path):
    for name in ("journal.db", "journal-20260101T025000Z.db.part", "journal-20261399T999999Z.db"):
        (tmp_path / name).touch()
    (tmp_path / backup_name(START.timestamp())).touch()
    assert [path.name for path in backups_in(tmp_path)] == ["journal-20260101T025000Z.db"]


@given(
    st.lists(st.integers(0, 3 * 365 * 24), max_size=60, unique=True),
    st.integers(1, 5),
    st.integers(0, 5),
    st.integers(0, 5),
)
def test_the_newest_stays_and_no_more_than_was_asked_for(hours, daily, weekly, monthly):
    settings = KeepingSettings(backups_daily=daily, backups_weekly=weekly, backups_monthly=monthly)
    made = [
        Path(backup_name((START + timedelta(hours=hour)).timestamp())) for hour in sorted(hours)
    ]
    gone = outdated(made, settings, VIENNA)
    left = [path for path in made if path not in gone]
    assert len(left) <= daily + weekly + monthly
    assert not made or made[-1] in left
    days = {made_at(path).astimezone(VIENNA).date() for path in made}
    wanted = sorted(days)[-daily:]
    assert {made_at(path).astimezone(VIENNA).date() for path in left} >= set(wanted)
    assert outdated(left, settings, VIENNA) == []
