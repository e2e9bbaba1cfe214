"""The table [broker] and the board's name: what is wrong comes with its key."""

from __future__ import annotations

import platform
from pathlib import Path

import pytest

from fermd.config.broker import BrokerSettings
from fermd.config.errors import ConfigError
from fermd.config.example import SHORT_SITE
from fermd.config.site import SiteFile, named_after_host
from fermd.config.site_file import parse_site

HOST = 'host = "broker.local"\n'
TLS = HOST + "tls = true\n"


def site(table: str, top: str = "") -> SiteFile:
    return parse_site(f"{top}{SHORT_SITE}\n[broker]\n{table}", Path("/srv/beer/fermd.toml"))


def broker(table: str) -> BrokerSettings:
    found = site(table).broker
    assert found is not None
    return found


def test_without_the_table_nothing_is_published() -> None:
    assert parse_site(SHORT_SITE, Path("fermd.toml")).broker is None


def test_the_usual_port_is_that_of_iana_with_and_without_tls() -> None:
    # Service Name and Transport Protocol Port Number Registry: mqtt 1883, secure-mqtt 8883.
    assert broker(HOST).effective_port == 1883
    assert broker(TLS).effective_port == 8883
    assert broker(HOST + "port = 2883\n").effective_port == 2883


@pytest.mark.parametrize("host", ["192.0.2.7", "2001:db8::1", "broker", "broker.example.org"])
def test_a_broker_is_named_or_has_an_address(host: str) -> None:
    assert broker(f'host = "{host}"\n').host == host


@pytest.mark.parametrize(
    ("table", "why"),
    [
        ("tls = true\n", r"broker\.host: is missing"),
        ('host = "mqtt://broker"\n', r"broker\.host = .*its port is port"),
        ('host = "broker:1883"\n', r"broker\.host"),
        ('host = "192.0.2.300"\n', r"broker\.host"),
        ('host = ""\n', r"broker\.host"),
        (HOST + "port = 0\n", r"broker\.port = 0: must be"),
        (HOST + "port = 65536\n", r"broker\.port"),
        (HOST + 'topic = "fermd/#"\n', r"broker\.topic = .*letters, digits"),
        (HOST + 'topic = "/fermd"\n', r"broker\.topic"),
        (HOST + 'topic = "a+b"\n', r"broker\.topic"),
        (HOST + 'client_id = "a\\u0000"\n', r"broker\.client_id"),
        (HOST + "keepalive_s = 0\n", r"broker\.keepalive_s"),
        (HOST + "readings_every_s = 0\n", r"broker\.readings_every_s"),
        (HOST + 'cafile = "ca.pem"\n', r"broker\.cafile = .*without tls = true"),
        (TLS + 'certfile = "c.pem"\n', r"broker\.keyfile: is missing"),
        (TLS + 'keyfile = "k.pem"\n', r"broker\.certfile: is missing"),
        (HOST + 'password = "secret"\n', r"broker\.password = .*unknown key"),
    ],
)
def test_what_is_wrong_is_told_by_its_key(table: str, why: str) -> None:
    with pytest.raises(ConfigError, match=why):
        site(table)


def test_relative_paths_start_at_the_site_files_folder() -> None:
    found = broker(TLS + 'cafile = "ca.pem"\nsecrets_file = "secrets.toml"\n')
    assert found.cafile == Path("/srv/beer/ca.pem")
    assert found.secrets_file == Path("/srv/beer/secrets.toml")
    assert found.certfile is None


def test_a_board_is_called_as_the_site_file_says_or_as_its_host() -> None:
    assert site(HOST, 'site_name = "cellar-2"\n').known_as == "cellar-2"
    assert site(HOST).known_as == named_after_host(platform.node())


@pytest.mark.parametrize(
    ("host", "name"),
    [
        ("pi.example.org", "pi"),
        ("my pi#1", "my-pi-1"),
        ("-", "fermd"),
        ("", "fermd"),
        ("x" * 64, "x" * 40),
    ],
)  # fmt: skip
def test_whatever_the_host_is_called_a_topic_can_be_made_of_it(host: str, name: str) -> None:
    assert named_after_host(host) == name


@pytest.mark.parametrize("name", ["", "a/b", "a+", "#", "a b", "x" * 41])
def test_a_name_that_no_topic_can_have_is_refused(name: str) -> None:
    with pytest.raises(ConfigError, match="site_name"):
        site(HOST, f'site_name = "{name}"\n')
