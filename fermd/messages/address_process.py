"""Sends one message to an address, in a process of its own; started by sending.py.

Reads a JSON object on standard input (`url`, `title`, `text`, `severity`, or `check` to look at the
address only) and writes one on standard output (`ok`, `why`). A process of its own because:

- the library takes 35 MB, which the daemon has no room for and needs for seconds a week;
- a name that does not resolve, or a server that says nothing, can be ended at any time;
- whatever the library or what it uses writes to its log ends here, not in the daemon's.

Imports nothing of fermd, so that it starts quickly.
"""

from __future__ import annotations

import json
import logging
import sys
from typing import Any

NOT_INSTALLED = "apprise is not installed: pip install 'fermd[messages]'"

TYPES = {"notice": "info", "warning": "warning", "critical": "failure"}
"""What the library calls a severity."""


class _Collecting(logging.Handler):
    """Keeps the warnings of the library: the only place where it says why it failed."""

    def __init__(self) -> None:
        super().__init__(logging.WARNING)
        self.said: list[str] = []

    def emit(self, record: logging.LogRecord) -> None:
        self.said.append(record.getMessage())


def main() -> None:
    """Do what standard input says."""
    order = json.load(sys.stdin)
    json.dump(_done(order), sys.stdout)


def _done(order: dict[str, Any]) -> dict[str, Any]:
    heard = _Collecting()
    root = logging.getLogger()
    root.handlers[:] = [heard]
    try:
        import apprise
    except ImportError:
        return {"ok": False, "why": NOT_INSTALLED}
    asset = apprise.AppriseAsset(app_id="fermd", app_desc="fermd", app_url="")
    target = apprise.Apprise.instantiate(order["url"], asset=asset, suppress_exceptions=True)
    if target is None:
        return {"ok": False, "why": "this is no address that apprise knows: " + _last(heard.said)}
    if order.get("check"):
        return {"ok": True, "why": ""}
    sender = apprise.Apprise(asset=asset)
    sender.add(target)
    ok = sender.notify(
        body=order["text"],
        title=order["title"],
        notify_type=TYPES[order["severity"]],
        body_format="text",
    )
    return {"ok": bool(ok), "why": "" if ok else _last(heard.said)}


def _last(said: list[str]) -> str:
    return said[-1] if said else "it gave no reason"


if __name__ == "__main__":
    main()
