"""What can be wrong with the table [broker] whose every key is fine by itself."""

from __future__ import annotations

import ipaddress
import re
from typing import Final

from fermd.config.broker import BrokerSettings
from fermd.config.errors import ABSENT
from fermd.config.mending import Checked

_HOST: Final = re.compile(r"(?!-)[a-z0-9_-]{1,63}(\.(?!-)[a-z0-9_-]{1,63})*\.?", re.I)
_LEVELS: Final = re.compile(r"[\w-]+(/[\w-]+)*")


def check_broker(site: Checked, broker: BrokerSettings) -> None:
    """Add what is wrong with the table to the site's faults."""
    if site.is_sound("broker", "host") and not _is_host(broker.host):
        why = (
            'must be the name or the IP address of the broker alone, such as "broker.local"; '
            "its port is port"
        )
        site.object_to(["broker", "host"], broker.host, why)
    if site.is_sound("broker", "topic") and not _LEVELS.fullmatch(broker.topic):
        why = (
            'must be levels of letters, digits, - and _ with / between them, such as "fermd" or '
            '"brewery/fermd"'
        )
        site.object_to(["broker", "topic"], broker.topic, why)
    if broker.client_id is not None and not broker.client_id.isprintable():
        why = "must be of printable characters"
        site.object_to(["broker", "client_id"], broker.client_id, why)
    if (broker.certfile is None) != (broker.keyfile is None):
        key = "certfile" if broker.certfile is None else "keyfile"
        other = "keyfile" if broker.certfile is None else "certfile"
        site.object_to(["broker", key], ABSENT, f"is missing; {other} is of no use without it")
    if not broker.tls and site.is_sound("broker", "tls"):
        for key in ("cafile", "certfile", "keyfile"):
            path = getattr(broker, key)
            if path is not None:
                why = "is of no use without tls = true; set that, or take this out"
                site.object_to(["broker", key], str(path), why)


def _is_host(text: str) -> bool:
    try:
        ipaddress.ip_address(text)
    except ValueError:
        # What looks like an IPv4 address and is none would be looked up as a name.
        return bool(_HOST.fullmatch(text)) and not re.fullmatch(r"[0-9.]+", text)
    return True
