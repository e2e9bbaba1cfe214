"""The HTTP interface over its real socket: what it answers, and what it refuses with which code."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from web_rig import PROFILE, Caller, until

from fermd.control.commands import Command
from fermd.web.api import LARGEST_BODY_BYTES, LONGEST_NOTE_CHARS
from fermd.web.orders import LONGEST_TEXT_CHARS, NAMES, name_of

LAGER = "/api/chambers/lager/commands"
NOTES = "/api/chambers/lager/notes"


def why(answer: Any) -> str:
    body = answer.json()
    assert body["taken"] is False
    text: str = body["why"]
    return text


# Questions.


def test_the_status_shows_every_chamber_in_numbers_and_words(site: Caller) -> None:
    status = site.get("/api/status").json()
    assert set(status["chambers"]) == {"lager", "ale"}
    assert status["tick"] >= 1
    assert status["journal"] is None
    lager = status["chambers"]["lager"]
    assert [output["name"] for output in lager["outputs"]] == ["fridge", "belt"]
    for output in lager["outputs"]:
        assert output["words"]
    assert set(lager["watching"]) == {"room"}


def test_the_status_tells_the_edges_that_control_goes_by(site: Caller) -> None:
    assert site.order("ale", "set-target", target_c=18.0).is_success

    def edges() -> Any:
        return site.get("/api/status").json()["chambers"]["ale"]["edges"]

    until(lambda: edges() is not None)
    # Nothing has been learned yet: 0.2 K to either side, the default of a site file.
    found = edges()
    assert (found["heat_from_c"], found["cool_from_c"]) == (17.8, 18.2)
    assert found["heat_from_c"] < found["heat_until_c"] <= 18.2
    assert site.order("ale", "switch-off").is_success
    until(lambda: edges() is None)


def test_ages_are_worked_out_at_the_moment_of_asking(site: Caller) -> None:
    first = site.get("/api/status").json()
    until(lambda: site.get("/api/status").json()["up_s"] > first["up_s"])
    # A thousand times faster than real, and still no reading is older than two periods or so.
    until(lambda: site.get("/api/status").json()["chambers"]["lager"]["vessel"]["trusted"])
    assert 0.0 <= site.get("/api/status").json()["chambers"]["lager"]["vessel"]["age_s"] < 300.0


def test_every_probe_is_shown_with_its_chamber_and_counters(site: Caller) -> None:
    found = {probe["probe"]: probe for probe in site.get("/api/probes").json()}
    assert {name: probe["chamber"] for name, probe in found.items()} == {
        "vessel": "lager",
        "air": "lager",
        "room": "lager",
        "bucket": "ale",
    }
    assert all(probe["samples"] > 0 for probe in found.values())


def test_events_come_newest_first_and_as_many_as_were_asked_for(site: Caller) -> None:
    for target_c in (11.0, 12.0, 13.0):
        assert site.order("lager", "set-target", target_c=target_c).is_success
    until(lambda: "target 13.0 °C" in site.get("/api/events?limit=3").text)
    found = site.get("/api/events?limit=3").json()
    assert len(found) == 3
    assert [event["seq"] for event in found] == sorted((e["seq"] for e in found), reverse=True)
    assert len(site.get("/api/events").json()) <= 50


def test_who_asks_right_after_a_command_finds_it_on_record(site: Caller) -> None:
    """It was answered before the journal had it on disk."""
    for target_c in (11.0, 12.0, 13.0):
        assert site.order("lager", "set-target", target_c=target_c).json()["taken"] is True
        assert f"target {target_c} °C" in site.get("/api/events?limit=20").text


@pytest.mark.parametrize(
    "limit", ["0", "-1", "1001", "ten", "", "1.5", "٣", "9" * 5000, "1e2", "0x10", " 5"]
)
def test_a_limit_that_is_none_is_refused_with_what_is_allowed(site: Caller, limit: str) -> None:
    answer = site.get(f"/api/events?limit={limit}")
    assert answer.status_code == 422
    assert "must be a whole number from 1 to 1000" in why(answer)
    assert len(answer.text) < 500


def test_what_there_is_not_is_not_found(site: Caller) -> None:
    assert site.get("/api/secrets").status_code == 404
    assert site.get("/api/status/").status_code == 404
    assert site.get(LAGER).status_code == 405
    assert site.post("/api/status", {}).status_code == 405


# Commands.


def test_a_command_is_carried_out_before_it_is_answered(site: Caller) -> None:
    answer = site.order("lager", "set-target", target_c=9.5, who="anna")
    assert (answer.status_code, answer.json()["taken"]) == (200, True)
    until(lambda: _target_c(site) == 9.5)


def _target_c(site: Caller) -> object:
    target = site.get("/api/status").json()["chambers"]["lager"]["target"]
    return None if target is None else target["cool_c"]


def test_a_profile_is_started_and_shown_with_its_steps(site: Caller) -> None:
    assert site.order("lager", "start-profile", profile_toml=PROFILE, who="anna").is_success
    until(lambda: site.get("/api/status").json()["chambers"]["lager"]["profile"] is not None)
    shown = site.get("/api/status").json()["chambers"]["lager"]["profile"]
    assert (shown["name"], shown["step"], shown["steps"]) == ("Lager", 1, 2)
    assert site.order("lager", "stop-profile").is_success


def test_a_refusal_is_409_with_the_reason(site: Caller) -> None:
    answer = site.order("lager", "set-target", target_c=-20.0)
    assert answer.status_code == 409
    assert "freezing point" in why(answer)
    assert site.order("ale", "override-output", duty="cool", on=True, for_s=60).status_code == 409


@pytest.mark.parametrize("place", ["commands", "notes"])
def test_a_chamber_that_there_is_not_is_404_with_those_there_are(site: Caller, place: str) -> None:
    body = {"command": "switch-off"} if place == "commands" else {"text": "hello"}
    for chamber in ("cellar", "Lager", "%00", "a%2Fb", "ü"):
        answer = site.post(f"/api/chambers/{chamber}/{place}", body)
        assert answer.status_code == 404, chamber
    assert "lager" in why(site.post(f"/api/chambers/cellar/{place}", body))


@pytest.mark.parametrize(
    ("body", "named"),
    [
        ({}, "command"),
        ({"command": "boil"}, "must be one of"),
        ({"command": 7}, "must be one of"),
        ({"command": None}, "must be one of"),
        ({"command": ["set-target"]}, "must be one of"),
        ({"command": "set-target"}, "target_c"),
        ({"command": "set-target", "target_c": "warm"}, "target_c = 'warm'"),
        ({"command": "set-target", "target_c": 10, "target_f": 50}, "target_f"),
        ({"command": "set-target", "target_c": 10, "who": 5}, "who"),
        ({"command": "set-target", "target_c": 10, "who": "x" * 5000}, "who"),
        ({"command": "override-output", "duty": "boil", "on": True, "for_s": 9}, "duty"),
        ({"command": "start-profile"}, "profile_toml"),
        ({"command": "start-profile", "profile_toml": "name = ["}, "profile_toml"),
        ({"command": "start-profile", "profile_toml": PROFILE, "speed": 2}, "speed"),
        ({"command": "start-profile", "profile_toml": PROFILE, "who": None}, "who"),
    ],
)
def test_what_cannot_be_understood_is_422_and_names_the_field(
    site: Caller, body: Any, named: str
) -> None:
    answer = site.post(LAGER, body)
    assert answer.status_code == 422
    assert named in why(answer)
    assert len(answer.text) < 2000


@pytest.mark.parametrize(
    "raw",
    [
        b"",
        b"{",
        b"[]",
        b'"text"',
        b"null",
        b"\xff\xfe",
        b"[" * 100_000,
        b'{"command": "set-target", "target_c": NaN}',
        b'{"command": "set-target", "target_c": Infinity}',
        b'{"command": "set-target", "target_c": 1e999}',
        b'{"command": "set-target", "target_c": ' + b"9" * 400 + b"}",
        b'{"command": "set-target", "target_c": ' + b"9" * 9000 + b"}",
        b'{"command": "set-target", "target_c": 10, "who": "\\ud800"}',
        b'{"\\ud800": 1}',
    ],
)
@pytest.mark.parametrize("place", [LAGER, "/api/site/commands", NOTES])
def test_no_body_whatever_is_a_fault_of_the_daemon(site: Caller, raw: bytes, place: str) -> None:
    answer = site.send(place, raw)
    assert answer.status_code == 422
    assert why(answer)


def test_a_body_that_nobody_needs_is_not_read_to_its_end(site: Caller) -> None:
    answer = site.send(LAGER, b" " * (LARGEST_BODY_BYTES + 1))
    assert answer.status_code == 413
    assert str(LARGEST_BODY_BYTES) in why(answer)


def test_the_board_takes_the_acknowledgement_of_its_own_alarms_only(site: Caller) -> None:
    place = "/api/site/commands"
    answer = site.post(place, {"command": "acknowledge-alarm", "alarm": "relay-fault"})
    assert answer.status_code == 409
    assert "no such alarm" in why(answer)
    answer = site.post(place, {"command": "set-target", "target_c": 10.0})
    assert answer.status_code == 409
    assert "name the chamber" in why(answer)


def test_every_command_of_the_core_has_a_name_here() -> None:
    assert {name_of(command) for command in Command.__args__} == set(NAMES)


json_values = st.recursive(
    st.none()
    | st.booleans()
    | st.integers()
    | st.floats()
    | st.text()
    | st.sampled_from([10**400, 1e308, "heat", "cool", "fan", PROFILE, "relay-fault", "\x00"]),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(), inner, max_size=3),
    max_leaves=8,
)
FIELDS = [
    *("target_c", "by_s", "for_s", "duty", "on", "alarm", "subject", "who", "step"),
    *("profile_toml", "at", "text"),
]
orders_like = st.fixed_dictionaries(
    {"command": st.sampled_from(NAMES)},
    optional=dict.fromkeys(FIELDS, json_values),
)


@settings(
    max_examples=200, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(
    place=st.sampled_from([LAGER, "/api/chambers/ale/commands", "/api/site/commands", NOTES]),
    body=json_values | orders_like,
)
def test_whatever_json_is_sent_the_answer_is_one_of_the_interface(
    site: Caller, place: str, body: Any
) -> None:
    answer = site.send(place, json.dumps(body).encode())
    assert answer.status_code in (200, 409, 422)
    assert answer.json()["taken"] is (answer.status_code == 200)


def test_after_all_that_the_site_is_still_in_charge_and_its_journal_writes(site: Caller) -> None:
    before = site.get("/api/status").json()
    until(lambda: site.get("/api/status").json()["tick"] > before["tick"])
    assert before["journal"] is None
    assert not any(event["words"].count("rows-refused") for event in _events(site))


def _events(site: Caller) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = site.get("/api/events?limit=1000").json()
    return found


# Notes.


def test_a_note_is_on_record_with_who_wrote_it(site: Caller) -> None:
    assert site.post(NOTES, {"text": " pitched the yeast ", "who": "anna"}).is_success
    until(lambda: "note by anna: pitched the yeast" in [e["words"] for e in _events(site)])


@pytest.mark.parametrize(
    "body",
    [
        {},
        {"text": ""},
        {"text": "   "},
        {"text": 5},
        {"text": "x" * (LONGEST_NOTE_CHARS + 1)},
        {"text": "fine", "who": 5},
        {"text": "fine", "who": "x" * (LONGEST_TEXT_CHARS + 1)},
        {"text": "fine", "when": "now"},
    ],
)
def test_a_note_that_is_none_is_refused(site: Caller, body: Any) -> None:
    assert site.post(NOTES, body).status_code == 422


# Before the first tick.


@pytest.mark.parametrize("place", ["/api/status", "/api/probes"])
def test_before_the_first_tick_there_is_nothing_to_show(unready: Caller, place: str) -> None:
    answer = unready.get(place)
    assert answer.status_code == 503
    assert "has not completed a tick yet" in why(answer)


def test_before_the_first_tick_no_note_is_taken(unready: Caller) -> None:
    assert unready.post("/api/chambers/cellar/notes", {"text": "hello"}).status_code == 503


def test_a_journal_that_cannot_be_read_is_told_as_that(unready: Caller, folder: Path) -> None:
    (folder / "journal.db").unlink()
    answer = unready.get("/api/events")
    assert answer.status_code == 503
    assert "journal.db" in why(answer)
