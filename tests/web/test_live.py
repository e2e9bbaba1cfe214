"""The live stream over real sockets: every tick, a beat while nothing happens, and a clean end."""

from __future__ import annotations

import json
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import httpx
import pytest
from lan_rig import Lan
from web_rig import Caller, running_site, until

from fermd.web import live


def events(answer: httpx.Response) -> Iterator[tuple[str, str | None, dict[str, Any]]]:
    """Name, id and data of each event, by the rules of the HTML standard as far as they go here."""
    name, number, data = "message", None, ""
    for line in answer.iter_lines():
        key, _, value = line.partition(": ")
        if key == "event":
            name = value
        elif key == "id":
            number = value
        elif key == "data":
            data = value
        elif line == "" and data:
            yield name, number, json.loads(data)
            name, number, data = "message", None, ""


def test_a_page_is_told_at_once_and_then_after_ticks_at_most_once_a_second(site: Caller) -> None:
    began_s = time.monotonic()
    statuses: list[tuple[str | None, dict[str, Any]]] = []
    with site.stream("/api/live") as answer:
        assert answer.headers["content-type"].startswith("text/event-stream")
        assert answer.headers["cache-control"] == "no-store"
        for name, number, told in events(answer):
            if name == "status":
                statuses.append((number, told))
            if time.monotonic() - began_s > 3.5:
                break
    # The site ticks a hundred times a second.
    assert 3 <= len(statuses) <= 6
    ticks = [told["tick"] for _, told in statuses]
    assert ticks == sorted(set(ticks))
    assert [number for number, _ in statuses] == [str(tick) for tick in ticks]
    assert statuses[0][1].keys() == site.get("/api/status").json().keys()


def test_words_come_in_the_unit_that_was_asked_for_and_numbers_in_celsius(site: Caller) -> None:
    for units, sign in (("C", "°C"), ("F", "°F")):
        with site.stream(f"/api/live?units={units}") as answer:
            name, _, told = next(events(answer))
        assert name == "status"
        vessel = told["chambers"]["lager"]["vessel"]
        if vessel["trusted"]:
            assert sign in vessel["words"]
            assert vessel["temp_c"] < 30.0


def test_a_loop_that_stands_still_is_told_apart_from_a_dead_connection(unready: Caller) -> None:
    with unready.stream("/api/live") as answer:
        found = []
        for name, _, told in events(answer):
            found.append((name, told["age_s"], told["tick"]))
            if len(found) == 2:
                break
    assert found == [("beat", None, 0)] * 2


def test_whoever_asks_for_the_head_alone_holds_no_stream(site: Caller) -> None:
    answer = site.ask("HEAD", "/api/live")
    assert (answer.status_code, answer.content) == (200, b"")
    assert "fermd_open_pages 0.0" in site.get("/metrics").text


def test_beats_come_at_least_every_five_seconds() -> None:
    assert live.BEAT_EVERY_S + live.LOOK_EVERY_S < 5.0


def test_streams_end_with_the_daemon_and_hold_it_up_no_longer_than_a_moment(folder: Path) -> None:
    ended: list[bool] = []
    with running_site(folder) as site:
        opened = threading.Barrier(9)

        def listen() -> None:
            caller = Caller(folder / "s")
            with caller.stream("/api/live") as answer:
                opened.wait()
                for _ in answer.iter_lines():
                    pass
            caller.close()
            ended.append(True)

        pages = [threading.Thread(target=listen) for _ in range(8)]
        for page in pages:
            page.start()
        opened.wait()
        assert site.get("/api/status").is_success
        began_s = time.monotonic()
    assert time.monotonic() - began_s < 5.0
    for page in pages:
        page.join(5.0)
    # The answer was whole: a broken one would have raised in the thread.
    assert ended == [True] * 8


def test_more_pages_than_a_household_has_are_turned_away(
    site: Caller, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(live, "MOST_PAGES", 0)
    answer = site.get("/api/live")
    assert answer.status_code == 503
    assert "too many pages" in answer.json()["why"]


def test_pages_that_go_leave_nothing_behind(site: Caller) -> None:
    def open_pages() -> str:
        text = site.get("/metrics").text
        return next(line for line in text.splitlines() if line.startswith("fermd_open_pages "))

    for _ in range(20):
        with site.stream("/api/live") as answer:
            told = events(answer)
            next(told)
            assert open_pages() != "fermd_open_pages 0.0"
    until(lambda: open_pages() == "fermd_open_pages 0.0")


def test_a_page_that_is_logged_out_hears_no_more(lan: Lan) -> None:
    with lan.logged_in() as phone:
        cookie = f"fermd_session={phone.http.cookies['fermd_session']}"
        with httpx.stream(
            "GET", f"{lan.address}/api/live", headers={"Cookie": cookie}, timeout=30.0
        ) as answer:
            assert answer.status_code == 200
            told = events(answer)
            next(told)
            assert phone.ask("DELETE", "/api/session").status_code == 204
            ended_s = time.monotonic()
            for _ in told:
                pass
            assert time.monotonic() - ended_s < live.BEAT_EVERY_S + 2.0


def test_a_page_that_does_not_read_holds_no_queue_of_old_numbers(site: Caller) -> None:
    """The daemon's answers to everybody else go on, and so do its ticks."""
    with site.stream("/api/live"):
        before = site.get("/api/status").json()["tick"]
        until(lambda: site.get("/api/status").json()["tick"] > before + 100)
