"""The door to the network: nothing without the password, nothing for other sites."""

from __future__ import annotations

import re
import socket
from pathlib import Path

import httpx
import pytest
from lan_rig import PASSWORD, Lan, answers, site_on_the_lan
from web_rig import running_site, site_in, until

from fermd.web.gate import HEADERS
from fermd.web.passwords import PasswordError, PasswordFile, write_password
from fermd.web.serving import on_network

LAGER = "/api/chambers/lager/commands"
TO_SEE = [
    *("/api/status", "/api/live", "/api/probes", "/api/events", "/api/profiles", "/metrics"),
    *("/api/chambers/lager/curves", "/api/chambers/lager/forecast", "/openapi.json"),
    "/api/profiles/kveik",
]
TO_DO = [
    ("POST", LAGER, {"command": "set-target", "target_c": 10.0}),
    ("POST", "/api/site/commands", {"command": "acknowledge-alarm", "alarm": "relay-fault"}),
    ("POST", "/api/chambers/lager/notes", {"text": "hello"}),
    ("DELETE", "/api/chambers/lager/notes/last", None),
    ("POST", "/api/probes/vessel/calibrate", {}),
    ("POST", "/api/profiles/check", {"toml": 'name = "x"'}),
    ("PUT", "/api/profiles/mine", {"toml": 'name = "x"'}),
    ("DELETE", "/api/profiles/mine", None),
    ("POST", "/api/chambers/lager/preview", {"profile": "kveik"}),
]


# Without the password.


@pytest.mark.parametrize("place", TO_SEE)
def test_nothing_is_seen_without_the_password(lan: Lan, place: str) -> None:
    answer = lan.phone().get(place)
    assert (answer.status_code, answer.json()["why"]) == (401, "log in first")


@pytest.mark.parametrize(("method", "place", "body"), TO_DO)
def test_nothing_is_done_without_the_password(
    lan: Lan, method: str, place: str, body: object
) -> None:
    assert lan.phone().ask(method, place, body).status_code == 401


def test_a_session_that_was_made_up_is_none(lan: Lan) -> None:
    for secret in ("", "x", "a" * 43, "a" * 5000):
        answer = lan.phone().get("/api/status", cookie=f"fermd_session={secret}")
        assert answer.status_code == 401


def test_who_has_not_logged_in_learns_only_what_the_log_in_needs(lan: Lan) -> None:
    told = lan.phone().get("/api/session").json()
    assert (told["role"], told["who"], told["csrf"], told["guests"]) == (None, None, "", False)
    assert told["time_zone"] == "Europe/Berlin"


def test_the_brewer_does_everything_and_is_named_in_the_journal(lan: Lan) -> None:
    with lan.logged_in("anna") as phone:
        for place in TO_SEE:
            if place != "/api/live":
                assert phone.get(place).status_code == 200, place
        body = {"command": "set-target", "target_c": 9.5, "who": "somebody else"}
        assert phone.ask("POST", LAGER, body).json()["taken"] is True
        until(lambda: "by anna" in phone.get("/api/events?limit=5").text)
        assert "somebody else" not in phone.get("/api/events?limit=5").text


def test_the_local_socket_needs_no_password_and_goes_on_as_before(lan: Lan) -> None:
    assert lan.local.get("/api/session").json()["role"] == "local"
    assert lan.local.order("ale", "set-target", target_c=19.0, who="paul").is_success
    refused = lan.local.post("/api/session", {"password": PASSWORD})
    assert refused.status_code == 409


def test_who_logs_out_is_out(lan: Lan) -> None:
    with lan.logged_in() as phone:
        cookie = phone.http.cookies["fermd_session"]
        assert phone.ask("DELETE", "/api/session").status_code == 204
        assert phone.get("/api/status", cookie=f"fermd_session={cookie}").status_code == 401


def test_the_cookie_is_kept_from_scripts_and_from_other_sites(lan: Lan) -> None:
    answer = lan.phone().log_in()
    cookie = answer.headers["set-cookie"].lower()
    assert "httponly" in cookie
    assert "samesite=strict" in cookie
    assert "path=/" in cookie
    secret = re.search(r"fermd_session=([^;]+)", answer.headers["set-cookie"])
    assert secret is not None
    # 128 bits at the least (OWASP, Session Management Cheat Sheet).
    assert len(secret[1]) >= 22
    assert secret[1] != lan.phone().log_in().cookies["fermd_session"]


# Forgery.


@pytest.mark.parametrize(("method", "place", "body"), [*TO_DO, ("DELETE", "/api/session", None)])
def test_the_cookie_alone_changes_nothing(lan: Lan, method: str, place: str, body: object) -> None:
    with lan.logged_in() as phone:
        for token in ("", "x", phone.csrf[:-1], "ü"):
            headers = {"X-CSRF-Token": token.encode()} if token else {}
            answer = phone.http.request(method, place, json=body, headers=headers)
            assert answer.status_code == 403
            assert "X-CSRF-Token" in answer.json()["why"]
        assert phone.get("/api/status").status_code == 200


def test_the_token_of_another_session_does_not_fit(lan: Lan) -> None:
    with lan.logged_in() as one, lan.logged_in() as other:
        body = {"command": "set-target", "target_c": 10.0}
        one.csrf = other.csrf
        assert one.ask("POST", LAGER, body).status_code == 403


@pytest.mark.parametrize(
    "host",
    [
        "evil.example", "evil.example:{port}", "cellar.test.evil.example", "127.0.0.1.evil.example",
        "127.0.0.2:{port}", "[::1]:{port}", "", "cellar.test@evil.example", "2130706433",
        "0.0.0.0", "xn--cellar.test",  # noqa: S104 - a name that is asked for
    ],
)  # fmt: skip
@pytest.mark.parametrize("place", ["/", "/api/session", "/api/status", "/api/live", "/assets/x"])
def test_a_name_that_is_not_the_boards_is_refused(lan: Lan, host: str, place: str) -> None:
    with lan.logged_in() as phone:
        answer = phone.get(place, host=host.format(port=lan.port))
        assert answer.status_code in (400, 403), host


@pytest.mark.parametrize(
    "host", ["127.0.0.1", "127.0.0.1:{port}", "localhost:{port}", "cellar.test", "Cellar.Test:80"]
)
def test_the_boards_own_names_and_its_address_are_answered(lan: Lan, host: str) -> None:
    assert lan.phone().get("/api/session", host=host.format(port=lan.port)).status_code == 200


def test_two_hosts_in_one_request_are_refused(lan: Lan) -> None:
    with socket.create_connection(("127.0.0.1", lan.port)) as raw:
        raw.sendall(
            b"GET /api/session HTTP/1.1\r\nHost: 127.0.0.1\r\nHost: evil.example\r\n"
            b"Connection: close\r\n\r\n"
        )
        assert raw.recv(4096).split(b" ")[1] in (b"400", b"403")


@pytest.mark.parametrize(
    "origin",
    [
        "http://evil.example", "null", "http://127.0.0.1", "http://127.0.0.1:1",
        "http://cellar.test", "ftp://127.0.0.1:{port}", "http://127.0.0.1:{port}.evil.example",
    ],
)  # fmt: skip
def test_another_sites_origin_is_refused_for_streams_and_questions_too(
    lan: Lan, origin: str
) -> None:
    with lan.logged_in() as phone:
        origin = origin.format(port=lan.port)
        for place in ("/api/live", "/api/status", "/api/session"):
            assert phone.get(place, origin=origin).status_code == 403
        log_in = phone.http.post(
            "/api/session", json={"password": PASSWORD}, headers={"Origin": origin}
        )
        assert log_in.status_code == 403
        body = {"command": "set-target", "target_c": 10.0}
        assert phone.ask("POST", LAGER, body, origin=origin).status_code == 403


def test_the_pages_own_origin_is_answered(lan: Lan) -> None:
    with lan.logged_in() as phone:
        assert phone.get("/api/status", origin=lan.address).status_code == 200


@pytest.mark.parametrize("site", ["cross-site", "same-site"])
def test_what_another_site_embeds_is_refused_and_a_link_to_the_page_is_followed(
    lan: Lan, site: str
) -> None:
    fetch = {"sec-fetch-site": site}
    with lan.logged_in() as phone:
        for place in ("/", "/api/status", "/api/live", "/assets/start.js"):
            told = phone.get(place, **fetch, **{"sec-fetch-mode": "no-cors"})
            assert told.status_code == 403
        link = {"sec-fetch-mode": "navigate", "sec-fetch-dest": "document"}
        assert phone.get("/", **fetch, **link).status_code == 200
        assert phone.get("/api/status", **fetch, **link).status_code == 403
        framed = {"sec-fetch-mode": "navigate", "sec-fetch-dest": "iframe"}
        assert phone.get("/", **fetch, **framed).status_code == 403


# What every answer says.


@pytest.mark.parametrize(
    "place", ["/", "/api/status", "/api/session", "/assets/none.js", "/nothing", "/metrics"]
)
def test_every_answer_keeps_a_browser_from_running_what_is_not_the_pages(
    lan: Lan, place: str
) -> None:
    for host in ("127.0.0.1", "evil.example"):
        answer = lan.phone().get(place, host=host)
        for name, value in HEADERS.items():
            assert answer.headers[name] == value, (place, name)
        policy = dict(
            part.strip().split(" ", 1)
            for part in answer.headers["content-security-policy"].split(";")
        )
        assert policy["default-src"] == "'none'"
        assert policy["script-src"] == policy["style-src"] == policy["connect-src"] == "'self'"
        assert policy["frame-ancestors"] == "'none'"
        assert "unsafe" not in answer.headers["content-security-policy"]
        assert "server" not in answer.headers


def test_what_is_so_now_is_kept_by_nobody(lan: Lan) -> None:
    with lan.logged_in() as phone:
        for place in ("/api/status", "/api/session", "/metrics"):
            assert phone.get(place).headers["cache-control"] == "no-store"


# Guests.


def test_guests_look_and_change_nothing_where_the_site_file_lets_them() -> None:
    with site_on_the_lan("guests = true\n") as lan:
        guest = lan.phone()
        assert guest.get("/api/session").json()["role"] == "guest"
        for place in TO_SEE:
            if place != "/api/live":
                assert guest.get(place).status_code == 200, place
        for method, place, body in TO_DO:
            answer = guest.ask(method, place, body)
            assert (answer.status_code, "guest" in answer.json()["why"]) == (403, True), place
        assert guest.log_in().status_code == 200
        assert guest.ask(*TO_DO[0]).status_code == 200


# When there is no password.


def test_nothing_listens_before_there_is_a_password_and_the_page_comes_with_it() -> None:
    with site_on_the_lan(password=None) as lan:
        assert lan.local.get("/api/status").status_code == 200
        assert not answers(lan.port)
        write_password(lan.folder / "password", PASSWORD)
        until(lambda: answers(lan.port))
        assert lan.phone().log_in().status_code == 200


@pytest.mark.parametrize("mode", [0o640, 0o604, 0o620, 0o644, 0o666])
def test_a_password_that_others_may_read_or_change_is_none(mode: int, tmp_path: Path) -> None:
    path = tmp_path / "password"
    write_password(path, PASSWORD)
    path.chmod(mode)
    with pytest.raises(PasswordError, match=f"mode {mode:04o}.*chmod 600"):
        PasswordFile(path).check()


def test_a_new_password_logs_everybody_out(lan: Lan) -> None:
    with lan.logged_in() as phone:
        write_password(lan.folder / "password", "another one, longer")
        assert phone.get("/api/status").status_code == 401
        assert phone.log_in().status_code == 401
        assert phone.log_in("another one, longer").status_code == 200
        write_password(lan.folder / "password", PASSWORD)


def test_a_site_file_without_the_table_opens_no_port(tmp_path: Path) -> None:
    site = site_in(tmp_path)
    assert site.web is None
    with on_network(site)(None) as served:  # type: ignore[arg-type] - it is not looked at
        assert served is None


def test_a_port_that_is_taken_is_told_and_the_beer_does_not_wait_for_it(
    folder: Path, caplog: pytest.LogCaptureFixture
) -> None:
    write_password(folder / "password", PASSWORD)
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen(1)
        listen = f"127.0.0.1:{taken.getsockname()[1]}"
        web = f'[web]\nlisten = "{listen}"\npassword_file = "password"\n'
        with running_site(folder, web) as local:
            assert local.get("/api/status").status_code == 200
            until(lambda: f"not served to the network yet: {listen}" in caplog.text)


def test_a_client_that_speaks_no_http_takes_nothing_down(lan: Lan) -> None:
    for raw in (b"\x16\x03\x01\x02\x00", b"GET / HTTP/1.1\r\n\r\n", b"\x00" * 10_000):
        with socket.create_connection(("127.0.0.1", lan.port)) as one:
            one.sendall(raw)
    assert httpx.get(f"{lan.address}/api/session").status_code == 200
