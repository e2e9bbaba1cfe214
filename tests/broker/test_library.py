"""Without the MQTT library everything else works, and what is missing is said."""

from __future__ import annotations

import sys

import pytest

from fermd.broker.errors import LibraryMissingError
from fermd.broker.library import check_library
from fermd.broker.readiness import faults_of
from fermd.config.broker import BrokerSettings


@pytest.fixture
def no_library(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in [name for name in sys.modules if name.partition(".")[0] == "paho"]:
        monkeypatch.delitem(sys.modules, name)
    # What Python takes for "there is none" (importlib's documentation, `sys.modules`).
    monkeypatch.setitem(sys.modules, "paho", None)  # type: ignore[arg-type]


@pytest.mark.usefixtures("no_library")
def test_what_to_install_is_said() -> None:
    with pytest.raises(LibraryMissingError, match=r"pip install 'paho-mqtt>=2\.1,<3'"):
        check_library()
    (fault,) = faults_of(BrokerSettings("broker.local"))
    assert fault.key == "broker"
    assert "or take the table [broker] out" in fault.why


@pytest.mark.usefixtures("no_library")
def test_the_daemon_can_be_loaded_without_it() -> None:
    import fermd.broker.serving

    assert fermd.broker.serving.on_broker is not None


def test_with_it_nothing_is_missing() -> None:
    check_library()
    assert faults_of(BrokerSettings("broker.local")) == ()
