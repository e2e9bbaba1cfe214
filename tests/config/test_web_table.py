"""The table [web]: what is wrong with it comes with its key, and paths start at the site file."""

from __future__ import annotations

from pathlib import Path

import pytest

from fermd.config.errors import ConfigError
from fermd.config.example import SHORT_SITE
from fermd.config.site import SiteFile
from fermd.config.site_file import parse_site

LISTEN = 'listen = "192.0.2.7:8080"\n'


def site(table: str) -> SiteFile:
    return parse_site(f"{SHORT_SITE}\n[web]\n{table}", Path("/srv/beer/fermd.toml"))


def test_without_the_table_there_is_no_page_on_the_network() -> None:
    assert parse_site(SHORT_SITE, Path("fermd.toml")).web is None


@pytest.mark.parametrize(
    ("listen", "address"),
    [
        ("192.0.2.7:8080", ("192.0.2.7", 8080)),
        ("[::]:443", ("::", 443)),
        ("[2001:db8::1]:65535", ("2001:db8::1", 65535)),
    ],
)
def test_an_address_and_a_port_are_read(listen: str, address: tuple[str, int]) -> None:
    web = site(f'listen = "{listen}"\n').web
    assert web is not None
    assert web.address == address


@pytest.mark.parametrize(
    "listen",
    ["8080", ":8080", "localhost:8080", "192.0.2.7", "192.0.2.7:0", "192.0.2.7:65536", "::1:80",
     "192.0.2.7:http", "[192.0.2.7]:80", "192.0.2.7:-1", "192.0.2.7:٨٠"],
)  # fmt: skip
def test_what_is_no_address_with_a_port_is_a_fault(listen: str) -> None:
    with pytest.raises(ConfigError, match=r"web\.listen = .*IP address of this board and a port"):
        site(f'listen = "{listen}"\n')


@pytest.mark.parametrize(
    ("table", "why"),
    [
        ("guests = true\n", r"web\.listen: is missing"),
        (LISTEN + 'names = ["http://cellar"]\n', r"web\.names = .*without a port"),
        (LISTEN + 'names = ["cellar.local:8080"]\n', r"web\.names"),
        (LISTEN + 'names = ["*"]\n', r"web\.names"),
        (LISTEN + 'certfile = "c.pem"\n', r"web\.keyfile: is missing"),
        (LISTEN + 'keyfile = "k.pem"\n', r"web\.certfile: is missing"),
        (LISTEN + 'trusted_proxies = ["*"]\n', r"web\.trusted_proxies = .*IP addresses"),
        (LISTEN + 'units = "K"\n', r'web\.units = "K": .*"C" or "F"'),
        (LISTEN + 'password = "secret"\n', r"web\.password = .*did you mean password_file"),
        (LISTEN + "guests = 1\n", r"web\.guests = 1: must be true or false"),
    ],
)
def test_what_is_wrong_is_told_by_its_key(table: str, why: str) -> None:
    with pytest.raises(ConfigError, match=why):
        site(table)


def test_relative_paths_start_at_the_site_files_folder() -> None:
    web = site(LISTEN + 'password_file = "p"\ncertfile = "c.pem"\nkeyfile = "/k.pem"\n').web
    assert web is not None
    assert web.password_file == Path("/srv/beer/p")
    assert web.certfile == Path("/srv/beer/c.pem")
    assert web.keyfile == Path("/k.pem")
    usual = site(LISTEN).web
    assert usual is not None
    assert usual.password_file == Path("/var/lib/fermd/password")
    assert (usual.guests, usual.trusted_proxies, usual.names) == (False, (), ())
