"""The table [keeping]: what it says, what is wrong with it, and what is worth a second look."""

from __future__ import annotations

from pathlib import Path

import pytest

from fermd.config.errors import ConfigError
from fermd.config.keeping import KeepingSettings, ThinningSettings
from fermd.config.site_file import cautions, parse_site
from fermd.control.calendar import CalendarTime

SITE = """\
time_zone = "Europe/Vienna"
journal_path = "journal.db"

[probe.vessel]
id = "28-000006b67845"

[chamber.lager]
vessel_probe = "vessel"

[simulated]

"""


def test_without_the_table_the_record_is_kept_as_usual_and_nothing_is_copied(
    tmp_path: Path,
) -> None:
    keeping = parse_site(SITE, tmp_path / "fermd.toml").keeping
    assert keeping == KeepingSettings()
    assert keeping.backup_folder is None


def test_what_the_table_says_is_taken_over(tmp_path: Path) -> None:
    table = '[keeping]\nraw_days = 5\nbackup_folder = "stick"\nbackup_at = "sun 04:00"\n'
    keeping = parse_site(SITE + table, tmp_path / "fermd.toml").keeping
    assert isinstance(keeping, ThinningSettings)
    assert keeping.raw_days == 5.0
    assert keeping.backup_folder == tmp_path / "stick"
    assert keeping.backup_at == CalendarTime(4, 0, weekday=6)


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ("raw_days = 0", ["keeping.raw_days", "0", "from 1 to 3650"]),
        ('backup_at = "25:00"', ["keeping.backup_at", "25:00", "fri 18:00"]),
        ("backups_daily = 0", ["keeping.backups_daily", "1 to 1000"]),
        ('backup_foldr = "/x"', ["keeping.backup_foldr", "backup_folder"]),
        ('backup_folder = "~/x"', ["keeping.backup_folder", "whole path"]),
    ],
)
def test_what_is_wrong_names_the_key_and_what_is_allowed(
    tmp_path: Path, line: str, says: list[str]
) -> None:
    with pytest.raises(ConfigError) as caught:
        parse_site(f"{SITE}[keeping]\n{line}\n", tmp_path / "fermd.toml")
    assert len(caught.value.faults) == 1
    for part in says:
        assert part in str(caught.value)


def test_a_folder_that_is_missing_or_on_the_journals_own_disk_is_worth_a_second_look(
    tmp_path: Path,
) -> None:
    site = parse_site(f'{SITE}[keeping]\nbackup_folder = "stick"\n', tmp_path / "fermd.toml")
    (missing,) = [one for one in cautions(site) if one.key == "keeping.backup_folder"]
    assert "is not there" in missing.why
    (tmp_path / "stick").mkdir()
    (same,) = [one for one in cautions(site) if one.key == "keeping.backup_folder"]
    assert "same disk" in same.why
