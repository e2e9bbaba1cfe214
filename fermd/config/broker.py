"""The MQTT broker that state and readings go to: the keys of the table [broker]."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Final

from annotated_types import Ge, Le, MaxLen, MinLen

PLAIN_PORT: Final = 1883
TLS_PORT: Final = 8883
"""The ports that IANA has registered for MQTT without and with TLS (`mqtt`, `secure-mqtt`)."""


@dataclass(frozen=True, slots=True)
class BrokerSettings:
    """The MQTT 5 broker that state and readings are published to. Without this table there is none.

    fermd publishes and subscribes to nothing: no message can switch an output.
    """

    host: Annotated[str, MinLen(1)]
    """Name or IP address of the broker."""
    port: Annotated[int, Ge(1), Le(65535)] | None = None
    """Its port. Left out: 8883 with `tls`, else 1883."""
    tls: bool = False
    """Whether the connection is encrypted. Without it a password can be read on its way."""
    cafile: Path | None = None
    """Certificate (PEM) of the authority that vouches for the broker. None: the system's own."""
    certfile: Path | None = None
    """Client certificate (PEM), for a broker that asks for one ..."""
    keyfile: Path | None = None
    """... and its private key (PEM)."""
    secrets_file: Path | None = None
    """TOML file with `user` and `password`, readable by its owner alone (chmod 600). None: the
    broker takes clients without a name, or knows them by their certificates."""
    client_id: Annotated[str, MinLen(1), MaxLen(65)] | None = None
    """Under which id the board connects; no two boards may have the same. None: "fermd-" and the
    site_name."""
    topic: Annotated[str, MinLen(1), MaxLen(100)] = "fermd"
    """Below which topic the boards publish: the first level of "fermd/cellar/state"."""
    keepalive_s: Annotated[int, Ge(5), Le(3600)] = 30
    """The broker takes the board for dead after one and a half times this without a sign of it, s
    (MQTT 5.0, 3.1.2.10): 45 s are soon enough for beer."""
    readings_every_s: Annotated[float, Ge(1), Le(3600)] = 10.0
    """The least time between two readings of one probe, s. 10 s is the usual sample period."""

    @property
    def effective_port(self) -> int:
        """The port, said or usual."""
        return self.port or (TLS_PORT if self.tls else PLAIN_PORT)
