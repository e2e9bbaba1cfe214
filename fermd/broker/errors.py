"""Why nothing can be published at present. The text says what is wrong and what to do."""


class BrokerError(Exception):
    """No connection to the broker, or no more."""


class SecretsError(BrokerError):
    """The file with the broker's user and password cannot be used."""


class LibraryMissingError(BrokerError):
    """The MQTT library is not installed."""
