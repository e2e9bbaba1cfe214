"""The MQTT library, which is not everybody's: it is in the extra `mqtt`."""

from __future__ import annotations

import importlib.util
from typing import Final

from fermd.broker.errors import LibraryMissingError

MISSING: Final = (
    "the MQTT library is not installed: /opt/fermd/bin/pip install 'paho-mqtt>=2.1,<3' (in a "
    "checkout: pip install '.[mqtt]'), or take the table [broker] out of the site file"
)


def check_library() -> None:
    """Raise LibraryMissingError if there is no MQTT library."""
    try:
        found = importlib.util.find_spec("paho.mqtt")
    except ModuleNotFoundError:
        found = None
    if found is None:
        raise LibraryMissingError(MISSING)
