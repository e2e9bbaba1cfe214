"""What can be wrong with the table [web] whose every key is fine by itself."""

from __future__ import annotations

import ipaddress
import re
from typing import Final

from fermd.config.errors import ABSENT
from fermd.config.mending import Checked
from fermd.config.web import WebSettings, parse_listen

_NAME: Final = re.compile(r"(?!-)[a-z0-9-]{1,63}(\.(?!-)[a-z0-9-]{1,63})*", re.I)


def check_web(site: Checked, web: WebSettings) -> None:
    """Add what is wrong with the table to the site's faults."""
    if web.listen is None:
        why = 'is missing; must be an address and a port, such as "0.0.0.0:8080"'
        site.object_to(["web", "listen"], ABSENT, why)
    else:
        _check_listen(site, web.listen)
    for name in web.names:
        if not _NAME.fullmatch(name):
            why = 'must be names of this board as a browser has them, such as "brewpi.local"'
            site.object_to(["web", "names"], list(web.names), f"{why}, without a port")
            break
    for proxy in web.trusted_proxies:
        try:
            ipaddress.ip_address(proxy)
        except ValueError:
            why = 'must be IP addresses, such as "127.0.0.1"'
            site.object_to(["web", "trusted_proxies"], list(web.trusted_proxies), why)
            break
    if (web.certfile is None) != (web.keyfile is None):
        key = "certfile" if web.certfile is None else "keyfile"
        other = "keyfile" if web.certfile is None else "certfile"
        site.object_to(["web", key], ABSENT, f"is missing; {other} is of no use without it")


def _check_listen(site: Checked, listen: str) -> None:
    if not site.is_sound("web", "listen"):
        return
    try:
        parse_listen(listen)
    except ValueError:
        why = (
            'must be an IP address of this board and a port, such as "0.0.0.0:8080" (all of them) '
            'or "[::]:8080"'
        )
        site.object_to(["web", "listen"], listen, why)
