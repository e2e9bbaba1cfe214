"""Whether what the table [broker] names is there: the library, and the files. For `fermd check`.

The broker itself is not asked: it may be away, and that is no fault of the site file.
"""

from __future__ import annotations

import ipaddress
import os
from collections.abc import Callable, Iterator
from pathlib import Path

from fermd.broker.credentials import read_credentials
from fermd.broker.errors import BrokerError
from fermd.broker.library import check_library
from fermd.config.broker import BrokerSettings
from fermd.config.errors import ABSENT, Fault


def faults_of(broker: BrokerSettings) -> tuple[Fault, ...]:
    """Return what keeps this machine from publishing, by the key that it is about."""
    return tuple(_faults(broker))


def cautions_of(broker: BrokerSettings) -> tuple[Fault, ...]:
    """Return what is allowed but worth a second look."""
    return tuple(_cautions(broker))


def _cautions(broker: BrokerSettings) -> Iterator[Fault]:
    secrets_file = broker.secrets_file
    if secrets_file is not None and not broker.tls and not _is_this_machine(broker.host):
        why = "the password goes over the network for everybody to read; set tls = true"
        yield Fault("broker.tls", False, why)
    for key, path in (("secrets_file", secrets_file), ("keyfile", broker.keyfile)):
        if path is not None and _is_withheld(path):
            why = "you may not read it, so that it was not checked; the daemon's user must"
            yield Fault(f"broker.{key}", str(path), why)


def _faults(broker: BrokerSettings) -> Iterator[Fault]:
    why = _tried(check_library)
    if why is not None:
        yield Fault("broker", ABSENT, why)
    path = broker.secrets_file
    if path is not None and not _is_withheld(path):
        why = _tried(lambda: read_credentials(path))
        if why is not None:
            yield Fault("broker.secrets_file", str(path), why)
    if broker.tls and not (broker.keyfile is not None and _is_withheld(broker.keyfile)):
        from fermd.broker.tls import tls_context

        why = _tried(lambda: tls_context(broker))
        if why is not None:
            yield Fault("broker.tls", broker.tls, why)


def _tried(act: Callable[[], object]) -> str | None:
    try:
        act()
    except BrokerError as error:
        return str(error)
    return None


def _is_withheld(path: Path) -> bool:
    """Whether this user may not read the file; the daemon's, who is another, perhaps may."""
    try:
        path.stat()
    except PermissionError:
        return True
    except OSError:
        return False
    return not os.access(path, os.R_OK)


def _is_this_machine(host: str) -> bool:
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"
