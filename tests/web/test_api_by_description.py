"""The running interface against its own description: whatever is sent, it answers as described.

A few dozen requests an operation here; many by command:

    FERMD_API_EXAMPLES=2000 pytest tests/web/test_api_by_description.py
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from typing import Any, Final

import pytest
import schemathesis
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from lan_rig import Lan, Phone, site_on_the_lan
from schemathesis import GenerationMode
from schemathesis.checks import CHECKS, load_all_checks

EXAMPLES: Final = int(os.environ.get("FERMD_API_EXAMPLES", "12"))

THERE: Final = {"chamber": "lager", "profile": "kveik", "probe": "room"}
"""Names that lead somewhere; others come by chance."""

NOT_HERE: Final = {
    # A stream that does not end has its own tests; so has the log-out, after which all are 401.
    ("GET", "/api/live"),
    ("DELETE", "/api/session"),
}

load_all_checks()
CONFORM: Final = CHECKS.get_by_names(
    [
        "not_a_server_error",
        "status_code_conformance",
        "content_type_conformance",
        "response_schema_conformance",
    ]
)


@pytest.fixture(scope="module")
def brewer() -> Iterator[tuple[Lan, Phone]]:
    with site_on_the_lan() as lan, lan.logged_in() as phone:
        yield lan, phone


@pytest.fixture(scope="module")
def operations(brewer: tuple[Lan, Phone]) -> dict[str, Any]:
    described = brewer[1].get("/openapi.json").json()
    schema = schemathesis.openapi.from_dict(described)
    found = [one.ok() for one in schema.get_all_operations()]
    return {
        f"{one.method.upper()} {one.path}": one
        for one in found
        if (one.method.upper(), one.path) not in NOT_HERE
    }


def cases(operation: Any) -> st.SearchStrategy[Any]:
    """Requests that fit the description and such that do not, to places there are and others."""
    known = {name: THERE[name] for name in THERE if f"{{{name}}}" in operation.path}
    modes = [GenerationMode.POSITIVE]
    if operation.body or operation.query:
        modes.append(GenerationMode.NEGATIVE)
    found = [operation.as_strategy(mode) for mode in modes]
    if known:
        found += [operation.as_strategy(mode, path_parameters=known) for mode in modes]
    return st.one_of(found)


def test_whatever_is_sent_is_answered_as_the_description_says(
    brewer: tuple[Lan, Phone], operations: dict[str, Any]
) -> None:
    lan, phone = brewer
    assert len(operations) >= 18
    answered: dict[str, list[int]] = {name: [] for name in operations}

    for name, operation in operations.items():
        _conforms(operation, lan, phone, answered[name])
        assert answered[name], name

    # Not everything was refused: what fits is carried out.
    good = sum(code < 300 for codes in answered.values() for code in codes)
    sent = sum(map(len, answered.values()))
    assert good >= len(operations) / 2, f"{good} of {sent}"
    print(f"{sent} requests, {good} carried out")  # noqa: T201 - for the long run, with -s

    # After all that the site is in charge, and nobody is logged out.
    before = phone.get("/api/status").json()
    assert before["journal"] is None
    assert phone.get("/api/status").status_code == 200


def _conforms(operation: Any, lan: Lan, phone: Phone, answered: list[int]) -> None:
    token = {"X-CSRF-Token": phone.csrf}
    cookies = {"fermd_session": phone.http.cookies["fermd_session"]}

    @settings(
        max_examples=EXAMPLES,
        deadline=None,
        derandomize=EXAMPLES < 100,
        database=None,
        phases=(Phase.generate, Phase.shrink),
        suppress_health_check=list(HealthCheck),
    )
    @given(case=cases(operation))
    def conforms(case: Any) -> None:
        case.cookies = {}
        answer = case.call(base_url=lan.address, headers=token, cookies=cookies, timeout=60)
        answered.append(answer.status_code)
        # 503 is for a loop or a journal that does not answer: here both do.
        assert answer.status_code < 500, (case.as_curl_command(), answer.text)
        case.validate_response(answer, checks=list(CONFORM))

    conforms()
