"""One connection to the broker, from CONNECT to its end; the next one is made anew.

Nothing outlives a connection: no queue, no session at the broker (clean start, session expiry 0).
So what waits is bounded by what one connection takes, and an old message is never sent late.
Everything happens in the thread that calls.
"""

from __future__ import annotations

import socket
import ssl
import struct
import time
from collections.abc import Callable
from typing import Any, Final

from paho.mqtt.client import Client, MQTTMessageInfo
from paho.mqtt.enums import CallbackAPIVersion, MQTTErrorCode, MQTTProtocolVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode

from fermd.broker.credentials import read_credentials
from fermd.broker.errors import BrokerError
from fermd.broker.tls import tls_context
from fermd.broker.topics import Message
from fermd.config.broker import BrokerSettings

ANSWER_WAIT_S: Final = 10.0
"""So long may a broker take to answer CONNECT, s."""
FAREWELL_WAIT_S: Final = 2.0
"""So long the end of the daemon waits for the last word to be acknowledged, s."""

MOST_WAITING: Final = 1000
"""So many messages may wait for their acknowledgement; a broker that owes more is given up."""

_GARBLED: Final = (ValueError, TypeError, KeyError, IndexError, AttributeError, struct.error)
"""What the library raises for bytes that are no MQTT 5."""

_REMEDIES: Final = {
    132: "the broker does not speak MQTT 5; fermd speaks nothing older",
    133: "the broker does not take this client id; set client_id in [broker]",
    134: "the broker does not take this user and password; see the secrets_file in [broker]",
    135: "the broker lets this user do nothing; see the secrets_file in [broker], and the broker's "
    "own users and rights",
    142: "another client has connected under this client id; every board needs a site_name, or a "
    "client_id in [broker], of its own",
    154: "the broker keeps no messages (retain is switched off), so that nobody could look later",
}
"""What to do, by the reason code of CONNACK or DISCONNECT (MQTT 5.0, 2.4)."""

_AGAIN: Final = (
    "if it does again and again, another client may have the same client id: every board needs a "
    "site_name, or a client_id in [broker], of its own"
)
"""Some brokers hang up without a word when a second client comes under the same id."""

Word = Callable[[], Message]


class Connection:
    """Connects when it is made, and tells `birth`. Raises BrokerError with what is wrong."""

    def __init__(
        self,
        settings: BrokerSettings,
        client_id: str,
        will: Message,
        birth: Word,
        ending: Callable[[], bool] = lambda: False,
    ) -> None:
        """`ending` says that nobody wants the connection any more."""
        self._place = f"{settings.host}:{settings.effective_port}"
        self._answer: tuple[ReasonCode, Properties | None] | None = None
        self._why: str | None = None
        self._most_qos, self._keeps = 1, True
        self._ending = ending
        self._client = self._made(settings, client_id, will)
        self._connect(settings)
        self.publish(birth())

    def publish(self, message: Message) -> None:
        """Hand a message over; BrokerError if the broker does not take its messages."""
        self._publish(message)

    def turn(self, longest_s: float) -> None:
        """Read and write for a while; BrokerError when the connection is no more."""
        self._turn(longest_s)

    def close(self, farewell: Message | None = None) -> None:
        """Say a last word, if any, and go. Never raises."""
        try:
            if farewell is not None:
                told = self._publish(farewell)
                self._until(told.is_published, FAREWELL_WAIT_S)
            # An orderly end: the broker drops the last will (MQTT 5.0, 3.14).
            self._client.disconnect()
        except BrokerError:
            pass
        finally:
            self._drop()

    def _made(self, settings: BrokerSettings, client_id: str, will: Message) -> Client:
        client = Client(
            CallbackAPIVersion.VERSION2,
            client_id=client_id,
            protocol=MQTTProtocolVersion.MQTTv5,
            reconnect_on_failure=False,
        )
        client.on_connect = self._connected
        client.on_disconnect = self._disconnected
        client.max_queued_messages_set(MOST_WAITING)
        if settings.secrets_file is not None:
            known = read_credentials(settings.secrets_file)
            client.username_pw_set(known.user, known.password)
        if settings.tls:
            client.tls_set_context(tls_context(settings))
        properties = _json_properties(PacketTypes.WILLMESSAGE)
        client.will_set(will.topic, will.payload, will.qos, will.retain, properties)
        return client

    def _connect(self, settings: BrokerSettings) -> None:
        properties = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
        properties.SessionExpiryInterval = 0
        try:
            self._client.connect(
                settings.host,
                settings.effective_port,
                settings.keepalive_s,
                clean_start=True,
                properties=properties,
            )
            self._until(lambda: self._answer is not None or self._ending(), ANSWER_WAIT_S)
        except ssl.SSLCertVerificationError as error:
            raise BrokerError(
                f"{self._place}: its certificate is not trusted ({error.verify_message}); see host "
                "and cafile in [broker]"
            ) from None
        except ssl.SSLError as error:
            raise BrokerError(
                f"{self._place}: no TLS comes about ({error.reason or error}); see port, tls and "
                "certfile in [broker]"
            ) from None
        except socket.gaierror as error:
            raise BrokerError(
                f"{self._place}: no such name is known ({error.strerror}); see host in [broker]"
            ) from None
        except OSError as error:
            why = error.strerror or str(error) or "no answer"
            raise BrokerError(f"{self._place}: cannot be reached ({why})") from None
        finally:
            refused = self._answer is None or self._answer[0].is_failure
            if refused:
                self._drop()
        if self._answer is None:
            raise BrokerError(f"{self._place}: does not answer as an MQTT broker does")
        code, told = self._answer
        if code.is_failure:
            raise BrokerError(self._reason(code))
        self._most_qos = int(getattr(told, "MaximumQoS", 1))
        self._keeps = bool(getattr(told, "RetainAvailable", 1))

    def _publish(self, message: Message) -> MQTTMessageInfo:
        properties = _json_properties(PacketTypes.PUBLISH)
        if message.expiry_s is not None:
            properties.MessageExpiryInterval = message.expiry_s
        told = self._client.publish(
            message.topic,
            message.payload,
            min(message.qos, self._most_qos),
            message.retain and self._keeps,
            properties,
        )
        if told.rc is MQTTErrorCode.MQTT_ERR_QUEUE_SIZE:
            raise BrokerError(f"{self._place}: has not acknowledged {MOST_WAITING} messages")
        return told

    def _until(self, fact: Callable[[], bool], longest_s: float) -> None:
        deadline_s = time.monotonic() + longest_s
        while not fact() and time.monotonic() < deadline_s:
            self._turn(0.1)

    def _turn(self, longest_s: float) -> None:
        try:
            ended = self._client.loop(longest_s)
        except _GARBLED:
            raise BrokerError(f"{self._place}: does not answer as an MQTT 5 broker does") from None
        if self._answer is not None and self._answer[0].is_failure:
            return
        if ended is not MQTTErrorCode.MQTT_ERR_SUCCESS:
            raise BrokerError(self._why or f"{self._place}: the connection broke off; {_AGAIN}")

    def _drop(self) -> None:
        """Close the socket, whatever is still in it, and let the client be collected."""
        found = self._client.socket()
        self._client.on_connect = self._client.on_disconnect = None
        if found is not None:
            found.close()

    def _connected(
        self, _client: Client, _data: Any, _flags: Any, code: ReasonCode, told: Properties | None
    ) -> None:
        self._answer = code, told

    def _disconnected(
        self, _client: Client, _data: Any, flags: Any, code: ReasonCode, _told: Properties | None
    ) -> None:
        if flags.is_disconnect_packet_from_server:
            self._why = self._reason(code)

    def _reason(self, code: ReasonCode) -> str:
        remedy = _REMEDIES.get(code.value, "see the broker's own log")
        return f"{self._place}: {str(code).lower()}: {remedy}"


def _json_properties(packet: int) -> Properties:
    """Return the properties of a message that is JSON in UTF-8 (MQTT 5.0, 3.3.2.3)."""
    properties = Properties(packet)  # type: ignore[no-untyped-call]
    properties.PayloadFormatIndicator = 1
    properties.ContentType = "application/json"
    return properties
