"""Profiles over HTTP: what is wrong beside its line, saved whole or not at all, and previewed."""

from __future__ import annotations

import os
import stat
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest
from web_rig import PROFILE, Caller, running_site, until

from fermd.config.profile_file import shipped_profiles
from fermd.config.profile_store import NotKept, ProfileStore
from fermd.planning.caution_words import caution_words

BAD = """\
name = "Wrong in three places"

[[step]]
kind = "hold"
target_c = 99
for = "3 d"

[[step]]
kind = "ramp"
to_c = 12
rate_c_per_day = "fast"

[[step]]
kind = "boil"
"""


@pytest.fixture(scope="module")
def shelf() -> Iterator[tuple[Caller, Path]]:
    with tempfile.TemporaryDirectory(prefix="fermd-") as name, running_site(Path(name)) as site:
        yield site, Path(name) / "profiles"


def test_all_shipped_profiles_are_listed_and_none_is_ones_own(shelf: tuple[Caller, Path]) -> None:
    found = {one["name"]: one for one in shelf[0].get("/api/profiles").json()}
    assert set(shipped_profiles()) <= set(found)
    for name in shipped_profiles():
        assert (found[name]["own"], found[name]["faults"]) == (False, []), name
        assert found[name]["steps"] >= 1


def test_a_shipped_profile_is_given_as_it_stands_with_its_steps(
    shelf: tuple[Caller, Path],
) -> None:
    for name, path in shipped_profiles().items():
        told = shelf[0].get(f"/api/profiles/{name}").json()
        assert told["toml"] == path.read_text()
        assert len(told["steps"]) == told["toml"].count("\n[[step]]")


def test_what_is_wrong_with_a_kept_profile_is_told_in_the_readers_unit(
    shelf: tuple[Caller, Path],
) -> None:
    site, folder = shelf
    folder.mkdir(exist_ok=True)
    broken = folder / "broken.toml"
    broken.write_text(BAD, encoding="utf-8")
    try:
        for units, there, absent in (("C", "°C", "°F"), ("F", "°F", "°C")):
            listed = {one["name"]: one for one in site.get(f"/api/profiles?units={units}").json()}
            alone = site.get(f"/api/profiles/broken?units={units}").json()
            assert listed["broken"]["faults"] == alone["faults"]
            why = " ".join(one["why"] for one in alone["faults"])
            assert there in why
            assert absent not in why
    finally:
        broken.unlink()


@pytest.mark.parametrize("name", ["nope", "..", "%2e%2e%2ffermd", "kveik.toml", "%00", "Kveik"])
def test_a_profile_that_there_is_not_is_not_found(shelf: tuple[Caller, Path], name: str) -> None:
    assert shelf[0].get(f"/api/profiles/{name}").status_code == 404


def test_every_fault_of_a_text_stands_beside_its_line(shelf: tuple[Caller, Path]) -> None:
    answer = shelf[0].post("/api/profiles/check", {"toml": BAD})
    told = answer.json()
    assert (answer.status_code, told["ok"], told["plan"]) == (200, False, None)
    places = {fault["key"]: fault["line"] for fault in told["faults"]}
    assert places == {
        "step[1].target_c": 5,
        "step[2].rate_c_per_day": 11,
        "step[3].kind": 14,
    }
    assert all(fault["why"] for fault in told["faults"])


def test_a_text_that_is_no_toml_names_its_line(shelf: tuple[Caller, Path]) -> None:
    told = shelf[0].post("/api/profiles/check", {"toml": 'name = "x"\n[[step]]\nkind = hold\n'})
    (fault,) = told.json()["faults"]
    assert fault["line"] == 3


def test_a_target_that_the_chamber_would_never_hold_is_a_fault_of_its_field(
    shelf: tuple[Caller, Path],
) -> None:
    cold = PROFILE.replace("target_c = 2.0", "target_c = -5.0")
    faults = shelf[0].post("/api/profiles/check", {"toml": cold}).json()["faults"]
    # One for each chamber of the site, as `fermd check` has it.
    assert [(one["key"], one["line"]) for one in faults] == [("step[2].target_c", 10)] * 2


def test_a_reader_of_fahrenheit_is_told_the_limits_in_it_and_the_value_as_it_stands(
    shelf: tuple[Caller, Path],
) -> None:
    text = (
        'name = "F"\n[[step]]\nkind = "soak"\ntarget_c = -90\nwithin_c = 0.1\nfor = "1 d"\n'
        '[[step]]\nkind = "ramp"\nto_c = 4\nrate_c_per_day = 0\n'
    )
    found = shelf[0].post("/api/profiles/check?units=F", {"toml": text}).json()["faults"]
    told = {one["key"]: (one["value"], one["why"]) for one in found}
    assert told["step[1].target_c"] == ("-90", "must be from 14 to 113 °F")
    # A width and a rate are differences: 480 × 9/5 = 864.
    rate = told["step[2].rate_c_per_day"]
    assert rate == ("0", "must be above 0 and at most 864 °F a day")
    # 0.2 °C apart are 0.36 °F.
    narrow = text.replace("-90", "10").replace("day = 0", "day = 1")
    answer = shelf[0].ask("PUT", "/api/profiles/house?units=F", {"toml": narrow})
    assert answer.status_code == 422
    assert "must be at least 0.36 °F, the wider band" in answer.json()["faults"][0]["why"]
    assert "°C" not in answer.json()["why"]
    preview = shelf[0].post("/api/chambers/lager/preview?units=F", {"toml": narrow})
    assert preview.json()["faults"][0] == answer.json()["faults"][0]


def test_what_is_right_comes_with_its_line_over_time(shelf: tuple[Caller, Path]) -> None:
    body = {"toml": PROFILE, "chamber": "lager", "at": "2030-03-06 18:00", "beer_c": 15.0}
    plan = shelf[0].post("/api/profiles/check", body).json()["plan"]
    # 18:00 in Berlin in winter is 17:00 UTC.
    assert plan["start_utc_s"] == 1_899_046_800.0
    assert plan["steps"][0]["ends_utc_s"] == plan["start_utc_s"] + 5 * 86400.0
    assert [one["cool_c"] for one in plan["steps"][0]["target"]] == [10.0, 10.0]
    assert plan["steps"][1]["ends_utc_s"] is None


# Saving.


def test_a_profile_of_ones_own_is_saved_listed_changed_and_taken_away(
    shelf: tuple[Caller, Path],
) -> None:
    site, folder = shelf
    assert site.ask("PUT", "/api/profiles/my-lager", {"toml": PROFILE}).json() == {
        "taken": True, "name": "my-lager", "before": None,
    }  # fmt: skip
    assert (folder / "my-lager.toml").read_text() == PROFILE
    found = {one["name"]: one for one in site.get("/api/profiles").json()}
    assert (found["my-lager"]["own"], found["my-lager"]["title"]) == (True, "Lager")
    changed = PROFILE.replace("5 d", "6 d")
    answer = site.ask("PUT", "/api/profiles/my-lager", {"toml": changed}).json()
    assert answer["before"] == PROFILE
    assert (folder / "my-lager.toml").read_text() == changed
    assert site.ask("DELETE", "/api/profiles/my-lager").json()["before"] == changed
    assert not (folder / "my-lager.toml").exists()
    assert site.ask("DELETE", "/api/profiles/my-lager").status_code == 409
    assert list(folder.iterdir()) == []


def test_nothing_is_saved_that_the_check_would_not_accept(shelf: tuple[Caller, Path]) -> None:
    site, folder = shelf
    for text in (BAD, "", "name = [", PROFILE.replace("2.0", "-9.0"), PROFILE + "\nspeed = 1\n"):
        answer = site.ask("PUT", "/api/profiles/mine", {"toml": text})
        assert answer.status_code == 422
        assert answer.json()["faults"]
    assert not (folder / "mine.toml").exists()


@pytest.mark.parametrize("name", list(shipped_profiles()))
def test_what_comes_with_fermd_is_never_overwritten_or_taken_away(
    shelf: tuple[Caller, Path], name: str
) -> None:
    before = shipped_profiles()[name].read_bytes()
    assert shelf[0].ask("PUT", f"/api/profiles/{name}", {"toml": PROFILE}).status_code == 409
    assert shelf[0].ask("DELETE", f"/api/profiles/{name}").status_code == 409
    assert shipped_profiles()[name].read_bytes() == before


@pytest.mark.parametrize(
    "name",
    ["..", ".", "../x", "a/b", "a\\b", ".hidden", "-x", "x" * 61, "x y", "ü", "\0", "", "x."],
)
def test_a_name_that_could_lead_elsewhere_is_refused(name: str, tmp_path: Path) -> None:
    store = ProfileStore(tmp_path / "fermd.toml")
    with pytest.raises(NotKept, match="name"):
        store.save(name, PROFILE, ())
    with pytest.raises(NotKept, match="name"):
        store.delete(name)
    assert list(tmp_path.iterdir()) == []


def test_a_link_in_the_folder_is_replaced_and_what_it_points_at_is_left(tmp_path: Path) -> None:
    store = ProfileStore(tmp_path / "fermd.toml")
    store.folder.mkdir()
    outside = tmp_path / "outside"
    outside.write_text(PROFILE)
    (store.folder / "mine.toml").symlink_to(outside)
    store.save("mine", PROFILE.replace("5 d", "6 d"), ())
    assert outside.read_text() == PROFILE
    assert not (store.folder / "mine.toml").is_symlink()
    assert stat.S_IMODE((store.folder / "mine.toml").stat().st_mode) == 0o644


def test_a_folder_that_cannot_be_written_to_is_told_and_the_old_text_stays(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    store = ProfileStore(tmp_path / "fermd.toml")
    store.save("mine", PROFILE, ())

    def no_space(_descriptor: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", no_space)
    with pytest.raises(NotKept, match="No space left on device"):
        store.save("mine", PROFILE.replace("5 d", "6 d"), ())
    assert (store.folder / "mine.toml").read_text() == PROFILE
    assert [one.name for one in store.folder.iterdir()] == ["mine.toml"]


# Preview.


def test_a_preview_has_the_words_of_the_command(shelf: tuple[Caller, Path]) -> None:
    body = {"profile": "cold-crash", "beer_c": 19.0, "volume_l": 20.0, "vessel_l": 27.0}
    told = shelf[0].post("/api/chambers/lager/preview", body).json()
    rules = [one["rule"] for one in told["cautions"]]
    assert "suck-back" in rules
    text = next(one["text"] for one in told["cautions"] if one["rule"] == "suck-back")
    assert "draws in" in text
    assert "airlock" in text
    assert told["assumed"]
    assert not any("--" in one for one in told["assumed"])
    warm = shelf[0].post("/api/chambers/lager/preview?units=F", body).json()
    assert "°F" in next(one["text"] for one in warm["cautions"] if one["rule"] == "suck-back")
    room = next(one for one in warm["assumed"] if "room" in one)
    assert "°F" in room
    assert "°C" not in room
    assert callable(caution_words)


def test_a_preview_names_a_profile_or_brings_its_text_and_not_both(
    shelf: tuple[Caller, Path],
) -> None:
    place = "/api/chambers/lager/preview"
    for body in ({}, {"profile": "kveik", "toml": PROFILE}, {"profile": "nope"}):
        answer = shelf[0].post(place, body)
        assert (answer.status_code, answer.json()["faults"][0]["key"]) == (422, "profile")
    assert shelf[0].post(place, {"toml": PROFILE}).status_code == 200
    assert shelf[0].post(place, {"toml": BAD}).json()["faults"][0]["line"] == 5
    assert shelf[0].post("/api/chambers/nope/preview", {"toml": PROFILE}).status_code == 404


def test_a_date_that_has_passed_is_a_fault_of_its_step(shelf: tuple[Caller, Path]) -> None:
    text = (
        'name = "Old"\n[[step]]\nkind = "hold-until"\ntarget_c = 10\nuntil = "2020-01-01 12:00"\n'
    )
    text += '[[step]]\nkind = "final-hold"\ntarget_c = 5\n'
    answer = shelf[0].post("/api/chambers/lager/preview", {"toml": text})
    assert answer.status_code == 422
    assert answer.json()["faults"][0] == {
        "key": "step[1].until", "line": 5, "value": "'2020-01-01 12:00'",
        "why": answer.json()["faults"][0]["why"],
    }  # fmt: skip
    assert "has passed" in answer.json()["faults"][0]["why"]


def test_a_preview_has_the_way_of_the_beer_beside_that_of_its_target(
    shelf: tuple[Caller, Path],
) -> None:
    """The beer cannot be where its target jumps to at once: Newton's law of cooling."""
    body = {"toml": PROFILE, "beer_c": 19.0, "volume_l": 20.0, "finished": True}
    told = shelf[0].post("/api/chambers/lager/preview", body).json()
    beer = told["beer"]
    assert beer[0][0] == pytest.approx(told["start_utc_s"], abs=600)
    assert beer[0][1] == pytest.approx(19.0, abs=0.3)
    corners = [one for step in told["steps"] for one in step["target"]]
    assert beer[-1][0] >= corners[-1]["utc_s"] - 600
    assert [utc_s for utc_s, _ in beer] == sorted({utc_s for utc_s, _ in beer})
    assert len(beer) <= 800
    # The check, which goes along with the typing, takes no second for that.
    assert shelf[0].post("/api/profiles/check", {"toml": PROFILE}).json()["plan"]["beer"] == []


def test_a_profile_saved_replaced_and_deleted_is_in_the_record_with_who(
    shelf: tuple[Caller, Path],
) -> None:
    site = shelf[0]
    place = "/api/profiles/house"
    for method, body in (("PUT", {"toml": PROFILE}), ("PUT", {"toml": PROFILE}), ("DELETE", None)):
        assert site.ask(method, place, body).is_success
    # What was refused has not happened.
    assert site.ask("PUT", place, {"toml": BAD}).status_code == 422
    assert site.ask("DELETE", place).status_code == 409

    def recorded() -> list[str]:
        found = site.get("/api/events?limit=200").json()
        kept = [one["words"] for one in found if one["kind"] == "ProfileKept"]
        return [words for words in kept if words.startswith("profile house ")][::-1]

    until(lambda: len(recorded()) == 3)
    who = "the local user"
    assert recorded() == [
        f"profile house saved by {who}",
        f"profile house replaced by {who}",
        f"profile house deleted by {who}",
    ]
