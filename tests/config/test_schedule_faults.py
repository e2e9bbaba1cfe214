"""What is wrong with one change of a schedule stands beside that change."""

from __future__ import annotations

from pathlib import Path

import pytest

from fermd.config.errors import ConfigError
from fermd.config.example import SHORT_SITE
from fermd.config.profile_file import check_against, parse_profile
from fermd.config.site_file import parse_site

COLD_BY_NIGHT = """\
name = "X"
[[step]]
kind = "schedule"
changes = [{ at = "08:00", target_c = 4 }, { at = "22:00", target_c = -3 }]
"""


def test_too_cold_a_change_of_a_schedule_is_named_itself() -> None:
    chamber = parse_site(SHORT_SITE, Path("fermd.toml")).settings.chambers[0]
    (fault,) = check_against(parse_profile(COLD_BY_NIGHT, "x"), chamber)
    assert (fault.key, fault.value) == ("step[1].changes[2].target_c", -3.0)
    with pytest.raises(ConfigError) as refused:
        parse_profile(COLD_BY_NIGHT, "x", chamber)
    assert str(refused.value).startswith(
        "x: step[1].changes[2].target_c = -3: must be at least -1.5 °C in chamber"
    )
