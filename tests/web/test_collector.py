"""A collector of figures shows a token, which opens /metrics and nothing else (RFC 6750, 2.1)."""

from __future__ import annotations

import logging
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from lan_rig import METRICS_TOKEN, Lan, site_on_the_lan
from starlette.datastructures import Headers

from fermd.web.collector import CollectorToken

SHOWN = f"Bearer {METRICS_TOKEN}"


@pytest.fixture(scope="module")
def open_to_collectors() -> Iterator[Lan]:
    with site_on_the_lan('metrics_token_file = "metrics-token"\n') as one:
        yield one


def test_the_token_opens_the_figures(open_to_collectors: Lan) -> None:
    answer = open_to_collectors.phone().get("/metrics", Authorization=SHOWN)
    assert answer.status_code == 200
    assert "fermd_info{" in answer.text
    assert answer.text.endswith("# EOF\n")


@pytest.mark.parametrize("place", ["/api/status", "/openapi.json", "/api/probes", "/api/events"])
def test_it_opens_nothing_else(open_to_collectors: Lan, place: str) -> None:
    phone = open_to_collectors.phone()
    assert phone.get(place, Authorization=SHOWN).status_code == 401
    body = {"command": "set-target", "target_c": 10.0}
    answer = phone.ask("POST", "/api/chambers/lager/commands", body, Authorization=SHOWN)
    assert answer.status_code == 401
    assert phone.ask("POST", "/metrics", body, Authorization=SHOWN).status_code == 405


@pytest.mark.parametrize("shown", ["", "Bearer", f"Basic {METRICS_TOKEN}", f"{SHOWN}x", SHOWN[:-1]])
def test_any_other_token_opens_nothing(open_to_collectors: Lan, shown: str) -> None:
    assert open_to_collectors.phone().get("/metrics", Authorization=shown).status_code == 401


def test_without_the_key_in_the_site_file_no_token_counts(lan: Lan) -> None:
    assert lan.phone().get("/metrics", Authorization=SHOWN).status_code == 401


@pytest.mark.parametrize(
    ("text", "mode", "why"),
    [
        ("short", 0o600, "20 characters or more"),
        ("two words of twenty characters", 0o600, "one word"),
        ("", 0o600, "one word"),
        (METRICS_TOKEN, 0o640, r"mode 0640.*chmod 600"),
        (METRICS_TOKEN, 0o604, "others may read"),
    ],
)
def test_a_token_that_is_not_secret_counts_for_nothing_and_is_told_once(
    tmp_path: Path, caplog: pytest.LogCaptureFixture, text: str, mode: int, why: str
) -> None:
    path = tmp_path / "token"
    path.write_text(text)
    path.chmod(mode)
    token = CollectorToken(path)
    with caplog.at_level(logging.WARNING):
        for _ in range(3):
            assert not token.is_shown(Headers({"authorization": f"Bearer {text}"}))
    (record,) = caplog.records
    assert str(path) in record.getMessage()
    if len(text) > 5:
        assert text not in record.getMessage()
    assert re.search(why, record.getMessage())


def test_a_new_token_counts_at_once(tmp_path: Path) -> None:
    path = tmp_path / "token"
    path.touch(mode=0o600)
    token = CollectorToken(path)
    for new in ("a" * 20, "b" * 20):
        path.write_text(f"{new}\n")
        assert token.is_shown(Headers({"authorization": f"Bearer {new}"}))
    path.unlink()
    assert not token.is_shown(Headers({"authorization": f"Bearer {new}"}))
