"""A probe in ice water: its offset found, kept in the site file, and put back."""

from __future__ import annotations

from pathlib import Path

import pytest
from web_rig import SITE, Caller, running_site, until

from fermd.config.calibration import (
    FEWEST_READINGS,
    NotCalibrated,
    calibrated,
    with_offset,
    write_site,
)
from fermd.config.site_file import load_site
from fermd.control.wording import Unit

COMMENT = "# The probe in the thermowell; the other one is taped.\n"


def place(probe: str) -> str:
    return f"/api/probes/{probe}/calibrate"


def test_a_probe_that_reads_too_high_gets_a_negative_offset() -> None:
    # README: "a probe that reads 0.4 °C gets -0.4".
    found = calibrated([0.4375, 0.375, 0.4375, 0.375, 0.4375, 0.375], 0.0, 0.0)
    assert found.offset_c == pytest.approx(-0.41)
    # Once more, now that it reads right: the offset stays.
    assert calibrated([0.0] * 6, -0.41, 0.0).offset_c == pytest.approx(-0.41)


@pytest.mark.parametrize(
    ("readings_c", "why"),
    [
        ([0.1] * (FEWEST_READINGS - 1), "good readings"),
        ([], "good readings"),
        ([0.0, 0.1, 0.2, 0.3, 0.4, 0.5], "differ by 0.50"),
        ([18.0] * 10, "further off"),
        ([-12.0] * 10, "further off"),
    ],
)
def test_what_is_no_ice_water_sets_nothing(readings_c: list[float], why: str) -> None:
    with pytest.raises(NotCalibrated, match=why):
        calibrated(readings_c, 0.0, 0.0)


def test_what_is_no_ice_water_is_told_in_fahrenheit_to_who_reads_it() -> None:
    # 18 °C is 64.4 °F; 3 °C apart are 5.4 °F.
    why = r"reads 64.40 °F and should read 32.0 °F: that is further off than 5.4 °F"
    with pytest.raises(NotCalibrated, match=why):
        calibrated([18.0] * 10, 0.0, 0.0, Unit.FAHRENHEIT)


def test_the_site_file_keeps_its_comments_its_order_and_its_mode(tmp_path: Path) -> None:
    path = tmp_path / "fermd.toml"
    text = SITE.replace("FOLDER", str(tmp_path)).replace("[probe.air]", COMMENT + "[probe.air]")
    path.write_text(text)
    path.chmod(0o640)
    changed, _ = with_offset(path, "vessel", -0.4)
    write_site(path, changed, "vessel", -0.4)
    assert changed.replace("offset_c = -0.4\n", "") == text
    assert path.stat().st_mode & 0o777 == 0o640
    assert load_site(path).settings.chambers[0].vessel_probe.offset_c == -0.4
    again, _ = with_offset(path, "vessel", 0.25)
    assert again == changed.replace("-0.4", "0.25")


def test_a_site_file_that_would_not_be_right_any_more_is_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "fermd.toml"
    path.write_text(SITE.replace("FOLDER", str(tmp_path)).replace("gpio = 17", "gpio = -1"))
    with pytest.raises(NotCalibrated, match="gpio"):
        with_offset(path, "vessel", -0.4)
    path.write_text(SITE.replace("FOLDER", str(tmp_path)))
    with pytest.raises(NotCalibrated, match="offset_c"):
        with_offset(path, "vessel", 99.0)
    with pytest.raises(NotCalibrated, match=r"no \[probe.nope\]"):
        with_offset(path, "nope", 0.0)


def test_a_site_file_that_cannot_be_written_says_what_to_put_in_by_hand(tmp_path: Path) -> None:
    missing = tmp_path / "none" / "fermd.toml"
    with pytest.raises(NotCalibrated, match=r"put offset_c = -0.4 into \[probe.vessel\]"):
        write_site(missing, "", "vessel", -0.4)


def test_a_probe_is_calibrated_undone_and_in_the_journal(folder: Path) -> None:
    with running_site(folder) as site:
        until(lambda: site.get("/api/status").json()["tick"] > 60)
        before_c = _vessel_c(site)
        # The vessel stands at 18 °C here: that is what it "should" read, and half a degree more.
        told = site.post(place("vessel"), {"reference_c": 18.5}).json()
        assert told["taken"] is True
        assert told["offset_c"] == pytest.approx(18.5 - told["read_c"], abs=0.006)
        assert f"offset_c = {told['offset_c']}" in (folder / "fermd.toml").read_text()
        until(lambda: abs(_vessel_c(site) - before_c - told["offset_c"]) < 0.15)
        until(lambda: "probe vessel: offset 0 °C is now" in site.get("/api/events").text)
        back = site.post(place("vessel"), {"offset_c": told["undo"]["offset_c"]}).json()
        assert (back["offset_c"], back["before_c"]) == (0.0, told["offset_c"])
        until(lambda: abs(_vessel_c(site) - before_c) < 0.15)


def _vessel_c(site: Caller) -> float:
    reading = site.get("/api/status").json()["chambers"]["lager"]["vessel"]
    return float(reading["temp_c"] if reading["trusted"] else 1e9)


def test_a_chamber_that_holds_a_target_would_heat_and_is_left_alone(folder: Path) -> None:
    with running_site(folder) as site:
        assert site.order("lager", "set-target", target_c=10.0).is_success
        before = (folder / "fermd.toml").read_text()
        for probe in ("vessel", "air"):
            answer = site.post(place(probe), {})
            assert answer.status_code == 409
            assert "switch it off first" in answer.json()["why"]
        assert site.post(place("nope"), {}).status_code == 404
        assert (folder / "fermd.toml").read_text() == before
        # One that is only recorded harms nothing.
        until(lambda: site.get("/api/status").json()["tick"] > 60)
        assert site.post(place("room"), {"offset_c": 0.5}).is_success
