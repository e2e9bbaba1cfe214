"""What a connection to the broker is secured with: the broker must prove who it is, by its name."""

from __future__ import annotations

import ssl

from fermd.broker.errors import BrokerError
from fermd.config.broker import BrokerSettings


def tls_context(settings: BrokerSettings) -> ssl.SSLContext:
    """Return what the connection is secured with; BrokerError names the file that is no good."""
    cafile = settings.cafile
    try:
        context = ssl.create_default_context(cafile=None if cafile is None else str(cafile))
    except (OSError, ssl.SSLError) as error:
        raise BrokerError(f"{cafile}: broker.cafile: {_of_file(error)}") from None
    if settings.certfile is not None and settings.keyfile is not None:
        try:
            # Without the last argument a key with a passphrase would ask for it at the terminal.
            context.load_cert_chain(settings.certfile, settings.keyfile, lambda: "")
        except (OSError, ssl.SSLError, ValueError) as error:
            both = f"{settings.certfile} and {settings.keyfile}"
            raise BrokerError(
                f"{both}: broker.certfile and broker.keyfile: {_of_file(error)}"
            ) from None
    return context


def _of_file(error: Exception) -> str:
    if isinstance(error, ssl.SSLError):
        return f"no PEM that belongs together ({error.reason or 'cannot be parsed'})"
    return f"cannot be read ({getattr(error, 'strerror', None) or error})"
