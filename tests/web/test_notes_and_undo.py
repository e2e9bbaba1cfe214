"""Notes with a kind, a value and a time; taking them back; and how commands are undone."""

from __future__ import annotations

from typing import Any

import pytest
from web_rig import PROFILE, Caller, until

NOTES = "/api/chambers/ale/notes"


def words(site: Caller, limit: int = 20) -> list[str]:
    return [event["words"] for event in site.get(f"/api/events?limit={limit}").json()]


@pytest.mark.parametrize(
    ("body", "told"),
    [
        ({"kind": "gravity", "value": 1.012}, "note by anna (gravity): 1.012"),
        ({"kind": "gravity", "value": 3.1}, "note by anna (gravity): 3.1 °P"),
        ({"kind": "dry-hop", "value": 60, "text": "Saaz"}, "note by anna (dry hop): 60 g: Saaz"),
        ({"kind": "tasting", "text": "sulphur"}, "note by anna (tasting): sulphur"),
        ({"text": "airlock quiet"}, "note by anna: airlock quiet"),
    ],
)
def test_a_note_of_every_kind_reads_as_a_brewer_would_say_it(
    site: Caller, body: dict[str, Any], told: str
) -> None:
    assert site.post(NOTES, {**body, "who": "anna"}).json() == {"taken": True}
    until(lambda: told in words(site))


@pytest.mark.parametrize(
    "body",
    [
        {"kind": "gravity"},
        {"kind": "boil", "text": "x"},
        {"kind": "gravity", "value": "1.012 SG"},
        {"kind": "gravity", "value": 1e300},
        {"text": "x", "at": "yesterday"},
        {"text": "x", "at": "2999-01-01 12:00"},
        {"text": "x", "at": "99999999999"},
    ],
)
def test_a_note_that_cannot_be_is_refused(site: Caller, body: dict[str, Any]) -> None:
    assert site.post(NOTES, body).status_code == 422


def test_a_note_may_be_about_an_earlier_time_and_stands_there_in_the_chart(site: Caller) -> None:
    now_s = site.get("/api/status").json()["wall_utc_s"]
    body = {"kind": "gravity", "value": 1.031, "at": str(now_s - 7200.0)}
    assert site.post(NOTES, body).is_success

    def marks() -> list[Any]:
        found = site.get("/api/chambers/ale/curves").json()["marks"]
        return [mark for mark in found if mark.get("value") == 1.031]

    until(marks)
    assert marks()[0]["utc_s"] == pytest.approx(now_s - 7200.0)
    assert site.post(NOTES, {"text": "x", "at": "12:00"}).is_success


def test_the_last_note_is_taken_back_and_the_record_keeps_both(site: Caller) -> None:
    for text in ("first", "second", "third"):
        assert site.post(NOTES, {"text": text, "who": "anna"}).is_success
    for text in ("third", "second"):
        answer = site.ask("DELETE", f"{NOTES}/last").json()
        assert answer["text"] == f"note by anna: {text}"
    until(lambda: "local took back the note: second" in words(site))
    told = words(site)
    assert "note by anna: second" in told
    texts = [mark.get("text") for mark in site.get("/api/chambers/ale/curves").json()["marks"]]
    assert "first" in texts
    assert "second" not in texts
    assert "third" not in texts


# Undo.


def order(site: Caller, command: str, **fields: Any) -> Any:
    answer = site.order("ale", command, **fields)
    assert answer.status_code == 200, answer.text
    until(lambda: True)
    return answer.json().get("undo")


def state(site: Caller) -> tuple[Any, ...]:
    ale = site.get("/api/status").json()["chambers"]["ale"]
    step = None if ale["profile"] is None else ale["profile"]["step"]
    return ale["mode"], ale["target"], step, ale["planned_start"]


@pytest.mark.parametrize(
    ("before", "command"),
    [
        ([("switch-off", {})], ("set-target", {"target_c": 12.0})),
        ([("set-target", {"target_c": 11.0})], ("set-target", {"target_c": 12.0})),
        ([("set-target", {"target_c": 11.0})], ("switch-off", {})),
        ([("start-profile", {"profile_toml": PROFILE})], ("set-target", {"target_c": 12.0})),
        ([("start-profile", {"profile_toml": PROFILE})], ("switch-off", {})),
        ([("start-profile", {"profile_toml": PROFILE})], ("pause-profile", {})),
        ([("start-profile", {"profile_toml": PROFILE})], ("skip-step", {})),
        ([("start-profile", {"profile_toml": PROFILE})], ("go-to-step", {"step": 2})),
        ([("start-profile", {"profile_toml": PROFILE})], ("change-step-target", {"target_c": 9})),
        (
            [("start-profile", {"profile_toml": PROFILE}), ("pause-profile", {})],
            ("resume-profile", {}),
        ),
        (
            [("set-target", {"target_c": 11.0}), ("switch-off", {})],
            ("plan-start", {"profile_toml": PROFILE, "at": "2035-01-01 12:00"}),
        ),
    ],
)
def test_sending_the_undo_puts_back_what_was_so(
    site: Caller, before: list[Any], command: tuple[str, dict[str, Any]]
) -> None:
    if state(site)[2] is not None:
        order(site, "stop-profile")
    for name, fields in before:
        order(site, name, **fields)
    was = state(site)
    back = order(site, command[0], **command[1])
    assert state(site) != was
    assert back["words"]
    answer = site.post("/api/chambers/ale/commands", back["command"])
    assert answer.is_success, answer.text
    assert state(site) == was


def test_an_extension_is_undone_by_the_same_length_the_other_way(site: Caller) -> None:
    order(site, "start-profile", profile_toml=PROFILE)
    back = order(site, "extend-step", by_s=7200.0)
    assert back == {
        "words": "make the step 2 h shorter",
        "command": {"command": "extend-step", "by_s": -7200.0},
    }


@pytest.mark.parametrize("command", ["stop-profile", "return-to-plan", "cancel-plan"])
def test_what_has_no_way_back_says_so(site: Caller, command: str) -> None:
    order(site, "start-profile", profile_toml=PROFILE)
    if command == "return-to-plan":
        order(site, "change-step-target", target_c=9.0)
    if command == "cancel-plan":
        order(site, "plan-start", profile_toml=PROFILE, at="2035-01-01 12:00")
    assert order(site, command) is None


def test_words_of_an_undo_come_in_the_unit_asked_for(site: Caller) -> None:
    order(site, "start-profile", profile_toml=PROFILE)
    order(site, "stop-profile")
    place = "/api/chambers/ale/commands?units=F"
    answer = site.post(place, {"command": "set-target", "target_c": 12.0}).json()
    assert answer["undo"]["words"] == "set the target back to 50.0 °F"
