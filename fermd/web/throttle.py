"""How often somebody may try to log in: so many at once, then one in a while.

Two kinds of bucket, both refilled by time: one for each address (for IPv6 each network of 64 bits,
which one caller has whole), and one for all together, against a guesser with many addresses. Of the
addresses only the last so many are remembered; one that is forgotten has a full bucket again, and
the bucket of all holds then.
"""

from __future__ import annotations

import ipaddress
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

BURST: Final = 5
"""Tries at once from one address ..."""
EACH_S: Final = 30.0
"""... and then one in so many seconds."""

BURST_OF_ALL: Final = 20
EACH_OF_ALL_S: Final = 5.0

MOST_ADDRESSES: Final = 1000


@dataclass(slots=True)
class _Bucket:
    tries: float
    at_s: float

    def refill(self, now_s: float, most: int, each_s: float) -> None:
        self.tries = min(float(most), self.tries + max(0.0, now_s - self.at_s) / each_s)
        self.at_s = now_s

    def wait_s(self, each_s: float) -> float:
        return 0.0 if self.tries >= 1.0 else (1.0 - self.tries) * each_s


class Throttle:
    """The tries that are left. Times are those of a clock that nobody can set."""

    def __init__(self, clock: Callable[[], float]) -> None:
        self._clock = clock
        self._all = _Bucket(BURST_OF_ALL, clock())
        self._by_address: OrderedDict[str, _Bucket] = OrderedDict()

    def take(self, address: str) -> float:
        """Take a try; returns 0, or how long to wait for one, s, if there is none."""
        now_s, key = self._clock(), _network(address)
        bucket = self._by_address.pop(key, None) or _Bucket(BURST, now_s)
        self._by_address[key] = bucket
        if len(self._by_address) > MOST_ADDRESSES:
            self._by_address.popitem(last=False)
        bucket.refill(now_s, BURST, EACH_S)
        self._all.refill(now_s, BURST_OF_ALL, EACH_OF_ALL_S)
        wait_s = max(bucket.wait_s(EACH_S), self._all.wait_s(EACH_OF_ALL_S))
        if wait_s == 0.0:
            bucket.tries -= 1.0
            self._all.tries -= 1.0
        return wait_s

    def give_back(self, address: str) -> None:
        """Give a try back that was right: whoever knows the password is no guesser."""
        bucket = self._by_address.get(_network(address))
        if bucket is not None:
            bucket.tries = min(float(BURST), bucket.tries + 1.0)
        self._all.tries = min(float(BURST_OF_ALL), self._all.tries + 1.0)

    def __len__(self) -> int:
        return len(self._by_address)


def _network(address: str) -> str:
    try:
        ip = ipaddress.ip_address(address)
    except ValueError:
        return ""
    if isinstance(ip, ipaddress.IPv6Address):
        if ip.ipv4_mapped is not None:
            return str(ip.ipv4_mapped)
        return str(ipaddress.ip_network((ip, 64), strict=False))
    return str(ip)
