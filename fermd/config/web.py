"""The page on the network: the keys of the table [web]."""

from __future__ import annotations

import ipaddress
import re
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

from annotated_types import MinLen

from fermd.config.house_unit import UnitName


@dataclass(frozen=True, slots=True)
class WebSettings:
    """The page on the network. Without this table only the local socket is served.

    Nothing is served to the network before `fermd password` has set a password.
    """

    listen: Annotated[str, MinLen(1)] | None = None
    """Address and port that the page is served on: "0.0.0.0:8080" for every IPv4 address of the
    board, "[::]:8080" for IPv6 too, "127.0.0.1:8080" for a reverse proxy on the board."""
    names: tuple[str, ...] = ()
    """Names by which a browser reaches the page, such as "brewpi.local"; its own IP address is
    always one. A request for another name is refused: it comes from a web site that has pointed
    its name at this board."""
    password_file: Path = Path("/var/lib/fermd/password")
    """Where `fermd password` puts the hash of the password; readable by its owner alone."""
    guests: bool = False
    """Whether whoever has not logged in may look (and change nothing)."""
    metrics_token_file: Path | None = None
    """File with one line, a token of 20 characters or more, readable by its owner alone: a
    collector that shows it (Authorization: Bearer) may read /metrics, and nothing else."""
    units: UnitName = "C"
    """The scale that the page begins with; every phone may choose its own."""
    certfile: Path | None = None
    """Certificate chain (PEM), for https without a reverse proxy ..."""
    keyfile: Path | None = None
    """... and its private key (PEM)."""
    trusted_proxies: tuple[str, ...] = ()
    """IP addresses of reverse proxies that are believed what they say of the caller's address and
    of https (X-Forwarded-For, X-Forwarded-Proto). Without one these headers count for nothing."""

    @property
    def address(self) -> tuple[str, int]:
        """Host and port to listen on; ValueError if there is none or it is not one."""
        return parse_listen(self.listen or "")


def parse_listen(text: str) -> tuple[str, int]:
    """Return host and port of `0.0.0.0:8080` or `[::]:8080`; ValueError if it is not such."""
    host, _, port = text.rpartition(":")
    bare = host[1:-1] if host.startswith("[") and host.endswith("]") else host
    address = ipaddress.ip_address(bare)
    if (address.version == 6) != (bare != host) or not re.fullmatch(r"[0-9]{1,5}", port):
        raise ValueError(text)
    if not 1 <= int(port) <= 65535:
        raise ValueError(text)
    return bare, int(port)
