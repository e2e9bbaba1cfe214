"""https by one's own certificate, and behind a reverse proxy that is trusted or not."""

from __future__ import annotations

import ssl
import subprocess
from pathlib import Path

import httpx
import pytest
from lan_rig import PASSWORD, answers, free_port, site_on_the_lan
from web_rig import running_site, until

from fermd.web.passwords import write_password
from fermd.web.throttle import BURST


def certificate(folder: Path) -> None:
    subprocess.run(
        [
            "openssl", "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256",
            "-nodes", "-days", "2", "-subj", "/CN=fermd", "-addext", "subjectAltName=IP:127.0.0.1",
            "-keyout", str(folder / "key.pem"), "-out", str(folder / "cert.pem"),
        ],
        check=True,
        capture_output=True,
    )  # fmt: skip


@pytest.mark.debian("openssl")
def test_a_certificate_of_ones_own_makes_it_https_and_the_cookie_stays_there(
    folder: Path,
) -> None:
    certificate(folder)
    write_password(folder / "password", PASSWORD)
    port = free_port()
    web = (
        f'[web]\nlisten = "127.0.0.1:{port}"\npassword_file = "password"\n'
        'certfile = "cert.pem"\nkeyfile = "key.pem"\n'
    )
    with running_site(folder, web):
        until(lambda: answers(port))
        trust = ssl.create_default_context(cafile=str(folder / "cert.pem"))
        with httpx.Client(base_url=f"https://127.0.0.1:{port}", verify=trust) as phone:
            answer = phone.post("/api/session", json={"password": PASSWORD})
            assert answer.status_code == 200
            cookie = answer.headers["set-cookie"]
            assert cookie.startswith("__Host-fermd_session=")
            assert "secure" in cookie.lower()
            assert "path=/" in cookie.lower()
            assert phone.get("/api/status").status_code == 200
            mixed = {"Origin": f"http://127.0.0.1:{port}"}
            assert phone.get("/api/status", headers=mixed).status_code == 403
            own = {"Origin": f"https://127.0.0.1:{port}"}
            assert phone.get("/api/status", headers=own).status_code == 200


def test_a_certificate_that_is_none_is_told_and_the_beer_does_not_wait_for_it(
    folder: Path, caplog: pytest.LogCaptureFixture
) -> None:
    write_password(folder / "password", PASSWORD)
    (folder / "cert.pem").write_text("no certificate")
    port = free_port()
    web = (
        f'[web]\nlisten = "127.0.0.1:{port}"\npassword_file = "password"\n'
        'certfile = "cert.pem"\nkeyfile = "cert.pem"\n'
    )
    with running_site(folder, web) as local:
        until(lambda: "not served to the network yet" in caplog.text)
        assert local.get("/api/status").status_code == 200
        assert "PEM" in caplog.text


def test_what_a_proxy_says_counts_only_if_the_site_file_trusts_it() -> None:
    said = {"X-Forwarded-For": "203.0.113.7", "X-Forwarded-Proto": "https"}
    with site_on_the_lan() as lan:
        answer = lan.phone(**said).log_in()
        assert answer.headers["set-cookie"].startswith("fermd_session=")
    with site_on_the_lan('trusted_proxies = ["127.0.0.1"]\nnames = ["cellar.test"]\n') as lan:
        outside = lan.phone(**said, Host="cellar.test", Origin="https://cellar.test")
        answer = outside.log_in()
        assert answer.status_code == 200
        assert answer.headers["set-cookie"].startswith("__Host-fermd_session=")
        # Each caller behind the proxy has tries of its own.
        for _ in range(BURST):
            assert outside.log_in("a wrong guess").status_code == 401
        assert outside.log_in("a wrong guess").status_code == 429
        other = lan.phone(**(said | {"X-Forwarded-For": "203.0.113.8"}))
        assert other.log_in().status_code == 200
